"""Invented estates by laws that are not the model's own, with the truth kept: what a forecast is held against.

Written before the model it tests, and knows nothing of it. Each law gives every plot a curve of age, a
level and a pace, every zone a season; then breaks something a model may have taken for granted:

logistic      age curve logistic, each zone with a season of its own size and phase
gompertz      age curve Gompertz
broken_stick  age curve of two straight lines
drought       Gompertz, and +1.8 °Bx for the whole estate from a random day on, known or still to come
heavy_tails   plants spread as Student t with 3 degrees of freedom, 6 % of visits far off, 15 % of ages wrong
drift         plots walk away from their level at random, and the spread of plants grows with age
everything    all of the above at once, and plants spread askew

Sizes are invented (from memory of the trade: plants within a plot sd 2 °Bx, rounds 0.5, plots 1.3, paces
half a year); nothing here is data.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable

import numpy as np

LAWS = ("logistic", "gompertz", "broken_stick", "drought", "heavy_tails", "drift", "everything")
SHOCKED = ("drought", "everything")
HORIZONS = {"0-12": (1, 12), "12-26": (13, 26), "26-52": (27, 52), "52-104": (53, 104)}
"""Name → (first, last) week after the cut in which a plot is visited again."""
CUT_DAY, WEEKS, DAYS_PER_MONTH = 740_000, 105, 30.4375
PLOTS, ZONES, HISTORY_WEEKS = 150, 4, 156
TARGET_BRIX_DEG, PEAK_MONTHS = 22.0, 90.0
DROUGHT_DEG, OUTLIER_SHARE, WRONG_AGE_SHARE = 1.8, 0.06, 0.15
LEVEL_DEG, PACE_MONTHS, WALK_DEG_PER_YEAR, WRONG_AGE_MONTHS, VISIT_DEG, FAR_VISIT_DEG = 1.3, 5.5, 0.9, 6.0, 0.5, 2.5

CURVES: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "logistic": lambda a: 7 + 19 / (1 + np.exp(-(a - 48) / 13)) - 0.04 * np.maximum(a - 96, 0),
    "gompertz": lambda a: 6 + 21 * np.exp(-4.0 * np.exp(-0.052 * np.maximum(a, 0))),
    "broken_stick": lambda a: np.where(a < 76, 5 + 0.27 * np.maximum(a, 0), 25.5 - 0.02 * (a - 76)),
}


@dataclass(frozen=True)
class Estate:
    """What was seen up to the cut, and what is true.

    Readings as columns of one length: ``plot`` index, ``visit`` number, ``day`` ordinal, ``brix_deg``. Plots: ``planted`` ordinal day as
    registered, ``zone`` index. Truth on weeks 0…104 after the cut: ``mean_deg`` and ``ripe_share`` [P, W]. Hidden visits, one
    a plot and horizon: ``week``, ``seen_deg`` (mean of ``plants``) [P, 4].
    """

    law: str
    seed: int
    plot: np.ndarray
    visit: np.ndarray
    day: np.ndarray
    brix_deg: np.ndarray
    planted: np.ndarray
    zone: np.ndarray
    mean_deg: np.ndarray
    ripe_share: np.ndarray
    week: np.ndarray
    seen_deg: np.ndarray
    plants: np.ndarray


class _World:
    """The truth of one estate at any day."""

    def __init__(self, law: str, rng: np.random.Generator, plots: int) -> None:
        self.law, self.all = law, law == "everything"
        self.zone = rng.integers(0, ZONES, plots)
        self.planted = CUT_DAY - rng.uniform(14, 98, plots) * DAYS_PER_MONTH
        self.pace, self.level = rng.normal(0, PACE_MONTHS, plots), rng.normal(0, LEVEL_DEG, plots)
        self.zone_level, self.zone_pace = rng.normal(0, 0.5, ZONES), rng.normal(0, 3.0, ZONES)
        own = 0.3 if law == "logistic" or self.all else 0.05
        self.season_size, self.season_turn = 1.1 * (1 + rng.normal(0, own, ZONES)), rng.normal(0, own, ZONES)
        self.curve = CURVES["logistic" if law == "logistic" or self.all else "broken_stick" if law == "broken_stick" else "gompertz"]
        self.onset = CUT_DAY + rng.uniform(-104, 104) * 7 if law in SHOCKED else np.inf
        steps = rng.normal(0, WALK_DEG_PER_YEAR * np.sqrt(13 / 52), (plots, (HISTORY_WEEKS + WEEKS) // 13 + 3))
        self.walk = np.cumsum(steps, axis=1) if law == "drift" or self.all else np.zeros(steps.shape)
        self.walk -= self.walk[:, :1]

    def age(self, at: np.ndarray, day: np.ndarray) -> np.ndarray:
        return (day - self.planted[at]) / DAYS_PER_MONTH

    def mean(self, at: np.ndarray, day: np.ndarray) -> np.ndarray:
        """True mean °Bx of the plants of plots ``at`` on ``day`` (arrays that broadcast)."""
        zone = self.zone[at]
        year = 2 * np.pi * ((day - 1) % 365.2425) / 365.2425 - self.season_turn[zone]
        season = self.season_size[zone] * (np.cos(year - 2 * np.pi * 105 / 365) + 0.25 * np.cos(2 * (year - 2 * np.pi * 110 / 365)))
        place = (day - CUT_DAY) / 91.0 + HISTORY_WEEKS / 13 + 1
        low = np.clip(np.floor(place).astype(int), 0, self.walk.shape[1] - 2)
        walked = self.walk[at, low] + (place - low) * (self.walk[at, low + 1] - self.walk[at, low])
        return (self.curve(self.age(at, day) + self.pace[at] + self.zone_pace[zone]) + self.level[at] + self.zone_level[zone] + season + walked
                + DROUGHT_DEG * (day >= self.onset))

    def spread(self, at: np.ndarray, day: np.ndarray) -> np.ndarray:
        """Sd of the plants about the mean, °Bx."""
        return 1.2 + 1.4 * np.clip(self.age(at, day), 0, 110) / 90 if self.law == "drift" or self.all else np.full(np.broadcast(at, day).shape, 2.1)

    def plants(self, rng: np.random.Generator, size: int) -> np.ndarray:
        """Plants about their mean, sd 1."""
        if self.all:
            return _askew(rng, size)
        return rng.standard_t(3, size) / np.sqrt(3) if self.law == "heavy_tails" else rng.standard_normal(size)

    def share(self, at: np.ndarray, day: np.ndarray) -> np.ndarray:
        """True share of plants at or above the target."""
        from scipy.stats import norm, t

        far = (TARGET_BRIX_DEG - self.mean(at, day)) / self.spread(at, day)
        if self.all:
            return _askew_above(far)
        return t.sf(far * np.sqrt(3), 3) if self.law == "heavy_tails" else norm.sf(far)

    def visit_error(self, rng: np.random.Generator) -> float:
        far = (self.law == "heavy_tails" or self.all) and rng.random() < OUTLIER_SHARE
        return rng.normal(0, FAR_VISIT_DEG if far else VISIT_DEG)


def world_of(law: str, seed: int, plots: int = PLOTS) -> _World:
    """The truth of the estate that ``simulate`` makes of the same law and seed."""
    return _World(law, np.random.default_rng([LAWS.index(law), seed]), plots)


def own_effects(law: str, seed: int, plots: int = PLOTS) -> np.ndarray:
    """[P, 2] the true level (°Bx) and pace (months) of each plot of ``simulate``, in sds of theirs."""
    world = world_of(law, seed, plots)
    return np.stack([world.level / LEVEL_DEG, world.pace / PACE_MONTHS], axis=1)


SHAPE = 4.0


def _askew(rng: np.random.Generator, size: int) -> np.ndarray:
    """A long tail of late plants: the mirror of a gamma of shape 4, mean 0 and sd 1."""
    return (SHAPE - rng.gamma(SHAPE, 1.0, size)) / np.sqrt(SHAPE)


def _askew_above(far: np.ndarray) -> np.ndarray:
    from scipy.stats import gamma

    return gamma.cdf(SHAPE - far * np.sqrt(SHAPE), SHAPE)


def simulate(law: str, seed: int, plots: int = PLOTS) -> Estate:
    """One estate; the same law and seed give the same estate. A tenth of the plots have no visit or one."""
    rng = np.random.default_rng([LAWS.index(law), seed])
    world = _World(law, rng, plots)
    counts = np.where(rng.random(plots) < 0.1, rng.integers(0, 2, plots), 1 + rng.poisson(5.0, plots))
    plot, visit, day, brix = [], [], [], []
    number = 0
    for i in np.arange(plots):
        first = max(CUT_DAY - HISTORY_WEEKS * 7, world.planted[i] + 8 * DAYS_PER_MONTH)
        for d in np.sort(rng.integers(int(min(first, CUT_DAY - 60)), CUT_DAY, counts[i])):
            n = int(rng.integers(8, 21))
            plot += [i] * n
            visit += [number] * n
            day += [int(d)] * n
            brix += list(_visit(world, rng, i, float(d), n))
            number += 1
    grid = CUT_DAY + 7.0 * np.arange(WEEKS)
    every = np.arange(plots)[:, None]
    week = np.stack([rng.integers(low, high + 1, plots) for low, high in HORIZONS.values()], axis=1)
    plants = rng.integers(8, 21, week.shape)
    seen = np.array([[_visit(world, rng, i, CUT_DAY + 7.0 * week[i, h], int(plants[i, h])).mean() for h in range(len(HORIZONS))] for i in range(plots)])
    registered = world.planted.copy()
    if law in ("heavy_tails", "everything"):
        wrong = rng.random(plots) < WRONG_AGE_SHARE
        registered = registered + wrong * rng.normal(0, WRONG_AGE_MONTHS * DAYS_PER_MONTH, plots)
    return Estate(law, seed, np.array(plot, int), np.array(visit, int), np.array(day, int), np.array(brix, float), np.round(np.minimum(registered, CUT_DAY - 30)), world.zone,
                  world.mean(every, grid[None, :]), world.share(every, grid[None, :]), week, seen, plants)


def _visit(world: _World, rng: np.random.Generator, i: int, day: float, n: int) -> np.ndarray:
    at, when = np.array(i), np.array(day)
    return world.mean(at, when) + world.visit_error(rng) + world.spread(at, when) * world.plants(rng, n)
