"""One bundle of sampled futures: need by year, standing cohorts, and what a planted hectare will give.

Every kind of luck has its own stream of numbers, drawn from the seed by name. So two cases, or the same
estate before and after a new record, meet the same luck and differ only by what really changed.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace

import numpy as np

from .supply import Curve, Standing


def stream(seed: int, name: str) -> np.random.Generator:
    """The generator of one named kind of luck."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


@dataclass(frozen=True)
class Futures:
    """S futures over T calendar years from today's; ``length`` [T] is the share of each year still ahead.

    need_t [S, T] standard tonnes of agave; standing [S, G, T]; curve [S, A] for a hectare planted; ``luck`` [S, T]
    multiplies the yield of what is planted in each year; ``first`` is the index of the first planting season.
    """

    years: np.ndarray
    length: np.ndarray
    first: int
    need_t: np.ndarray
    standing: Standing
    curve: Curve
    luck: np.ndarray

    @property
    def count(self) -> int:
        return len(self.need_t)

    def with_need(self, need_t: np.ndarray) -> "Futures":
        return replace(self, need_t=need_t)

    def only(self, chosen: np.ndarray) -> "Futures":
        """Some of the futures, in the given order."""
        s, c = self.standing, self.curve
        return replace(self, need_t=self.need_t[chosen], luck=self.luck[chosen],
                       standing=replace(s, ripe=s.ripe[chosen], mass_t=s.mass_t[chosen], standard_t=s.standard_t[chosen]),
                       curve=replace(c, ripe=c.ripe[chosen], mass_t_ha=c.mass_t_ha[chosen], standard_t_ha=c.standard_t_ha[chosen]))


def cohort_luck(count: int, periods: int, log_sd: float, seed: int) -> np.ndarray:
    """Yield factor [S, T] of each planting year, mean one: weather and pests that hit one planting as a whole."""
    return np.exp(stream(seed, "cohort").standard_normal((count, periods)) * log_sd - log_sd**2 / 2)


def calendar(today_year: int, today_fraction: float, planting_month_passed: bool, horizon: int) -> tuple[np.ndarray, np.ndarray, int]:
    """Years ahead, the share of each still to come, and the index of the first planting season.

    ``today_fraction`` is the share of this year already gone. When this year's planting season (start of
    the rains) has passed, next year's is the first, and this year's rest is a short first period.
    """
    first = 1 if planting_month_passed else 0
    years = np.arange(today_year, today_year + horizon + first)
    length = np.ones(len(years))
    length[0] = max(1.0 - today_fraction, 1e-3)
    return years, length, first
