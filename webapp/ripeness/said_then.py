"""What was said of a plot before a visit, held against what the visit read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import pandas as pd

from ..weeks import monday_of
from .readiness import Z80

HORIZONS_WEEKS = (4, 12, 26)
NEAR_DAYS = 10
"""A saying speaks of a week; a visit within this many days of its middle is held against it."""
OFF_WEEKS = 2
"""How far the distance between saying and visit may be from 4, 12 or 26 weeks."""


@dataclass(frozen=True)
class Round:
    """One visit's mean °Bx at 20 °C and the sd of its error about the plot's mean."""

    day: date
    mean_deg: float
    sd_deg: float
    n: int


def rounds(readings: pd.DataFrame, visit_sd_deg: float, plant_sd_deg: float) -> list[Round]:
    """Visits of one plot's readings, by round or, without one, by day."""
    out = []
    for _, part in readings.groupby(readings["round"].where(readings["round"].notna(), readings["day"].astype(str)), sort=False):
        n, known = len(part), float(part["brix20_sd_deg"].mean())
        out.append(Round(part["day"].iloc[0], float(part["brix20_deg"].mean()), (visit_sd_deg**2 + plant_sd_deg**2 / n + known**2) ** 0.5, n))
    return sorted(out, key=lambda one: one.day)


def against(said: list[dict[str, Any]], came: list[Round], today: date) -> list[dict[str, Any]]:
    """Newest first: {day, n, mean_deg, said: [{weeks, on, mean_deg, low, high (80 %, of what such a visit reads), inside, off_deg}]}.

    Only what was said before the day of the visit counts; of several the one nearest to each horizon.
    """
    out = []
    for one in reversed(came):
        rows = []
        for horizon in HORIZONS_WEEKS:
            fit = [(abs((one.day - date.fromisoformat(s["on_day"])).days / 7 - horizon), s) for s in said
                   if date.fromisoformat(s["on_day"]) < one.day <= today and abs((monday_of(s["week"]) + timedelta(days=3) - one.day).days) <= NEAR_DAYS]
            best = min(fit, key=lambda pair: pair[0], default=None)
            if best is None or best[0] > OFF_WEEKS:
                continue
            s = best[1]
            wide = Z80 * (s["sd_deg"] ** 2 + one.sd_deg**2) ** 0.5
            rows.append({"weeks": horizon, "on": s["on_day"], "mean_deg": s["mean_deg"], "low": s["mean_deg"] - wide, "high": s["mean_deg"] + wide,
                         "inside": abs(one.mean_deg - s["mean_deg"]) <= wide, "off_deg": one.mean_deg - s["mean_deg"], "share": s["share"]})
        if rows:
            out.append({"day": one.day, "n": one.n, "mean_deg": one.mean_deg, "said": rows})
    return out
