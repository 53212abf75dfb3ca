"""What selective passes and cut quiotes leave standing: the ripest are gone, the rest read lower; capones become ready by themselves.

A crew takes the plants it holds for the ripest, with an eye of its own error: of standardised sugar e it takes
those with e + ε > c, ε ~ N(0, EYE²). Plants keep their order, so passes one after another take from the top of the
same distribution. What is left has mean −φ(c′)/(1 − p)/√(1 + EYE²) with Φ(c′) = 1 − p, and its ripe share follows
from the pooled distribution of plants with the weights Φ((c − e)/EYE). Clearing loads take plants as they come.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from . import constants as k
from .jumps import NEVER
from .readiness import expected_share, plants_above, share

MOST_TAKEN, POINTS = 0.98, 600


@dataclass(frozen=True)
class Picked:
    """Padded [P, K]: ``pass_day`` ordinal and ``pass_share`` of the plants there were that have gone as the ripest from that day on
    (growing along K); ``ready_day`` from which capones count as ripe and ``ready_share`` of the standing plants that they are."""

    pass_day: np.ndarray
    pass_share: np.ndarray
    ready_day: np.ndarray
    ready_share: np.ndarray

    def of(self, at: np.ndarray) -> "Picked":
        return Picked(*(getattr(self, name)[at] for name in ARRAYS))

    def taken(self, days: np.ndarray) -> np.ndarray:
        """[P, T] share gone as the ripest by the ordinal ``days`` [P or 1, T]; a visit of the day of a pass came before it."""
        out = np.zeros((len(self.pass_day), days.shape[1]))
        for i in np.flatnonzero((self.pass_day < NEVER).any(axis=1)):
            out[i] = np.r_[0.0, self.pass_share[i]][np.searchsorted(self.pass_day[i], days[min(i, len(days) - 1)], side="left")]
        return out

    def ready(self, days: np.ndarray) -> np.ndarray:
        """[P, T] share of the standing plants that are capones and ready."""
        out = np.zeros((len(self.ready_day), days.shape[1]))
        for j in range(self.ready_day.shape[1]):
            out = out + np.where(days >= self.ready_day[:, j, None], self.ready_share[:, j, None], 0.0)
        return np.minimum(out, 1.0)


ARRAYS = ("pass_day", "pass_share", "ready_day", "ready_share")


def nothing(plots: int) -> Picked:
    return Picked(*(np.zeros((plots, 0)) for _ in ARRAYS))


def shift(taken: np.ndarray) -> np.ndarray:
    """Mean of what is left, in sds of plants, when the share ``taken`` went as the ripest (0 or less)."""
    p = np.clip(taken, 0.0, MOST_TAKEN)
    cut = norm.ppf(1 - p)
    return np.where(p > 0, -norm.pdf(cut) / (1 - p) / np.sqrt(1 + float(k.EYE_SD) ** 2), 0.0)


def left(residuals: np.ndarray, taken: float) -> tuple[np.ndarray, np.ndarray]:
    """(points, weights of sum 1): the pooled plants, sorted, and how much of each is left. The cut is put where exactly ``taken`` of them go."""
    from scipy.optimize import brentq

    points, eye = np.sort(residuals), float(k.EYE_SD)
    if len(points) > POINTS:
        points = np.quantile(points, (np.arange(POINTS) + 0.5) / POINTS)
    stay = 1 - min(taken, MOST_TAKEN)
    c = brentq(lambda c: norm.cdf((c - points) / eye).mean() - stay, points[0] - 20 * eye, points[-1] + 20 * eye)
    weights = norm.cdf((c - points) / eye)
    return points, weights / weights.sum()


def above(distance: np.ndarray, residuals: np.ndarray, taken: np.ndarray) -> np.ndarray:
    """Share of the standing plants above ``distance`` = (target − mean of the uncut plot)/σ; ``distance`` [..., P, T], ``taken`` [P, T]."""
    out = plants_above(distance, residuals)
    for i in np.flatnonzero(taken.max(axis=1, initial=0.0) > 0):
        for value in np.unique(taken[i][taken[i] > 0]):
            at = taken[i] == value
            out[..., i, at] = plants_above(distance[..., i, at], *left(residuals, float(value)))
    return out


def with_ready(share: np.ndarray, ready: np.ndarray) -> np.ndarray:
    """Ripe share once capones that are ready count as ripe, whatever they read."""
    return share + (1 - share) * ready


def share_of_standing(mean: np.ndarray, sd: np.ndarray, plant_sd: np.ndarray, residuals: np.ndarray, target: float, taken: np.ndarray, ready: np.ndarray,
                      rare_part: np.ndarray | float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """(ripe share, low, high at 80 %, expected share) of the standing plants; all [P, T], ``mean`` °Bx of the standing plants (see ``readiness.share``)."""
    what = mean - plant_sd * shift(taken), sd, plant_sd, residuals, target, lambda distance, points: above(distance, points, taken), rare_part
    return tuple(with_ready(part, ready) for part in (*share(*what), expected_share(*what)))


def passes(standing: float, loads: list[tuple[int, float, bool]]) -> list[tuple[int, float]]:
    """[(ordinal day, share gone as the ripest)] from loads (day, plants, clearing) in order of day, of ``standing`` plants at the first.

    A clearing load makes fewer of all; a selective one takes the top of what is left.
    """
    remains, gone, out = max(standing, 1.0), 0.0, {}
    for day, plants, clearing in sorted(loads):
        part = min(plants / max(remains, 1.0), 1.0)
        remains = max(remains - plants, 0.0)
        if not clearing:
            gone = min(gone + (1 - gone) * part, MOST_TAKEN)
            out[day] = gone
    return sorted(out.items())


def padded(rows: list[list[tuple[int, float]]]) -> tuple[np.ndarray, np.ndarray]:
    """(days, shares) [P, K], rows filled up with a day that never comes."""
    width = max((len(row) for row in rows), default=0)
    day, value = np.full((len(rows), width), NEVER), np.zeros((len(rows), width))
    for i, row in enumerate(rows):
        for j, (when, share) in enumerate(row):
            day[i, j], value[i, j] = when, share
    return day, value
