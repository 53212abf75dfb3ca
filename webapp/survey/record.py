"""What a record is: its envelope, its kinds, which of several counts, and time repaired by the measured clock."""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from typing import Any, Iterable

from .. import dictionary

SCHEMA = dictionary.SCHEMA
CANONICAL = re.compile(r"^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")
NAMESPACE = uuid.UUID("5b0c4c0a-6d8e-5f36-9a41-0c1d7a2f3b10")
"""Our own namespace for identifiers derived from a file's rows (RFC 9562 version 5)."""


@dataclass(frozen=True)
class Record:
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
    fields: dict[str, Any] = field(default_factory=dict)


def parse_time(text: Any) -> datetime | None:
    """RFC 3339 with offset, or None (a time without offset is not one)."""
    if not isinstance(text, str):
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo is not None else None


def canonical(record: dict) -> bytes:
    """One byte form of a record, so that its digest does not depend on spacing or the order of keys."""
    return json.dumps(record, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=True).encode("utf-8", "backslashreplace")


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def derived_id(source: str, content: dict, occurrence: int) -> str:
    """Identifier of a file's row without one: same source, content and occurrence, same identifier."""
    return str(uuid.uuid5(NAMESPACE, f"{source}\n{canonical(content).decode('utf-8')}\n{occurrence}"))


def has_broken_text(value: Any) -> bool:
    """Whether any text holds a lone surrogate, which no UTF-8 store can keep as it is."""
    if isinstance(value, str):
        return any(0xD800 <= ord(c) <= 0xDFFF for c in value)
    if isinstance(value, dict):
        return any(has_broken_text(k) or has_broken_text(v) for k, v in value.items())
    return isinstance(value, list) and any(has_broken_text(v) for v in value)


def cleaned(value: Any) -> Any:
    """Text that can be stored: lone surrogates as their escapes."""
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode("utf-8")
    if isinstance(value, dict):
        return {cleaned(k): cleaned(v) for k, v in value.items()}
    return [cleaned(v) for v in value] if isinstance(value, list) else value


def repaired(taken: datetime | None, clock_error: timedelta, tolerance_s: float) -> datetime | None:
    """The taken time in UTC, moved by the measured clock error when that is larger than the tolerance.

    ``clock_error`` = received − sent by the device's clock.
    """
    if taken is None:
        return None
    shift = clock_error if abs(clock_error.total_seconds()) > tolerance_s else timedelta()
    return (taken + shift).astimezone(timezone.utc)


def in_force(rows: Iterable[dict]) -> set[str]:
    """Identifiers of the records that count, from kept rows with id, kind, replaces and taken_fixed.

    A void takes what it names out of force, unless that void is itself voided. A correction in force or
    corrected in turn hides what it replaces; of two for one record the later by corrected time (then id)
    counts. Voiding a correction brings back what it hid.
    """
    rows = list(rows)
    by_id = {row["id"]: row for row in rows}
    voids: dict[str, list[str]] = {}
    for row in rows:
        if row["kind"] == "void" and row["replaces"] in by_id and row["replaces"] != row["id"]:
            voids.setdefault(row["replaces"], []).append(row["id"])
    known: dict[str, bool] = {}

    def stands(start: str) -> bool:
        """Whether no standing void names a record. Iterative; a loop of voids stands for nobody."""
        stack, path = [start], set()
        while stack:
            here = stack[-1]
            if here in known:
                stack.pop()
                continue
            path.add(here)
            open_ = [void for void in voids.get(here, []) if void not in known and void not in path]
            if open_:
                stack.extend(open_)
                continue
            known[here] = not any(known.get(void, False) for void in voids.get(here, []))
            stack.pop()
        return known[start]

    standing = [row for row in rows if row["kind"] != "void" and stands(row["id"])]
    corrections: dict[str, list[dict]] = {}
    for row in standing:
        if row["replaces"] in by_id and row["replaces"] != row["id"]:
            corrections.setdefault(row["replaces"], []).append(row)
    hidden = set(corrections)
    for replies in corrections.values():
        last = max(replies, key=lambda r: (r["taken_fixed"] or "", r["id"]))
        hidden |= {r["id"] for r in replies if r is not last}
    return {row["id"] for row in standing} - hidden
