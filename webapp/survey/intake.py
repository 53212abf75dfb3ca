"""What happens to an arriving batch, decided without touching anything: gather, decide, act.

``decide`` gets the records as read and what is known; it returns what to keep, what to hold and why,
and what is already there. Nothing is dropped and nothing rewritten: a held record keeps its bytes.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, timezone
from difflib import get_close_matches
from typing import Any, Callable

from .. import dictionary
from ..problems import Problem
from . import constants as k
from . import record as rec

MOST_RECORDS, MOST_BYTES = 500, 1_048_576
KEPT, ALREADY, HELD = "kept", "already", "held"
WITHOUT_PLOT = {"void", "photo", "lab", "order_done"}


@dataclass(frozen=True)
class Known:
    """What the decision needs to know: digests by id, plots with planting date, plants, parcels, and the day."""

    digests: dict[str, str]
    plots: dict[str, dict[str, Any]]
    now: datetime
    names: dict[str, str] = field(default_factory=dict)
    plot_at: Callable[[float, float], str | None] = lambda lat, lon: None


@dataclass(frozen=True)
class Decision:
    """One record's fate. ``record`` is None when not even an envelope could be read."""

    index: int
    id: str
    status: str
    bytes: bytes
    digest: str
    record: rec.Record | None = None
    taken_fixed: datetime | None = None
    code: str = ""
    params: dict[str, Any] = field(default_factory=dict)
    proposal: dict[str, Any] | None = None
    conflict: bool = False


def read_batch(body: bytes) -> dict:
    """The batch as a dictionary. Problems (400/413): batch_too_big, batch_not_json, batch_shape, batch_too_many."""
    if len(body) > MOST_BYTES:
        raise Problem("batch_too_big", where="records", status=413, limit_mb=1)
    try:
        batch = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise Problem("batch_not_json", where="records", status=400, reason=type(error).__name__) from error
    if not isinstance(batch, dict) or not isinstance(batch.get("records"), list) or not isinstance(batch.get("schema"), int):
        raise Problem("batch_shape", where="records", status=400)
    if len(batch["records"]) > MOST_RECORDS:
        raise Problem("batch_too_many", where="records", status=413, limit=MOST_RECORDS)
    return batch


def clock_error(batch: dict, received: datetime) -> timedelta:
    """received − sent by the device's own clock; zero when it does not say."""
    sent = rec.parse_time(batch.get("sent_at"))
    return received - sent if sent else timedelta()


def decide(raws: list[Any], schema: int, known: Known, error: timedelta) -> list[Decision]:
    """The fate of each record, in order; repeats within the batch are judged like repeats of earlier ones."""
    seen = dict(known.digests)
    out = []
    for index, raw in enumerate(raws):
        decision = _one(index, raw, schema, known, error, seen)
        if decision.id:
            seen.setdefault(decision.id, decision.digest)
        out.append(decision)
    return out


def _one(index: int, raw: Any, schema: int, known: Known, error: timedelta, seen: dict[str, str]) -> Decision:
    data = rec.canonical(raw if isinstance(raw, dict) else {"_": raw})
    digest = rec.digest(data)
    given = raw.get("id") if isinstance(raw, dict) else None
    if not isinstance(given, str) or not rec.CANONICAL.match(given):
        made = rec.derived_id("held", {"_": data.decode()}, 0)  # a receipt needs a name even where the record has none
        if made in seen:
            return Decision(index, made, ALREADY, data, digest)
        return Decision(index, made, HELD, data, digest, code="id_not_canonical", params={"value": str(given)[:60]})
    if given in seen:
        if seen[given] == digest:
            return Decision(index, given, ALREADY, data, digest)
        return Decision(index, given, HELD, data, digest, code="same_id_other_bytes", conflict=True)
    if rec.has_broken_text(raw):
        return Decision(index, given, HELD, data, digest, code="broken_text")
    if schema > rec.SCHEMA:
        return Decision(index, given, HELD, data, digest, code="newer_schema", params={"schema": schema})
    record, fault = envelope(raw)
    if record is None:
        return Decision(index, given, HELD, data, digest, code=fault[0], params=fault[1])
    fixed = rec.repaired(record.taken, error, float(k.CLOCK_TOLERANCE_S))
    code, params, proposal = judge(record, fixed, known)
    return Decision(index, given, HELD if code else KEPT, data, digest, record, fixed, code, params, proposal)


