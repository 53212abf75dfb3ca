"""A record's fields in words, its history step by step, and what of it counts now."""

from __future__ import annotations

import json
from math import isfinite
from typing import Any

from flask import g

from .. import dictionary
from ..land import service as land
from ..survey.history_service import differing
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


def steps_told(steps: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Steps of a history with ``told`` (their fields in words; of an undone correction only what it had changed, of a void its reason) and ``shown`` (as kept)."""
    for step in steps:
        lines = [] if step["step"] in ("voided", "restored") else told(step["fields"], step["was"] if isinstance(step["was"], dict) else None, g.language)
        step["told"] = [line for line in lines if line["was"] is not None] if step["step"] == "undone" else lines
        if step["why"] and not any(line["value"] == step["why"] for line in step["told"]):
            step["told"].append({"label": words("pages.record.why"), "value": step["why"], "was": None})
        step["shown"] = step["kept_as"] if isinstance(step["kept_as"], str) else json.dumps(step["kept_as"], ensure_ascii=False, sort_keys=True)
    return steps


def now_of(steps: list[dict[str, Any]], record: str) -> dict[str, Any] | None:
    """The fields of a history that count; where none counts those of the record asked for, or of what was last read there."""
    own = [s for s in steps if isinstance(s["kept_as"], dict) and s["kept_as"].get("kind") in dictionary.kinds() and s["kept_as"]["kind"] != "void"]
    best = [s for s in own if s["counts"]] or [s for s in own if s["id"] == record] or own
    return best[-1]["kept_as"] if best else None


def counted_now(steps: list[dict[str, Any]]) -> dict[str, Any] | None:
    """{record, said} of what counts in a history of several steps, ``said`` what its records say differently; ``record`` None where nothing counts; None where there was but one."""
    own = [s for s in steps if isinstance(s["kept_as"], dict) and s["kept_as"].get("kind") not in (None, "void")]
    living = next((s for s in reversed(own) if s["counts"]), None)
    if len(steps) < 2 or living is None:
        return {"record": None, "waits": steps[-1]["step"] == "came_held"} if living is None else None
    names = dict.fromkeys(name for s in own for name in differing(s["kept_as"], living["kept_as"]))
    return {"record": living["id"], "said": said(living["kept_as"], list(names))}


def again(undo: dict[str, Any]) -> str:
    """What counts again without a correction: the values that it had changed."""
    return said(undo["fields_again"], differing(undo["fields"], undo["fields_again"]))


def said(fields: dict[str, Any], names: list[str]) -> str:
    """Some of a record's values in words; of several each with its name."""
    values = [(label, say(fields.get(name))) for name in names for label, say in [named(fields.get("kind"), name)] if label]
    return ", ".join(f"{label}: {value}" for label, value in values) if len(values) > 1 else "".join(value for _, value in values)


def kind_words(kind: str | None) -> str:
    return dictionary.kinds()[kind].label[g.language] if kind in dictionary.kinds() else ""


def named(kind: Any, name: str) -> tuple[str, Any]:
    """(its name in words, what says its value) of one field; of a field no kind knows an empty name."""
    if name in ("plot", "taken_at"):
        return words(f"survey.field.{name}"), _called if name == "plot" else _when
    for each in [kind] if kind in dictionary.kinds() else dictionary.kinds():
        if field := next((f for f in dictionary.fields(each) if f.name == name), None):
            return _label(each, name, g.language), _sayer(each, field, g.language)
    return "", _plain


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
