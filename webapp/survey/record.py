"""What a record is: its envelope, its byte form and identifier, and time repaired by the measured clock."""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from datetime import datetime, timedelta, timezone
from math import isfinite
from typing import Any, Callable, NamedTuple

import msgspec

from .. import dictionary

SCHEMA = dictionary.SCHEMA
CANONICAL = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_SURROGATE = re.compile("[\ud800-\udfff]")
DEEPEST = 16
"""Levels of nesting a record may have; an outline of several polygons has seven."""
NAMESPACE = uuid.UUID("5b0c4c0a-6d8e-5f36-9a41-0c1d7a2f3b10")
"""Our own namespace for identifiers derived from a file's rows (RFC 9562 version 5)."""


class Record(NamedTuple):
    """One readable record. ``fields`` are the kind's own; ``taken`` as the device said, aware, or None."""

    id: str
    install: str
    seq: int | None
    round: str | None
    kind: str
    plot: str | None
    taken_at: str | None
    taken: datetime | None
    lat: float | None
    lon: float | None
    accuracy_m: float | None
    confirmed: bool
    replaces: str | None
    fields: dict[str, Any]


class Row(NamedTuple):
    """A record as the log holds it, but for its number; texts of times in UTC, ``fields`` its own fields as JSON."""

    id: str
    install: str
    seq: int | None
    round: str | None
    kind: str
    plot: str | None
    taken_at: str | None
    taken_fixed: str | None
    received_at: str
    lat: float | None
    lon: float | None
    accuracy_m: float | None
    confirmed: int
    replaces: str | None
    schema: int
    fields: str
    bytes: bytes
    digest: str
    source: str
    sender: str
    state: str


def parse_time(text: Any) -> datetime | None:
    """RFC 3339 with offset, or None (a time without offset is not one)."""
    if not isinstance(text, str):
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None


_COMPACT = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=True)
_SORTED = json.JSONEncoder(ensure_ascii=False, sort_keys=True)


def canonical(record: dict) -> bytes:
    """One byte form of a record, so that its digest does not depend on spacing, the order of keys, or on writing out what was not noted."""
    noted = {name: value for name, value in record.items() if value is not None}
    return _COMPACT.encode(noted).encode("utf-8", "backslashreplace")


_QUICK = msgspec.json.Encoder(order="sorted")


def as_text(fields: dict) -> str:
    """A record's own fields as the log's column holds them."""
    for value in fields.values():
        if value is not None and not isinstance(value, (str, int)) and (not isinstance(value, float) or value - value != 0):
            return _SORTED.encode(fields)  # lists, objects and numbers that JSON has no word for
    return _QUICK.encode(fields).decode()


def certainly_plain(text: bytes) -> bool:
    """Whether a record's own bytes can hold neither deep nesting nor a broken surrogate, told by looking at the bytes alone.

    Most records are so, and need neither of the two slower looks below.
    """
    return not may_be_broken(text) and text.count(b"{") + text.count(b"[") <= DEEPEST


def may_be_broken(text: bytes) -> bool:
    """Whether a lone surrogate is possible: UTF-8 itself has none, so one can only come from an escape, and theirs begin with d."""
    return b"\\u" in text and (b"\\ud" in text or b"\\uD" in text)


def loads(data: bytes) -> dict:
    """A stored record as an object, {} when it is none."""
    try:
        found = json.loads(data)
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def same(one: bytes, other: bytes) -> bool:
    """Whether two texts are one record: spacing, the order of keys and writing out what was not noted make no other."""
    texts = [loads(data) for data in (one, other)]
    return one == other or all(text and not too_deep(text) for text in texts) and canonical(texts[0]) == canonical(texts[1])


def derived_id(source: str, content: dict, occurrence: int) -> str:
    """Identifier of a file's row without one: same source, content and occurrence, same identifier."""
    return str(uuid.uuid5(NAMESPACE, f"{source}\n{canonical(content).decode('utf-8')}\n{occurrence}"))


def is_canonical(value: Any) -> bool:
    """The 36-character lower-case form only: braces, ``urn:`` and upper case name the same number but are other text."""
    return isinstance(value, str) and CANONICAL.fullmatch(value) is not None


def too_deep(value: Any) -> bool:
    """Whether lists and objects lie in each other more than ``DEEPEST`` levels (told without recursion)."""
    layer = [value]
    for _ in range(DEEPEST):
        layer = [inner for outer in layer for inner in (outer.values() if isinstance(outer, dict) else outer if isinstance(outer, list) else ())]
        if not layer:
            return False
    return True


def has_broken_text(value: Any) -> bool:
    """Whether any text holds a lone surrogate, which no UTF-8 store can keep as it is."""
    if isinstance(value, str):
        return _SURROGATE.search(value) is not None
    if isinstance(value, dict):
        return any(has_broken_text(k) or has_broken_text(v) for k, v in value.items())
    return isinstance(value, list) and any(has_broken_text(v) for v in value)


def cleaned(value: Any) -> Any:
    """Text that can be stored and shown: lone surrogates as their escapes, numbers that are none (NaN, Infinity) as their words."""
    if isinstance(value, float) and not isfinite(value):
        return str(value)
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(value, dict):
        return {cleaned(k): cleaned(v) for k, v in value.items()}
    return [cleaned(v) for v in value] if isinstance(value, list) else value


def repaired(taken: datetime | None, clock_error: timedelta, tolerance_s: float) -> datetime | None:
    """The taken time in UTC, moved by the measured clock error when that is larger than the tolerance.

    ``clock_error`` = received − sent by the device's clock. None also when the calendar has no such time.
    """
    if taken is None:
        return None
    try:
        return (taken + (moved(clock_error, tolerance_s) or timedelta())).astimezone(timezone.utc)
    except OverflowError:
        return None


def moved(clock_error: timedelta, tolerance_s: float) -> timedelta | None:
    """By how much times are moved, None when the clock is as good as the measurement."""
    return clock_error if abs(clock_error.total_seconds()) > tolerance_s else None


UPCASTS: dict[int, Callable[[str, dict], dict]] = {}
"""Schema number → (kind, fields) → fields of the next schema. Empty: 1 is the first."""


def upcast(kind: str, fields: dict, schema: int) -> dict:
    """A record's own fields in today's form. What is stored stays as it came; this happens on reading."""
    for number in range(schema, SCHEMA):
        fields = UPCASTS[number](kind, fields)
    return fields
