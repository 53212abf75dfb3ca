"""Who did what, newest first."""

from __future__ import annotations

import json

from flask import Blueprint, request

from ..people import service as people
from ..sentences import known
from .access import db
from .layout import render, words

bp = Blueprint("trail", __name__)


@bp.get("/trail")
def page() -> str:
    subject = request.args.get("subject") or None
    rows = people.trail(db(), subject, limit=300)
    for row in rows:
        row["words"] = words(f"act.{row['act']}") if known(f"act.{row['act']}") else row["act"]
        row["was"], row["is"] = _plain(row["before"]), _plain(row["after"])
    return render("trail.html", title=words("pages.trail.title", n=len(rows)), rows=rows, subject=subject or "")


def _plain(kept: str | None) -> str:
    """What an act left behind, stored as JSON or as text, in words: names of fields and roles said, values as they are."""
    if not kept:
        return "–"
    try:
        value = json.loads(kept)
    except ValueError:
        return kept
    if isinstance(value, dict):
        return ", ".join(f"{_said('trail.field', name)}: {_value(v)}" for name, v in value.items())
    return _value(value)


def _value(value) -> str:
    if isinstance(value, list):
        return ", ".join(_value(v) for v in value)
    if isinstance(value, bool):
        return words("pages.yes" if value else "pages.no")
    if value is None:
        return "–"
    return f"{value:,}".replace("-", "−") if isinstance(value, (int, float)) else _said("role", value)


def _said(family: str, name: str) -> str:
    return words(f"{family}.{name}") if known(f"{family}.{name}") else str(name)
