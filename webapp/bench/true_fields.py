"""Invented plots by laws of growth and loss that are not the tonnage model's own, with their true tonnes: counts, weighings and loads as crews would bring them.

logistic     piñas grow by a logistic curve
broken_stick by two straight lines
gompertz     by a Gompertz curve of other size and speed than the default, plots' own level with heavy tails
pockets      an eighth of the plots lose 5 to 30 % of their plants in one quarter, past or to come, nobody notes it
dry_year     from a random day on all piñas of the estate are a tenth lighter
miscounts    one counting campaign in sixteen has a row tallied twice
everything   all of the above at once, logistic

Sizes are invented (from memory of the trade); nothing here is data. Written before the tonnage model is changed for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Callable

import numpy as np

LAWS = ("logistic", "broken_stick", "gompertz", "pockets", "dry_year", "miscounts", "everything")
SHOCKED = ("pockets", "dry_year", "everything")
CUT = date.fromordinal(740_000)
PLOTS, ROW_SPACING_M, ROW_M, ROWS_COUNTED = 150, 3.2, 250.0, 5
DRY_SHARE, POCKET_SHARE, MISCOUNT_SHARE = 0.10, 0.125, 1 / 16
EFFECT_LOG_SD = 0.15

GROWTH: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "logistic": lambda a: 56 / (1 + np.exp(-(a - 5.0) / 1.05)),
    "broken_stick": lambda a: np.where(a < 6.5, np.maximum(6.3 * (a - 0.8), 0.3), 35.9 + 1.2 * (a - 6.5)),
    "gompertz": lambda a: 50 * np.exp(-7.0 * np.exp(-0.55 * np.maximum(a, 0))),
}


@dataclass(frozen=True)
class Fields:
    """``planted`` day, ``planted_plants`` as the papers say, ``area_ha`` per plot; rows of dictionaries as the survey's tables hold them; ``mass_t`` [P, W] true
    tonnes on weeks 0…104 if nothing is cut."""

    law: str
    planted: list[date]
    planted_plants: np.ndarray
    area_ha: np.ndarray
    counts: list[dict[str, Any]]
    weighings: list[dict[str, Any]]
    loads: list[dict[str, Any]]
    mass_t: np.ndarray


def simulate(law: str, seed: int, plots: int = PLOTS, loads: int = 30, given: tuple[np.ndarray, np.ndarray] | None = None) -> Fields:
    """One estate of standing plots, 14 months to 8 years old. The same law and seed give the same fields. ``given`` sets the plots' ages (years) and
    what their piñas weigh beside others' (in sds), as of an estate whose °Brix is simulated too."""
    rng = np.random.default_rng([LAWS.index(law), seed, 5])
    every = law == "everything"
    area = rng.uniform(3, 14, plots)
    age = rng.uniform(1.2, 8.2, plots)
    n0 = area * rng.normal(3000, 150, plots)
    hazard = 0.028 * np.exp(rng.normal(0, 0.4, plots))
    heavy = rng.standard_t(4, plots) / np.sqrt(2) if law == "gompertz" or every else rng.standard_normal(plots)
    if given is not None:
        (age, heavy), n0 = given, area * rng.normal(3000, 150, plots)
    effect = EFFECT_LOG_SD * heavy
    curve = GROWTH[law if law in GROWTH else "logistic"]
    dry_from = rng.uniform(-104, 104) if law == "dry_year" or every else np.inf
    struck = (rng.random(plots) < POCKET_SHARE) if law == "pockets" or every else np.zeros(plots, bool)
    struck_at, struck_by = rng.uniform(-130, 104, plots), rng.uniform(0.05, 0.30, plots)

    def plants(i: int, week: float) -> float:
        left = n0[i] * np.exp(-hazard[i] * max(age[i] + week / 52.18, 0.0))
        return left * (1 - struck_by[i] * np.clip((week - struck_at[i]) / 13, 0, 1)) if struck[i] else left

    def kilos(i: int, week: float) -> float:
        return float(curve(np.array(age[i] + week / 52.18)) * np.exp(effect[i]) * (1 - DRY_SHARE * np.clip((week - dry_from) / 26, 0, 1)))

    def day(week: float) -> date:
        return CUT + timedelta(days=round(7 * week))

    counts: list[dict[str, Any]] = []
    weighings: list[dict[str, Any]] = []
    trucks: list[dict[str, Any]] = []
    for i in range(plots):
        rows = max(int(round(area[i] * 10_000 / (ROW_SPACING_M * ROW_M))), ROWS_COUNTED)
        for _ in range(int(rng.random() < 0.7) + int(rng.random() < 0.3)):
            week = -rng.uniform(1, min(130, 52 * age[i] - 20))
            seen = np.maximum(np.round(plants(i, week) / rows * rng.normal(1, 0.10, ROWS_COUNTED)), 1.0)
            if (law == "miscounts" or every) and rng.random() < MISCOUNT_SHARE:
                seen[0] *= 2
            counts += [{"id": f"{i}-{week:.3f}-{r}", "plot": str(i), "day": day(week), "plants_standing": float(v), "part_of_row": np.nan, "rows_in_plot": float(rows), "row_length_m": ROW_M} for r, v in enumerate(seen)]
        if age[i] > 2.5 and rng.random() < 0.35:
            week = -rng.uniform(1, min(60, 52 * (age[i] - 2)))
            visit = rng.normal(0, 0.05)
            weighings += [{"plot": str(i), "day": day(week), "mass_kg": float(kilos(i, week) * np.exp(visit) * max(rng.normal(1, 0.28), 0.2))} for _ in range(10)]
    old = np.flatnonzero(age > 5.5)
    for i in rng.choice(old, min(loads, len(old) * 3)) if len(old) else []:
        week, cut = -rng.uniform(1, 20), float(rng.integers(300, 500))
        trucks.append({"plot": str(i), "day": day(week), "plants": cut, "net_kg": float(cut * kilos(i, week) * np.exp(rng.normal(0, 0.05)))})
    weeks = np.arange(105)
    true = np.array([[plants(i, w) * kilos(i, w) / 1000 for w in weeks] for i in range(plots)])
    cut_plants = {str(i): sum(t["plants"] for t in trucks if t["plot"] == str(i)) for i in range(plots)}
    true -= np.array([[cut_plants[str(i)] * kilos(i, w) / 1000 for w in weeks] for i in range(plots)])  # what was cut no longer stands
    return Fields(law, [CUT - timedelta(days=round(a * 365.25)) for a in age], n0 * rng.normal(1, 0.02, plots), area, counts, weighings, trucks, true)
