"""Doubts about °Brix that no agave juice has, whatever the others of the estate say (see ``quality``).

A scale read wrong, or a point left out in every reading, spoils all rounds alike, so that none lies far from the others.
Rounds and single readings are therefore also held against limits of the trade (``constants``); nothing is dropped, though what
no juice reads at all (``senseless``) waits to be looked at before it counts. Each proposes: the point moved where that makes the round usual for its age, else its readings taken out of use (the counts of the visit stay).
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from .. import dictionary
from . import constants as k

TOO_HIGH, TOO_LOW, READ_NOTHING, SOME_NOTHING, PLANT_TOO_HIGH = "brix_too_high", "brix_too_low", "read_nothing", "some_read_nothing", "plant_too_high"
OF_ROUNDS = frozenset((TOO_HIGH, TOO_LOW, READ_NOTHING))
"""Doubts about all that a round read: who has looked at one and left it has looked at the round."""
LOOKED_AT = OF_ROUNDS | {SOME_NOTHING}
"""Doubts about what may be set aside (``senseless``): a round nearly all of nothing too."""
TEN_TIMES = (0.1, 10.0)
USUAL_FROM = 0.75
"""A round with its point moved must reach this share of the least usual of its age, and stay below the most that juice reaches."""
MONTH_DAYS = 365.25 / 12
BRIX_LEAST_DEG = k.BRIX_USUAL_LOW[0][1]
"""°Bx, the least usual of any age."""


def all_doubts(readings: pd.DataFrame, plots: pd.DataFrame, slipped: set[str]) -> list[dict]:
    """Of standing plots. ``readings`` with ``brix20_deg``; ``slipped`` readings already doubted one by one."""
    standing = plots.index[plots["status"] == "standing"]
    there = readings[readings["plot"].isin(standing) & readings["brix20_deg"].notna() & ~readings["id"].isin(slipped)]
    if there.empty:
        return []
    planted, most_plant = plots["planted_on"].to_dict(), plant_limit_deg()
    there = there.assign(visit=visit_of(there), read=there["brix20_deg"].where(there["brix_raw_deg"] > float(k.NOTHING_DEG))).sort_values(["taken_at", "id"], kind="stable")
    visits = there.groupby(["plot", "visit"], sort=True).agg(day=("day", "first"), seen=("read", "median"), least=("brix_raw_deg", "min"), most=("brix_raw_deg", "max"))
    low = np.array([usual_low_deg(age_months(planted.get(plot), day)) for (plot, _), day in zip(visits.index, visits["day"])])
    odd = (visits["seen"] > float(k.BRIX_MOST_DEG)) | (visits["seen"] < float(k.BRIX_LOW_SHARE) * low) | (visits["least"] <= float(k.NOTHING_DEG)) | (visits["most"] > most_plant)
    parts = there[there["visit"].isin(visits.index[odd].get_level_values("visit"))].groupby(["plot", "visit"], sort=True)
    return [doubt for (plot, visit), part in parts if odd[plot, visit] for doubt in _of_visit(part, age_months(planted.get(plot), part["day"].iloc[0]), most_plant)]


def senseless(readings: pd.DataFrame) -> np.ndarray:
    """[N] whether a reading (``brix20_deg``, ``brix_raw_deg``) is of a visit that says what no agave juice reads, of whatever age its plants: each of these is doubted above."""
    value, least = readings["brix20_deg"], float(k.BRIX_LOW_SHARE) * BRIX_LEAST_DEG
    if not len(readings) or least <= value.min() and value.max() <= float(k.BRIX_MOST_DEG):
        return np.zeros(len(readings), bool)
    by = [readings["plot"], visit_of(readings)]
    middle = value.where(readings["brix_raw_deg"] > float(k.NOTHING_DEG)).groupby(by).transform("median")
    inside = (middle >= least) & (middle <= float(k.BRIX_MOST_DEG)) & (value.groupby(by).transform("mean") >= least)  # none where nothing was read
    return (value.notna() & ~inside).to_numpy(bool)


def first_of_unnamed(readings: pd.DataFrame) -> dict[str, list[str]]:
    """Visits without a round by the name their doubts bear, their first reading's, with all their readings."""
    alone = readings[readings["round"].isna() & readings["brix20_deg"].notna()].sort_values(["taken_at", "id"], kind="stable")
    return {part["id"].iloc[0]: list(part["id"]) for _, part in alone.groupby(["plot", visit_of(alone)], sort=True)}


