"""Simulated estates for the ripening model, by laws that are not its own (logistic age curve, Gompertz, broken stick)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from webapp.ripeness.ripening import Land
from webapp.ripeness.visits import Visits, gather

TODAY = 740_000  # day ordinal, 2027-01-22
PEAK = 90.0


@dataclass(frozen=True)
class Estate:
    plots: list[str]
    visits: Visits
    land: Land
    rows: tuple
    pace: np.ndarray
    level: np.ndarray
    law: str

    def truth(self, days):
        """[P, T] true plot means at ordinal days, without any visit's own error."""
        days = np.asarray(days, float)
        age = (days[None, :] - self.land.planted[:, None]) / 30.4375 + self.pace[:, None] - 4.0 * self.land.zone[:, None]
        return LAWS[self.law](age) + self.level[:, None] + season(days, self.land.zone)


def season(days, zone):
    """High in March–May, low July–October, half range 1.1 °Bx, a little less in each further zone."""
    year = 2 * np.pi * ((days - 1) % 365.2425) / 365.2425
    shape = np.cos(year - 2 * np.pi * 105 / 365) + 0.25 * np.cos(2 * (year - 2 * np.pi * 110 / 365))
    return (1.1 - 0.1 * zone[:, None]) * shape[None, :]


LAWS = {
    "logistic": lambda a: 7 + 19 / (1 + np.exp(-(a - 48) / 13)) - 0.04 * np.maximum(a - 96, 0),
    "gompertz": lambda a: 6 + 21 * np.exp(-4.0 * np.exp(-0.052 * np.maximum(a, 0))),
    "stick": lambda a: np.where(a < 76, 5 + 0.27 * np.maximum(a, 0), 25.5 - 0.02 * (a - 76)),
}


def simulate(seed: int, law: str = "logistic", plots: int = 120, visits: float = 5.0, zones: int = 3, plants: int = 12, plant_sd: float = 2.1, visit_sd: float = 0.5,
             level_sd: float = 1.3, pace_sd: float = 5.0, fewest: int = 0, months=None) -> Estate:
    """About a tenth of the plots with none or one visit; visits over the last two years."""
    rng = np.random.default_rng(seed)
    planted = TODAY - rng.uniform(20, 98, plots) * 30.4375
    zone = rng.integers(0, zones, plots)
    land = Land(np.round(planted), np.zeros(plots), zone, tuple(f"Z{z}" for z in range(zones)))
    pace, level = rng.normal(0, pace_sd, plots), rng.normal(0, level_sd, plots)
    codes = [f"P{i:03d}" for i in range(plots)]
    counts = np.where(rng.random(plots) < 0.1, rng.integers(0, 2, plots), np.maximum(rng.poisson(visits, plots), 1))
    counts = np.maximum(counts, fewest)
    bare = Estate(codes, None, land, (), pace, level, law)
    plot, group, day, brix = [], [], [], []
    for i, count in enumerate(counts):
        for j in range(count):
            d = TODAY - int(rng.integers(7, 730))
            mean = bare.truth([d])[i, 0] + rng.normal(0, visit_sd)
            for _ in range(plants):
                plot.append(codes[i]), group.append(f"{i}-{j}"), day.append(d), brix.append(mean + rng.normal(0, plant_sd))
    rows = (np.array(plot, object), np.array(group, object), np.array(day, int), np.array(brix, float), np.full(len(plot), 0.05))
    return Estate(codes, gather(codes, *rows), land, rows, pace, level, law)
