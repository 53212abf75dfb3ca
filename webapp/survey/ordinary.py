"""Ordinary records in one pass: read and checked by readers made from the dictionary, in compiled code.

Whatever such a reader does not take whole, and every kind that is judged by more than the limits of its
fields, goes the exact way (``intake``), which says in words what is wrong. What is taken here is what the
exact way keeps, to the byte of the log; a test holds the two against each other.
"""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta, timezone
from functools import reduce
from hashlib import sha256
from operator import attrgetter, or_
from typing import Annotated, Any, Callable, Literal, NamedTuple

import msgspec
from msgspec import UNSET, Meta, UnsetType

from .. import dictionary
from . import judging
from . import record as rec
from .intake import KEPT, Decision

Found = msgspec.Struct
"""A record as such a reader gives it."""
LONG = 10**18
"""Whole numbers from here on are kept as floating ones (``batch``); no field's limits allow them."""
JUDGED_BY_MORE = frozenset(("void", "load", "lab", "age_check"))
"""Kinds whose fields are held against each other or against the land (``judging``)."""


class _Place(Found, forbid_unknown_fields=True, gc=False):
    lat: Annotated[float, Meta(ge=-90, le=90)] | None = None
    lon: Annotated[float, Meta(ge=-180, le=180)] | None = None
    accuracy_m: Annotated[float, Meta(ge=-1e7, le=1e7)] | None = None


class Arrival(NamedTuple):
    """What the records of one batch share. ``latest`` (UTC) is how late a time may be, ``moved`` what the phone's clock was wrong by (None: as good as nothing)."""

    plots: dict[str, dict[str, Any]]
    latest: datetime
    moved: timedelta | None
    at: str
    source: str
    sender: str


def _type(f: dictionary.Field) -> Any | None:
    """What the reader takes for a field; None when only the exact way can tell."""
    if f.type in ("number", "whole"):
        whole = Annotated[int, Meta(ge=None if f.low is None else math.ceil(f.low), le=None if f.high is None else math.floor(f.high))]
        return whole if f.type == "whole" else whole | Annotated[float, Meta(ge=f.low, le=f.high)]
    if f.type == "choice":
        return Literal[tuple(f.choices)]
    return {"yes_no": bool, "text": Annotated[str, Meta(min_length=1, max_length=dictionary.LONGEST_TEXT)]}.get(f.type)


def _may_lack(f: dictionary.Field, taken: Any) -> tuple:
    return (f.name, taken) if f.required else (f.name, taken | None | UnsetType, UNSET)


def _readers() -> tuple[Callable[[bytes], Found], Callable[[bytes], Any], dict[type, tuple[str, Callable[[Found], Found]]]]:
    """(the reader of a record of any ordinary kind; of a batch of such; of each type they give the kind, and what takes a record's own fields out of it)."""
    around = [("id", Annotated[str, Meta(pattern=f"^{rec.CANONICAL.pattern}\\Z")]), ("install", str), ("plot", str), ("taken_at", str), ("seq", Annotated[int, Meta(gt=-LONG, lt=LONG)] | None, None), ("round", str | None, None),
              ("position", _Place | None, None), ("confirmed", bool | None, None), ("replaces", None, None)]
    known: dict[type, tuple[str, Callable[[Found], Found]]] = {}
    for kind, about in dictionary.kinds().items():
        own = [(f, _type(f)) for f in sorted(about.fields, key=lambda f: f.name)]
        if not own or kind in JUDGED_BY_MORE or any(taken is None for _, taken in own):
            continue
        names = [f.name for f, _ in own]
        alone = msgspec.defstruct(f"Own_{kind}", [(name, Any) for name in names], gc=False)
        get = attrgetter(*names) if len(names) > 1 else lambda o, one=attrgetter(*names): (one(o),)
        known[msgspec.defstruct(f"Found_{kind}", [*around, *(_may_lack(f, taken) for f, taken in own)], tag=kind, tag_field="kind", forbid_unknown_fields=True, kw_only=True, gc=False)] = (
            kind, lambda o, alone=alone, get=get: alone(*get(o)))
    one = reduce(or_, known)
    return msgspec.json.Decoder(one).decode, msgspec.json.Decoder(msgspec.defstruct("Batch", [("records", list[one])], gc=False)).decode, known


_READ_ONE, _READ_ALL, _KINDS = _readers()


def read(text: bytes) -> Found | None:
    """The record when it is an ordinary one by itself (its plot and its time are not yet looked at), else None."""
    if rec.may_be_broken(text):
        return None
    try:
        return _READ_ONE(text)
    except (msgspec.MsgspecError, ValueError):
        return None


def read_all(body: bytes) -> list[Found] | None:
    """The records of a batch when all are ordinary ones, else None."""
    if rec.may_be_broken(body):
        return None
    try:
        return _READ_ALL(body).records
    except (msgspec.MsgspecError, ValueError):
        return None


def kept(found: list[Any], texts: list[bytes], of: Arrival) -> list[tuple[Decision, tuple] | None]:
    """Of each record of a batch its decision and its row of the log (``record.Row``); None where it was not read by such a reader, or land or time stand against it: the exact way then says what."""
    times = [_fixed(o, of) if isinstance(o, Found) else None for o in found]
    taken = [(index, o, fixed) for index, (o, fixed) in enumerate(zip(found, times)) if fixed is not None]
    out: list[tuple[Decision, tuple] | None] = [None] * len(found)
    for (index, o, _), at, own in zip(taken, _as_texts([fixed for _, _, fixed in taken]), _own_fields([o for _, o, _ in taken])):
        text, place, name, install, seq = texts[index], o.position or _NOWHERE, o.id, o.install, o.seq
        digest = sha256(text).hexdigest()
        out[index] = (Decision(index, name, name, KEPT, text, digest, install, seq),
                      (name, install, seq, o.round or None, _KINDS[type(o)][0], o.plot, o.taken_at, at, of.at, place.lat, place.lon, place.accuracy_m,
                       1 if o.confirmed else 0, None, rec.SCHEMA, own, text, digest, of.source, of.sender, KEPT))
    return out


def _fixed(o: Found, of: Arrival) -> datetime | None:
    """When it was taken (UTC) by the office's clock; None when land or time stand against it."""
    land = of.plots.get(o.plot)
    try:
        taken = datetime.fromisoformat(o.taken_at)
        if land is None or taken.tzinfo is None:
            return None
        fixed = (taken + of.moved if of.moved else taken).astimezone(timezone.utc)
    except (ValueError, OverflowError):
        return None
    planted: date | None = land.get("planted_on")
    return None if fixed > of.latest or planted and fixed.date() < planted - _BEFORE_PLANTING else fixed


def _as_texts(times: list[datetime]) -> list[str]:
    """As ``intake.as_utc_text`` writes each, in a tenth of the time."""
    return [f"{text[1:24]}Z" if time.microsecond else f"{text[1:20]}.000Z" for time, text in zip(times, _lines(times))]


def _own_fields(found: list[Found]) -> list[str]:
    """Of each the column ``fields``."""
    return _lines([_KINDS[type(o)][1](o) for o in found])


def _lines(values: list[Any]) -> list[str]:
    """Each as JSON, all in one call: JSON itself holds no end of a line."""
    return _ENCODER.encode_lines(values).decode().split("\n")[:-1]


_ENCODER = msgspec.json.Encoder()
_NOWHERE, _BEFORE_PLANTING = _Place(), timedelta(days=judging.BEFORE_PLANTING_DAYS)
