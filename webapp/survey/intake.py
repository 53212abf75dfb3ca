"""What happens to arriving records, decided without touching anything: gather, decide, act.

``decide`` gets the records as read and what is known; it returns what to keep, what to hold and why,
and what is already there. Nothing is dropped and nothing rewritten: a held record keeps its bytes.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, timezone
from typing import Any

from . import constants as k
from . import judging
from . import record as rec

KEPT, ALREADY, HELD = "kept", "already", "held"


@dataclass(frozen=True)
class Decision:
    """One record's fate. ``id`` is the one it is stored under, ``given`` what it came with.

    ``record`` is None when its envelope could not be read; ``install`` and ``seq`` are told even then
    where they can be, so that a phone's sequence shows no hole that is none.
    """

    index: int
    id: str
    given: str
    status: str
    bytes: bytes
    digest: str
    install: str = ""
    seq: int | None = None
    record: rec.Record | None = None
    taken_fixed: datetime | None = None
    code: str = ""
    params: dict[str, Any] = field(default_factory=dict)
    proposal: dict[str, Any] | None = None
    conflict: bool = False


def named(raws: list[Any], texts: list[bytes]) -> list[tuple[str, str]]:
    """(identifier, digest) of each: the identifier is its own, or one derived where that is not of the agreed form."""
    digests = [_digest(raw, text) for raw, text in zip(raws, texts)]
    return [(_id_of(raw, digest), digest) for raw, digest in zip(raws, digests)]


def decide(raws: list[Any], texts: list[bytes], names: list[tuple[str, str]], schema: int, known: judging.Known, seen: dict[str, str], error: timedelta) -> list[Decision]:
    """The fate of each record, in order; ``names`` as from ``named``, ``seen`` the digests of stored records by id.

    Repeats within the batch are judged like repeats of earlier ones.
    """
    seen = dict(seen)
    out = []
    for index, (raw, text) in enumerate(zip(raws, texts)):
        decision = _one(index, raw, text, names[index], schema, known, seen, error)
        seen.setdefault(decision.id, decision.digest)
        out.append(decision)
    return out


def _digest(raw: Any, text: bytes) -> str:
    return rec.digest(rec.canonical(raw) if isinstance(raw, dict) and not rec.too_deep(raw) else text)


def _id_of(raw: Any, digest: str) -> str:
    given = raw.get("id") if isinstance(raw, dict) else None
    return given if rec.is_canonical(given) else rec.derived_id("held", {"digest": digest}, 0)


def _one(index: int, raw: Any, text: bytes, names: tuple[str, str], schema: int, known: judging.Known, seen: dict[str, str], error: timedelta) -> Decision:
    name, digest = names
    fields = raw if isinstance(raw, dict) else {}
    given, install, seq = fields.get("id"), fields.get("install"), fields.get("seq")
    start = Decision(index, name, given if isinstance(given, str) and not rec.has_broken_text(given) else name, HELD, text, digest,
                     install if isinstance(install, str) and not rec.has_broken_text(install) else "",
                     seq if isinstance(seq, int) and not isinstance(seq, bool) else None)
    if name in seen:
        return replace(start, status=ALREADY) if seen[name] == digest else replace(start, code="same_id_other_bytes", conflict=True)
    if rec.too_deep(raw):
        return replace(start, code="too_deep", params={"limit": rec.DEEPEST})
    if given != name:
        return replace(start, code="id_not_canonical", params={"value": rec.cleaned(str(given)[:60])})
    if rec.has_broken_text(raw):
        return replace(start, code="broken_text")
    if schema > rec.SCHEMA:
        return replace(start, code="newer_schema", params={"schema": schema})
    record, (code, params) = envelope(raw)
    if record is None:
        return replace(start, code=code, params=params)
    fixed = rec.repaired(record.taken, error, float(k.CLOCK_TOLERANCE_S))
    code, params, proposal = judging.judge(current_form(record, schema), fixed, known)
    return replace(start, status=HELD if code else KEPT, record=record, taken_fixed=fixed, code=code, params=params, proposal=proposal)


def current_form(record: rec.Record, schema: int) -> rec.Record:
    """The record with its fields in today's form; the same object for today's schema."""
    return record if schema >= rec.SCHEMA else replace(record, fields=rec.upcast(record.kind, record.fields, schema))


def raised(raw: dict, schema: int) -> dict:
    """A raw record with its own fields in today's form (as it is when its schema is today's, or not yet known)."""
    if schema >= rec.SCHEMA:
        return raw
    around = {name: value for name, value in raw.items() if name in _OWN_NAMES}
    return {**around, **rec.upcast(str(raw.get("kind")), {n: v for n, v in raw.items() if n not in _OWN_NAMES}, schema)}


_OWN_NAMES = frozenset(("id", "install", "seq", "round", "kind", "plot", "taken_at", "position", "confirmed", "replaces"))


def envelope(raw: dict) -> tuple[rec.Record | None, tuple[str, dict]]:
    """The record with its envelope checked, or None and why not."""
    for name in ("install", "round", "kind", "plot", "taken_at", "replaces"):
        if raw.get(name) is not None and not isinstance(raw[name], str):
            return None, ("wrong_type", {"field": name, "value": str(raw[name])[:60]})
    seq, confirmed = raw.get("seq"), raw.get("confirmed")
    if seq is not None and (isinstance(seq, bool) or not isinstance(seq, int)):
        return None, ("wrong_type", {"field": "seq", "value": str(seq)[:60]})
    if confirmed not in (None, True, False):
        return None, ("wrong_type", {"field": "confirmed", "value": str(confirmed)[:60]})
    place = _place(raw.get("position"))
    if place is None:
        return None, ("wrong_type", {"field": "position", "value": str(raw["position"])[:60]})
    own = {name: value for name, value in raw.items() if name not in _OWN_NAMES}
    text = {name: raw.get(name) or None for name in ("round", "plot", "taken_at", "replaces")}
    return rec.Record(raw.get("id") or "", raw.get("install") or "", seq, text["round"], raw.get("kind") or "", text["plot"], text["taken_at"],
                      rec.parse_time(text["taken_at"]), *place, bool(confirmed), text["replaces"], own), ("", {})


def _place(position: Any) -> tuple[float | None, float | None, float | None] | None:
    """(latitude, longitude, accuracy) with None for what was not noted; None when it is no place on earth."""
    if position is None:
        return None, None, None
    if not isinstance(position, dict):
        return None
    numbers = []
    for name, most in (("lat", 90.0), ("lon", 180.0), ("accuracy_m", 1e7)):
        value = position.get(name)
        if value is None:
            numbers.append(None)
        elif isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= most:
            return None
        else:
            numbers.append(float(value))
    return tuple(numbers)


def as_utc_text(moment: datetime | None) -> str | None:
    return moment.astimezone(timezone.utc).isoformat(timespec="milliseconds").replace("+00:00", "Z") if moment else None
