"""Who did what, newest first; of one subject, or of a plot with all its records."""

from __future__ import annotations

import json
from typing import Any

from flask import Blueprint, request, url_for

from .. import dictionary
from ..land import naming
from ..land import service as land
from ..people import service as people
from ..problems import Problem
from ..sentences import known
from ..survey import service as survey
from . import record_words
from .access import db, may
from .layout import render, words

bp = Blueprint("trail", __name__)
MOST = 300
LONGEST = 400
"""Letters shown of what an act left behind."""


@bp.get("/trail")
def page() -> str:
    asked = (request.args.get("subject") or "").strip()
    called = land.called(db())
    subjects, shown, near = _asked(asked, called)
    rows = people.trail(db(), subjects, limit=MOST)
    kinds = survey.kinds_of(db(), [row["subject"] for row in rows])
    for row in rows:
        kind, plot = kinds.get(row["subject"], (None, None))
        row["words"] = words(f"act.{row['act']}") if known(f"act.{row['act']}") else row["act"]
        row["was"], row["is"] = _plain(row["before"], kind), _plain(row["after"], kind)
        row["about"] = words("pages.trail.record", kind=record_words.kind_words(kind), plot=called.get(plot, plot)) if kind and plot else called.get(row["subject"], row["subject"])
        row["href"] = url_for("held.record", record=row["subject"]) if kind and may("see_held") else url_for("trail.page", subject=row["subject"])
    return render("trail.html", title=words("pages.trail.title_of", n=len(rows), subject=shown) if rows and asked else words("pages.trail.title", n=len(rows)) if rows else words("pages.trail.none_of", subject=shown) if asked else words("pages.trail.none"),
                  rows=rows, subject=asked, near=near if not rows else [], most=MOST, longest=LONGEST)


def _asked(asked: str, called: dict[str, str]) -> tuple[list[str] | None, str, list[str]]:
    """(subjects, what they are called, names near to it): a plot's own and its records' where a plot is meant, else the subject as typed; None for all."""
    if not asked:
        return None, "", []
    names = land.plots(db())["name"].to_dict()
    try:
        code = naming.code_of(asked, names)
    except Problem as problem:
        return [asked], asked[:naming.LONGEST], [*problem.params.get("near", []), *problem.params.get("codes", [])]
    return [asked, code, f"plot:{code}", *survey.ids_of_plot(db(), code)], called.get(code, code), []


def _plain(kept: str | None, kind: str | None) -> str:
    """What an act left behind, stored as JSON or as text, in words: names of fields and roles said, values as they are."""
    if not kept:
        return "–"
    try:
        value = json.loads(kept)
    except ValueError:
        return kept
    if isinstance(value, dict):
        return ", ".join(_field(name, v, kind) for name, v in value.items())
    return _value(value)


def _field(name: str, value: Any, kind: str | None) -> str:
    """A field and its value: of a record as its page says them, of anything else by the trail's own words, else by a record's field of that name."""
    own = kind in dictionary.kinds() and (name == "plot" or any(f.name == name for f in dictionary.fields(kind)))
    if not own and known(f"trail.field.{name}"):
        return f"{words(f'trail.field.{name}')}: {_value(value)}"
    label, say = record_words.named(kind, name)
    value = survey.typed(kind, {name: value})[name] if own else value  # as typed in a form, where a comma may stand for the point
    return f"{label}: {say(value)}" if label and not isinstance(value, (list, dict)) else f"{name}: {_value(value)}"


def _value(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(_value(v) for v in value)
    if isinstance(value, bool):
        return words("pages.yes" if value else "pages.no")
    if value is None:
        return "–"
    return f"{value:,}".replace("-", "−") if isinstance(value, (int, float)) else words(f"role.{value}") if known(f"role.{value}") else str(value)
