"""What happens to arriving records, decided without touching anything: gather, decide, act.

``decide`` gets the records as read and what is known; it returns what to keep, what to hold and why,
and what is already there. Nothing is dropped and nothing rewritten: a held record keeps its bytes.
"""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from typing import Any, Callable, NamedTuple

from . import constants as k
from . import judging
from . import record as rec

KEPT, ALREADY, HELD = "kept", "already", "held"


class Decision(NamedTuple):
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
    params: dict[str, Any] = {}
    proposal: dict[str, Any] | None = None
    conflict: bool = False


def against(decisions: list[Decision], seen: dict[str, str], stored: Callable[[str], bytes]) -> list[Decision]:
    """The same fates once it is known what is stored: a repeat is there already, another record under a known id is a conflict.

    ``seen`` are the digests of stored records by id, ``stored`` gives the bytes of one of them, asked for
    only when digests differ. Repeats within the batch are judged like repeats of earlier ones. Kept apart
    from judging, so that records are judged before the store is locked.
    """
    first: dict[str, Decision] = {}
    out = []
    for d in decisions:
        before = first.get(d.id)
        if before is None and d.id not in seen:
            first[d.id] = d
            out.append(d)
        elif (before.digest if before else seen[d.id]) == d.digest or rec.same(d.bytes, before.bytes if before else stored(d.id)):
            out.append(d._replace(status=ALREADY, record=None, code="", params={}, proposal=None))
        else:
            out.append(d._replace(status=HELD, record=None, code="same_id_other_bytes", params={}, proposal=None, conflict=True))
    return out


def _id_of(raw: Any, text: bytes) -> str:
    """Its own identifier, or one derived where that is not of the agreed form."""
    given = raw.get("id") if isinstance(raw, dict) else None
    if rec.is_canonical(given):
        return given
    return rec.derived_id("held", {"digest": rec.digest(rec.canonical(raw) if isinstance(raw, dict) and not rec.too_deep(raw) else text)}, 0)


def decide(index: int, raw: Any, text: bytes, schema: int, known: judging.Known, error: timedelta) -> Decision:
    """The fate of one record as far as it does not depend on what is stored (see ``against``)."""
    name, digest = _id_of(raw, text), rec.digest(text)
    fields = raw if isinstance(raw, dict) else {}
    plain = rec.certainly_plain(text)
    broken = (lambda value: False) if plain else rec.has_broken_text
    given, install, seq = fields.get("id"), fields.get("install"), fields.get("seq")
    come = (index, name, given if isinstance(given, str) and not broken(given) else name)
    of = (text, digest, install if isinstance(install, str) and not broken(install) else "", seq if isinstance(seq, int) and not isinstance(seq, bool) else None)

    def held(code: str, **params: Any) -> Decision:
        return Decision(*come, HELD, *of, code=code, params=params)

    if not plain and rec.too_deep(raw):
        return held("too_deep", limit=rec.DEEPEST)
    if given != name:
        return held("id_not_canonical", value=rec.cleaned(str(given)[:60]))
    if broken(raw):
        return held("broken_text")
    if schema > rec.SCHEMA:
        return held("newer_schema", schema=schema)
    record, (code, params) = envelope(raw)
    if record is None:
        return held(code, **params)
    fixed = rec.repaired(record.taken, error, float(k.CLOCK_TOLERANCE_S))
    code, params, proposal = judging.judge(current_form(record, schema), fixed, known)
    return Decision(*come, HELD if code else KEPT, *of, record, fixed, code, params, proposal)


def current_form(record: rec.Record, schema: int) -> rec.Record:
    """The record with its fields in today's form; the same object for today's schema."""
    return record if schema >= rec.SCHEMA else record._replace(fields=rec.upcast(record.kind, record.fields, schema))


def raised(raw: dict, schema: int) -> dict:
    """A raw record with its own fields in today's form (as it is when its schema is today's, or not yet known)."""
    if schema >= rec.SCHEMA:
        return raw
    around = {name: value for name, value in raw.items() if name in _OWN_NAMES}
    return {**around, **rec.upcast(str(raw.get("kind")), {n: v for n, v in raw.items() if n not in _OWN_NAMES}, schema)}


_OWN_NAMES = frozenset(("id", "install", "seq", "round", "kind", "plot", "taken_at", "position", "confirmed", "replaces"))


_TEXTS = ("install", "round", "kind", "plot", "taken_at", "replaces")


def envelope(raw: dict) -> tuple[rec.Record | None, tuple[str, dict]]:
    """The record with its envelope checked, or None and why not."""
    get = raw.get
    install, round_, kind, plot, taken_at, replaces = texts = get("install"), get("round"), get("kind"), get("plot"), get("taken_at"), get("replaces")
    for value in texts:
        if value is not None and not isinstance(value, str):
            return None, ("wrong_type", {"field": _TEXTS[texts.index(value)], "value": str(value)[:60]})
    seq, confirmed = raw.get("seq"), raw.get("confirmed")
    if seq is not None and (isinstance(seq, bool) or not isinstance(seq, int)):
        return None, ("wrong_type", {"field": "seq", "value": str(seq)[:60]})
    if confirmed not in (None, True, False):
        return None, ("wrong_type", {"field": "confirmed", "value": str(confirmed)[:60]})
    place = _place(raw.get("position"))
    if place is None:
        return None, ("wrong_type", {"field": "position", "value": str(raw["position"])[:60]})
    own = {name: value for name, value in raw.items() if name not in _OWN_NAMES}
    return rec.Record(raw.get("id") or "", install or "", seq, round_ or None, kind or "", plot or None, taken_at or None,
                      rec.parse_time(taken_at), *place, bool(confirmed), replaces or None, own), ("", {})


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
    if moment is None:
        return None
    utc = moment if moment.tzinfo is timezone.utc else moment.astimezone(timezone.utc)
    return utc.isoformat(timespec="milliseconds")[:-6] + "Z"