def envelope(raw: dict) -> tuple[rec.Record | None, tuple[str, dict]]:
    """The record with its envelope checked, or None and why not."""
    def text(name: str) -> str | None:
        value = raw.get(name)
        return value if isinstance(value, str) and value else None

    for name in ("install", "round", "kind", "plot", "taken_at", "replaces"):
        if raw.get(name) is not None and not isinstance(raw[name], str):
            return None, ("wrong_type", {"field": name, "value": str(raw[name])[:60]})
    seq = raw.get("seq")
    if seq is not None and (isinstance(seq, bool) or not isinstance(seq, int)):
        return None, ("wrong_type", {"field": "seq", "value": str(seq)[:60]})
    position = raw.get("position")
    numbers = []
    for name in ("lat", "lon", "accuracy_m"):
        value = position.get(name) if isinstance(position, dict) else None
        good = isinstance(value, (int, float)) and not isinstance(value, bool) and value == value and abs(value) < 1e7
        numbers.append(float(value) if good else None)
    own = {key: value for key, value in raw.items() if key not in ("id", "install", "seq", "round", "kind", "plot", "taken_at", "position", "confirmed", "replaces")}
    return rec.Record(raw["id"], text("install") or "", seq, text("round"), text("kind") or "", text("plot"), text("taken_at"), rec.parse_time(raw.get("taken_at")),
                      *numbers, bool(raw.get("confirmed")), text("replaces"), own), ("", {})


def judge(r: rec.Record, fixed: datetime | None, known: Known) -> tuple[str, dict[str, Any], dict[str, Any] | None]:
    """Why a readable record must be held: (code, parameters, proposal), or ("", {}, None).

    Depends only on the record and on the land, never on other records of the log but the parcel's total,
    so any order and splitting of batches gives the same log.
    """
    if r.kind not in dictionary.kinds():
        return "unknown_kind", {"kind": r.kind or "–"}, None
    if fixed is None:
        return "no_time", {"value": str(r.taken_at)[:40]}, None
    if fixed > known.now + timedelta(seconds=float(k.FUTURE_TOLERANCE_S)):
        return "future", {"taken": fixed.isoformat()[:16]}, {"taken_at": known.now.replace(microsecond=0).isoformat()}
    faults = dictionary.check(r.kind, r.fields)
    if faults:
        code, params = faults[0]
        return code, params, _mend_number(r, params)
    if r.kind == "void":
        return ("void_of_nothing", {}, None) if not r.replaces else ("", {}, None)
    if r.plot is None and r.kind not in WITHOUT_PLOT:
        return "no_plot", {}, _near(r, known)
    if r.plot is not None and r.plot not in known.plots:
        return "unknown_plot", {"plot": r.plot}, _near(r, known)
    return _against_land(r, fixed, known)


def _mend_number(r: rec.Record, params: dict) -> dict | None:
    f = next(f for f in dictionary.fields(r.kind) if f.name == params["field"])
    value = r.fields.get(f.name)
    if isinstance(value, (int, float)) and not isinstance(value, bool) and value == value:
        guess = dictionary.likely(f, abs(value)) if value >= 0 else (abs(value) if f.usual_low is not None and f.usual_low <= abs(value) <= f.usual_high else None)
        return {f.name: guess} if guess is not None else None
    if isinstance(value, str) and f.type in ("number", "whole"):
        try:
            number = float(value.replace(",", "."))
        except ValueError:
            return None
        return {f.name: int(number) if f.type == "whole" and number == int(number) else number} if number == number else None
    return None


def _near(r: rec.Record, known: Known) -> dict | None:
    """The plot it was probably taken in: by position, else by a code or name spelt nearly so."""
    if r.lat is not None and r.lon is not None:
        code = known.plot_at(r.lat, r.lon)
        if code:
            return {"plot": code}
    text = (r.plot or "").strip()
    if not text:
        return None
    folded = {code.casefold(): code for code in known.plots} | {name.casefold(): code for code, name in known.names.items()}
    match = get_close_matches(text.casefold(), list(folded), n=1, cutoff=0.6)
    return {"plot": folded[match[0]]} if match else None


def _against_land(r: rec.Record, fixed: datetime, known: Known) -> tuple[str, dict, dict | None]:
    land = known.plots.get(r.plot or "", {})
    planted: date | None = land.get("planted_on")
    if r.kind == "load":
        gross, tare, net = (r.fields.get(n) for n in ("gross_kg", "tare_kg", "net_kg"))
        if None not in (gross, tare, net) and abs(gross - tare - net) > 1.0:
            return "net_not_gross_less_tare", {"net_kg": net, "should_kg": gross - tare}, {"net_kg": gross - tare}
        registered = land.get("registered_plants")
        plants = r.fields.get("plants")
        if registered and plants and plants > registered:
            return "beyond_registered", {"plants": plants, "registered": registered}, None
    if r.kind == "age_check" and not (fixed.year - 20 <= r.fields["planting_year"] <= fixed.year):
        return "age_impossible", {"year": r.fields["planting_year"]}, None
    if planted and fixed.date() < planted - timedelta(days=60):
        return "before_planting", {"taken": fixed.date().isoformat(), "planted": planted.isoformat()}, None
    return "", {}, None


def as_utc_text(moment: datetime | None) -> str | None:
    return moment.astimezone(timezone.utc).isoformat(timespec="milliseconds").replace("+00:00", "Z") if moment else None
