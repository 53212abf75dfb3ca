"""Why a readable record is held, and what it most likely should have said.

A judgement depends only on the record, the time it was received and the land: never on other records
of the log. So any order and splitting of batches gives the same log.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, timezone
from difflib import get_close_matches
from typing import Any, Callable

from .. import dictionary
from . import constants as k
from . import record as rec

WITHOUT_PLOT = frozenset(("void", "photo", "lab", "order_done"))
BEFORE_PLANTING_DAYS = 60
"""Holes are marked and soil is walked before the plants go in."""
OLDEST_YEARS = 20
ODD_KG = 1.0

Verdict = tuple[str, dict[str, Any], dict[str, Any] | None]
GOOD: Verdict = ("", {}, None)


@dataclass(frozen=True)
class Known:
    """The land and the day: plots with planting date, registered plants and parcel; names; the plot at a place."""

    plots: dict[str, dict[str, Any]]
    now: datetime
    names: dict[str, str] = field(default_factory=dict)
    plot_at: Callable[[float, float], str | None] = lambda lat, lon: None


def judge(r: rec.Record, fixed: datetime | None, known: Known) -> Verdict:
    """Why a record must be held: (code, parameters, proposal), or ("", {}, None). ``fixed`` is its repaired time."""
    if r.kind not in dictionary.kinds():
        return "unknown_kind", {"kind": r.kind or "–"}, None
    if fixed is None:
        return "no_time", {"value": str(r.taken_at)[:40]}, None
    if fixed > latest(known.now):
        return "future", {"taken": fixed.isoformat()[:16]}, _years_back(r.taken, fixed, known.now)
    faults = dictionary.check(r.kind, r.fields)
    if faults:
        code, params = faults[0]
        return code, params, _likely_number(r, params["field"])
    if r.kind == "void":
        return GOOD if r.replaces else ("void_of_nothing", {}, None)
    if r.plot is None and r.kind not in WITHOUT_PLOT:
        return "no_plot", {}, _near(r, known)
    if r.plot is not None and r.plot not in known.plots:
        return "unknown_plot", {"plot": r.plot}, _near(r, known)
    return _itself(r, fixed) or _against_land(r, fixed, known.plots.get(r.plot or "", {})) or GOOD


def latest(now: datetime) -> datetime:
    """How late a repaired time may be (UTC)."""
    return now.astimezone(timezone.utc) + timedelta(seconds=float(k.FUTURE_TOLERANCE_S))


def _itself(r: rec.Record, fixed: datetime) -> Verdict | None:
    """Fields of one record against each other."""
    if r.kind == "load":
        gross, tare, net = (r.fields.get(name) for name in ("gross_kg", "tare_kg", "net_kg"))
        if None not in (gross, tare, net) and abs(gross - tare - net) > ODD_KG:
            return "net_not_gross_less_tare", {"net_kg": net, "should_kg": gross - tare}, {"net_kg": gross - tare} if gross > tare else None
    if r.kind == "lab" and not (r.fields.get("load") or r.fields.get("ticket")):
        return "field_missing", {"field": "ticket"}, None
    if r.kind == "age_check" and not fixed.year - OLDEST_YEARS <= r.fields["planting_year"] <= fixed.year:
        return "age_impossible", {"year": r.fields["planting_year"]}, None
    return None


def _against_land(r: rec.Record, fixed: datetime, land: dict[str, Any]) -> Verdict | None:
    planted: date | None = land.get("planted_on")
    plants, registered = r.fields.get("plants"), land.get("registered_plants")
    if r.kind == "load" and registered and plants and plants > registered:
        return "beyond_registered", {"plants": plants, "registered": registered}, None
    if planted and r.kind == "age_check" and not r.confirmed and r.fields["planting_year"] < planted.year - 1:
        return "age_before_planting", {"year": r.fields["planting_year"], "planted": planted.isoformat()}, {"planting_year": planted.year}
    if planted and fixed.date() < planted - timedelta(days=BEFORE_PLANTING_DAYS):
        return "before_planting", {"taken": fixed.date().isoformat(), "planted": planted.isoformat()}, None
    return None


def _years_back(taken: datetime | None, fixed: datetime, now: datetime) -> dict | None:
    """The same day of the latest year that is past: what a phone's clock set a year ahead should have said."""
    if taken is None:
        return None
    for years in range(1, 5):
        try:
            earlier = taken.replace(year=taken.year - years)
        except ValueError:  # 29 February
            earlier = taken.replace(year=taken.year - years, day=28)
        if fixed - (taken - earlier) <= now:
            return {"taken_at": earlier.isoformat()}
    return None


def _likely_number(r: rec.Record, name: str) -> dict | None:
    """A number with its point or sign put right, or read from text with a comma; None when nothing is likely."""
    f = next(f for f in dictionary.fields(r.kind) if f.name == name)
    value = r.fields.get(name)
    if f.type not in ("number", "whole"):
        return None
    if isinstance(value, str):
        try:
            number = float(value.replace(",", "."))
        except ValueError:
            return None
        fits = f.low <= number <= f.high and (f.type == "number" or number.is_integer())
        return {name: int(number) if f.type == "whole" else number} if fits else None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < float("inf"):
        return None
    if value < 0 and f.usual_low is not None and f.usual_low <= -value <= f.usual_high:
        guess = -value
    else:
        guess = dictionary.likely(f, abs(value))
    if guess is None:
        return None
    return {name: round(guess) if f.type == "whole" else guess}


def _near(r: rec.Record, known: Known) -> dict | None:
    """The plot it was probably taken in: by position, else by a code or name spelt nearly so."""
    if r.lat is not None and r.lon is not None:
        code = known.plot_at(r.lat, r.lon)
        if code:
            return {"plot": code}
    text = (r.plot or "").strip()[:60]
    if not text:
        return None
    folded = {name.casefold(): code for code, name in known.names.items()} | {code.casefold(): code for code in known.plots}
    match = get_close_matches(text.casefold(), sorted(folded), n=1, cutoff=0.6)
    return {"plot": folded[match[0]]} if match else None