def named(proposal: dict | None) -> list[str]:
    """The readings that a proposal is about, by their identifiers."""
    return [*(proposal or {}).get("void_records", ()), *(proposal or {}).get("scale_records", ())]


def visit_of(readings: pd.DataFrame) -> pd.Series:
    """The round of each reading; of one without, its plot and day."""
    return readings["round"].where(readings["round"].notna(), readings["plot"] + " " + readings["day"].astype(str))


def plant_limit_deg() -> float:
    """What the phone asks about when one plant reads more, °Bx."""
    return float(next(f for f in dictionary.fields("reading") if f.name == "brix_raw_deg").usual_high)


def usual_low_deg(age_months: float | None) -> float:
    """The least that plots of an age usually read, °Bx; of an unknown age that of plants just planted."""
    ages, low = zip(*k.BRIX_USUAL_LOW)
    return float(low[0] if age_months is None else np.interp(age_months, ages, low))


def age_months(planted: date | None, day: date) -> float | None:
    """None where nobody has said when it was planted."""
    return None if planted is None or planted != planted else max((day - planted).days, 0) / MONTH_DAYS


def _of_visit(part: pd.DataFrame, age: float | None, most_plant: float) -> list[dict]:
    raw, value = part["brix_raw_deg"].to_numpy(float), part["brix20_deg"].to_numpy(float)
    nothing = raw <= float(k.NOTHING_DEG)
    first = part.iloc[0]
    about = {"plot": first["plot"], "day": first["day"].isoformat()}
    name = first["round"] if isinstance(first["round"], str) else first["id"]
    ids = list(part["id"])
    if nothing.all():
        return [_doubt(READ_NOTHING, name, {"void_records": ids}, **about, n=len(part), value=float(raw.max()))]
    out = []
    if nothing.any():
        out.append(_doubt(SOME_NOTHING, name, {"void_records": list(part["id"][nothing])}, **about, n=int(nothing.sum()), of=len(part)))
    read, seen = part[~nothing], float(np.median(value[~nothing]))
    low = usual_low_deg(age)
    if seen > float(k.BRIX_MOST_DEG):
        out.append(_doubt(TOO_HIGH, name, *_mend(read, seen, low, about), n=len(read), seen=seen, limit=float(k.BRIX_MOST_DEG)))
    elif seen < float(k.BRIX_LOW_SHARE) * low:
        out.append(_doubt(TOO_LOW, name, *_mend(read, seen, low, about), n=len(read), seen=seen, usual=low, years=None if age is None else age / 12))
    else:
        out += [_doubt(PLANT_TOO_HIGH, row.id, {"void": True}, **about, value=float(row.brix_raw_deg), middle=seen, limit=most_plant)
                for row in read[(read["brix_raw_deg"] > most_plant) & ~read["confirmed"]].itertuples()]
    return out


def _mend(read: pd.DataFrame, seen: float, low: float, about: dict) -> tuple[dict, dict]:
    """(proposal, parameters): the point moved in all readings where that makes them usual, else all of them out of use."""
    by = next((f for f in TEN_TIMES if USUAL_FROM * low <= seen * f <= float(k.BRIX_MOST_DEG)), None)
    ids = list(read["id"])
    return ({"void_records": ids}, about | {"guess": None}) if by is None else ({"scale_records": ids, "by": by}, about | {"guess": seen * by})


def _doubt(code: str, record: str, proposal: dict | None, about: dict | None = None, **params) -> dict:
    return {"code": code, "record": record, "params": {**(about or {}), **params}, "proposal": proposal}
