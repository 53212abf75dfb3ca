"""Every recorded field once: ``dictionary.csv`` feeds the phone's form, the server's check, CSV headings and the manual.

Hard limits (``low``, ``high``) hold a record; usual ones (``usual_low``, ``usual_high``) make the phone ask
once. A row whose type is ``kind`` names the kind of record itself.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Callable

from .sentences import Sentence

SCHEMA = 1
FILE = Path(__file__).with_name("dictionary.csv")
ENVELOPE = ("id", "install", "seq", "round", "kind", "plot", "taken_at", "lat", "lon", "accuracy_m", "confirmed", "replaces")
"""What every record carries besides its kind's own fields (``position`` is split in three in files)."""
LONGEST_TEXT = 2000


@dataclass(frozen=True)
class Field:
    kind: str
    name: str
    type: str
    unit: str
    required: bool
    low: float | None
    high: float | None
    usual_low: float | None
    usual_high: float | None
    choices: dict[str, dict[str, str]]
    label: dict[str, str]
    help: dict[str, str]
    only_if: dict[str, str] | None
    long: bool


@dataclass(frozen=True)
class Kind:
    name: str
    label: dict[str, str]
    help: dict[str, str]
    fields: tuple[Field, ...]


@lru_cache(maxsize=1)
def kinds() -> dict[str, Kind]:
    """All kinds with their fields, in the order of the table."""
    heads: dict[str, dict] = {}
    fields: dict[str, list[Field]] = {}
    with FILE.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["type"] == "kind":
                heads[row["kind"]] = row
                fields[row["kind"]] = []
                continue
            number = lambda name: float(row[name]) if row[name] != "" else None  # noqa: E731
            choices = {code: {"es": es, "en": en} for code, es, en in (c.split(":") for c in row["choices"].split("|") if c)}
            only_if = dict(zip(("field", "is"), row["only_if"].split("="))) if row["only_if"] else None
            fields[row["kind"]].append(Field(
                row["kind"], row["field"], row["type"], row["unit"], row["required"] == "1", number("low"), number("high"), number("usual_low"),
                number("usual_high"), choices, {"es": row["label_es"], "en": row["label_en"]}, {"es": row["help_es"], "en": row["help_en"]}, only_if, row["long"] == "yes"))
    return {name: Kind(name, {"es": row["label_es"], "en": row["label_en"]}, {"es": row["help_es"], "en": row["help_en"]}, tuple(fields[name])) for name, row in heads.items()}


def fields(kind: str) -> tuple[Field, ...]:
    return kinds()[kind].fields


def label(kind: str, name: str, language: str) -> str:
    """A field's name on screen ("" for one the table does not know)."""
    return next((f.label[language] for f in kinds()[kind].fields if f.name == name), "") if kind in kinds() else ""


def choice_label(kind: str, name: str, choice: str, language: str) -> str:
    found = next((f.choices.get(choice) for f in fields(kind) if f.name == name), None)
    return found[language] if found else str(choice)


def csv_headings(kind: str) -> list[str]:
    return [*ENVELOPE, *(f.name for f in fields(kind))]


def check(kind: str, values: dict[str, Any]) -> list[tuple[str, dict]]:
    """Hard faults of a record's own fields: (code, parameters) for each; an empty list when it can be used.

    Codes: field_missing, wrong_type, not_a_number, below, above, not_a_choice, text_too_long.
    """
    found = []
    for f, good in _quick(kind):
        value = values.get(f.name)
        if good(value):
            continue
        if value is None or value == "":
            if f.required:
                found.append(("field_missing", {"field": f.name}))
            continue
        fault = _fault(f, value)
        if fault:
            found.append((fault[0], {"field": f.name, "value": str(value)[:80], **fault[1]}))
    return found


@lru_cache(maxsize=None)
def _quick(kind: str) -> tuple[tuple[Field, Callable[[Any], bool]], ...]:
    """Each field with a look that passes ordinary good values at once; what it does not pass is judged in full."""
    return tuple((f, _passes(f)) for f in fields(kind))


def _passes(f: Field) -> Callable[[Any], bool]:
    low, high = -math.inf if f.low is None else f.low, math.inf if f.high is None else f.high
    if f.type == "number":
        return lambda value: type(value) in (float, int) and low <= value <= high and abs(value) < math.inf
    if f.type == "whole":
        return lambda value: type(value) is int and low <= value <= high
    if f.type == "choice":
        return lambda value: type(value) is str and value in f.choices
    if f.type in ("yes_no", "outline"):
        return lambda value: False
    return lambda value: type(value) is str and 0 < len(value) <= LONGEST_TEXT


def _is_endless(text: str) -> bool:
    """Whether a computer reads the text as a number that is none: nan, inf, 1e400."""
    try:
        return not math.isfinite(float(text))
    except ValueError:
        return False


