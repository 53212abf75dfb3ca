"""A record's fields in words, and which of them the next step changed."""

from __future__ import annotations

from math import isfinite
from typing import Any

from .. import dictionary
from ..land import service as land
from .access import db
from .layout import moment, words

UNITS = ("°Bx", "°C", "kg", "m", "%", "h", "min")


def told(fields: Any, before: dict[str, Any] | None, language: str) -> list[dict[str, Any]]:
    """[{label, value, was}] of what is noted, in the order of the dictionary; ``was`` is None where nothing changed from ``before``."""
    if not isinstance(fields, dict):
        return []
    kind = fields.get("kind")
    kind = kind if kind in dictionary.kinds() else (before or {}).get("kind")
    own = [f for f in dictionary.fields(kind) if f.type != "outline"] if kind in dictionary.kinds() else []
    out = []
    for name, label, say in [("plot", words("survey.field.plot"), _called), ("taken_at", words("survey.field.taken_at"), _when), *((f.name, _label(kind, f.name, language), _sayer(kind, f, language)) for f in own)]:
        value, was = fields.get(name), (before or {}).get(name)
        changed = before is not None and name in before | fields and name != "taken_at" and fields.get("kind") != "void" and say(was) != say(value)
        if value not in (None, "") or changed:
            out.append({"label": label, "value": say(value), "was": say(was) if changed else None})
    if fields.get("why") and not any(f.name == "why" for f in own):
        out.append({"label": "", "value": str(fields["why"]), "was": None})
    return out


def _called(value: Any) -> str:
    """A plot under its name and code, as people call it."""
    return land.called(db()).get(value, _plain(value)) if isinstance(value, str) else _plain(value)


def _when(value: Any) -> str:
    return _plain(value) if value in (None, "") else moment(value)


def _label(kind: str, name: str, language: str) -> str:
    return dictionary.name_of(kind, name).text(language)


def _plain(value: Any) -> str:
    return "–" if value in (None, "") else f"{value:g}" if isinstance(value, float) else str(value)


def _sayer(kind: str, field: Any, language: str):
    if field.type == "choice":
        return lambda value: "–" if value in (None, "") else dictionary.choice_label(kind, field.name, value, language)
    if field.type == "yes_no":
        return lambda value: "–" if value in (None, "") else words("pages.yes" if value else "pages.no")
    unit = field.unit if field.unit in UNITS else ""
    if field.type in ("number", "whole"):
        return lambda value: _plain(value) + (f" {unit}" if unit else "") if _is_number(value) else "–" if value in (None, "") else words("survey.came", text=str(value))
    return lambda value: _plain(value) + (f" {unit}" if unit and value not in (None, "") else "")


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and isfinite(value)