def _fault(f: Field, value: Any) -> tuple[str, dict] | None:
    if f.type in ("number", "whole"):
        if isinstance(value, str) and _is_endless(value):
            return "not_a_number", {}
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            return "wrong_type", {}
        if value != value or value in (float("inf"), float("-inf")):
            return "not_a_number", {}
        if f.type == "whole" and value != int(value):
            return "wrong_type", {}
        if f.low is not None and value < f.low:
            return "below", {"limit": f.low, "unit": f.unit}
        if f.high is not None and value > f.high:
            return "above", {"limit": f.high, "unit": f.unit}
    elif f.type == "choice":
        if not isinstance(value, str) or value not in f.choices:
            return "not_a_choice", {"choices": ", ".join(f.choices)}
    elif f.type == "yes_no":
        if value not in (0, 1, True, False):
            return "wrong_type", {}
    elif f.type == "outline":
        if not _is_outline(value):
            return "wrong_type", {}
    elif not isinstance(value, str):
        return "wrong_type", {}
    elif len(value) > LONGEST_TEXT:
        return "text_too_long", {"limit": LONGEST_TEXT}
    return None


def _is_outline(value: Any) -> bool:
    """A GeoJSON Polygon or MultiPolygon of closed rings (RFC 7946): four corners or more, numbers within the earth."""
    if not isinstance(value, dict) or value.get("type") not in ("Polygon", "MultiPolygon") or not isinstance(value.get("coordinates"), list):
        return False
    polygons = [value["coordinates"]] if value["type"] == "Polygon" else value["coordinates"]
    return bool(polygons) and all(isinstance(p, list) and p and all(_is_ring(ring) for ring in p) for p in polygons)


def _is_ring(ring: Any) -> bool:
    if not isinstance(ring, list) or len(ring) < 4:
        return False
    for corner in ring:
        if not isinstance(corner, list) or len(corner) < 2 or any(isinstance(c, bool) or not isinstance(c, (int, float)) for c in corner):
            return False
        if not (abs(corner[0]) <= 180 and abs(corner[1]) <= 90):
            return False
    return ring[0] == ring[-1]


@dataclass(frozen=True)
class Label(Sentence):
    """A field or choice by its name in the table, where a sentence needs it."""

    def text(self, language: str) -> str:
        return self.params[language]


def name_of(kind: str, name: str) -> Label:
    """A field's name for people; its own name where the table does not know it."""
    found = next((f for f in fields(kind) if f.name == name), None) if kind in kinds() else None
    return Label("field", found.label if found else {"es": name, "en": name})


def named(kind: str, params: dict[str, Any]) -> dict[str, Any]:
    """Parameters of a sentence with field and choices under their names for people, where the table knows them."""
    found = next((f for f in fields(kind) if f.name == params.get("field")), None) if kind in kinds() else None
    if found is None:
        return params
    choices = {language: ", ".join(c[language] for c in found.choices.values()) for language in found.label}
    return {**params, "field": Label("field", found.label), **({"unit": f" {params['unit']}" if params["unit"] else ""} if "unit" in params else {}), **({"choices": Label("choices", choices)} if "choices" in params else {})}


def likely(f: Field, value: float) -> float | None:
    """The value with its decimal point put back where it becomes usual: 260 °Bx → 26.0."""
    if f.usual_low is None or f.usual_high is None:
        return None
    for factor in (0.1, 0.01, 10.0):
        if f.usual_low <= value * factor <= f.usual_high:
            return round(value * factor, 3)
    return None


def for_phone() -> dict:
    """The table as the phone's form reads it."""
    return {"schema": SCHEMA, "kinds": [{"kind": k.name, "label": k.label, "help": k.help, "fields": [_phone_field(f) for f in k.fields]} for k in kinds().values()]}


def _phone_field(f: Field) -> dict:
    shown = {"name": f.name, "type": f.type, "unit": f.unit, "required": f.required, "low": f.low, "high": f.high, "usual_low": f.usual_low, "usual_high": f.usual_high,
             "label": f.label, "help": f.help if any(f.help.values()) else None, "only_if": f.only_if, "long": f.long or None,
             "choices": list(f.choices) or None, "choice_labels": f.choices or None}
    # A limit of zero is a limit: 0.0 equals False, so emptiness is told by identity.
    return {name: value for name, value in shown.items() if not (value is None or value is False or value == "") or name == "required"}


def manual(language: str) -> str:
    """The table as text for people, one kind a paragraph."""
    lines = []
    for kind in kinds().values():
        lines += [f"{kind.name}: {kind.label[language]}. {kind.help[language]}."]
        for f in kind.fields:
            limits = "" if f.low is None and f.high is None else f" [{f.low:g}…{f.high:g}]" if None not in (f.low, f.high) else ""
            choices = f" ({', '.join(f.choices)})" if f.choices else ""
            lines.append(f"  {f.name}{'*' if f.required else ''}: {f.label[language]}{', ' + f.unit if f.unit else ''}{limits}{choices}{'. ' + f.help[language] if f.help[language] else ''}")
    return "\n".join(lines)
