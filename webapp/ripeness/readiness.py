"""From the posterior of a plot's mean to what people ask: ripe share, chance, cutting window, condition.

All from the same mean, sd and shape (``rare``), so no page can follow another rule.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable

import numpy as np

from . import constants as k
from . import rare

CONDITIONS = "TECMP"
WORDS = (*CONDITIONS, "C_maybe", "M_maybe", "P_maybe")
"""The words a plot may bear; those of a plot that nobody has read say that its age and other plots say so, not its own juice."""
RIPENS, PAST, UNRIPE = "ripens", "past", "unripe"
"""Kinds of cutting window: from ripe on; over, the loss has reached its limit; the loss reaches its limit while the plot is not ripe."""
NODES, FEW_NODES = 15, 7
"""Values at which the share is averaged over most futures, and over the few that bring what seldom comes."""
Z80, Z95 = 1.2815515655446004, 1.959963984540054


@dataclass(frozen=True)
class Limits:
    """The user's thresholds (settings of the same names)."""

    target_brix_deg: float
    ripe_share_to_cut: float
    near_share: float
    young_age_months: float
    peak_age_months: float
    loss_per_month: float
    loss_limit: float


def plants_above(distance: np.ndarray, residuals: np.ndarray, weights: np.ndarray | None = None) -> np.ndarray:
    """Share of plants whose standardised residual exceeds ``distance`` = (target − mean)/σ_plant.

    The pooled empirical distribution, a little smoothed between its points; 0…1 and falling. With ``weights`` (sum 1)
    the residuals must be sorted.
    """
    points = np.sort(residuals) if weights is None else residuals
    level = 1 - ((np.arange(len(points)) + 0.5) / len(points) if weights is None else np.cumsum(weights) - weights / 2)
    below, above = points[0] - 0.75, points[-1] + 0.75
    return np.interp(distance, np.concatenate([[below], points, [above]]), np.concatenate([[1.0], level, [0.0]]))


def share(mean: np.ndarray, sd: np.ndarray, plant_sd: np.ndarray | float, residuals: np.ndarray, target: float,
          above: Callable[[np.ndarray, np.ndarray], np.ndarray] = plants_above, rare_part: np.ndarray | float = 0.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(ripe share, low, high at 80 %) of the plants; arrays of one shape, °Bx. ``rare_part`` of the variance is what seldom comes (``rare``).

    The ripe share is the middle of what it may be, as likely more as less: the share rises with the plot's mean, so it is the
    share at the mean's middle, and the interval's ends are those at the mean's. ``above`` gives the share of plants
    beyond a distance (another one where passes have taken the ripest: ``picked.above``, then ``mean`` is the uncut plot's).
    """
    plant = np.maximum(plant_sd, 0.05)
    low, high = rare.ends(0.8, rare_part)
    return tuple(above((target - mean - step) / plant, residuals) for step in (0.0, low * sd, high * sd))


def expected_share(mean: np.ndarray, sd: np.ndarray, plant_sd: np.ndarray | float, residuals: np.ndarray, target: float,
                   above: Callable[[np.ndarray, np.ndarray], np.ndarray] = plants_above, rare_part: np.ndarray | float = 0.0) -> np.ndarray:
    """What ``share`` is on the average, for sums over plots: integrated over the mean's posterior at equally likely quantiles, most futures and the few by themselves."""
    plant = np.maximum(plant_sd, 0.05)

    def average(width: np.ndarray, nodes: int, higher: np.ndarray | float = 0.0) -> np.ndarray:
        total = np.zeros(mean.shape)
        for step in likely_steps(nodes):
            total += above((target - mean - higher - step * width) / plant, residuals)
        return total / nodes

    if not np.any(rare_part):
        return average(sd, NODES)
    (usual, wide), most = rare.widths(rare_part), -rare.lean(rare_part) * sd
    return (1 - rare.chance()) * average(usual * sd, NODES, most) + rare.chance() * average(wide * sd, FEW_NODES, most + rare.lift(rare_part) * sd)


def likely_steps(nodes: int) -> np.ndarray:
    """Equally likely values of a standard normal, scaled to variance 1."""
    from scipy.stats import norm

    steps = norm.ppf((np.arange(nodes) + 0.5) / nodes)
    return steps / np.sqrt(np.mean(steps**2))


def chance(mean: np.ndarray, sd: np.ndarray, target: float, rare_part: np.ndarray | float = 0.0) -> np.ndarray:
    """P(plot mean ≥ target)."""
    return rare.above((target - mean) / sd, rare_part)


def keep_share(age_months: np.ndarray, limits: Limits) -> np.ndarray:
    """Share of mass and sugar that the loss past the peak has left, 0…1; ``age`` counts the plot's pace.

    Each month takes its part of what is left, as in the piñas' growth curve and in the outlook: taken from the whole, a plot that
    weighs hundreds of tonnes at fourteen years would have lost all of them.
    """
    return (1 - np.clip(limits.loss_per_month, 0.0, 1.0)) ** np.maximum(age_months - limits.peak_age_months, 0.0)


def windows(shares: np.ndarray, keep: np.ndarray, limits: Limits) -> list[tuple[int | None, int | None] | None]:
    """Per plot (first, last) week of the cutting window: from ripe until the loss reaches its limit; in the week in which it does the word is *passing*, so the window ends the week before.

    Seasonal dips are bridged by the running maximum. None when it is not ripe within the horizon and the
    loss is not reached either; last None when it lies beyond the horizon; (0, 0) when the window is past; where the loss
    reaches its limit before the plot has been ripe for a week, the week of the limit alone (see :func:`window_kinds`).
    """
    out: list[tuple[int | None, int | None] | None] = []
    for (first, lost), kind in zip(_ends(shares, keep, limits), window_kinds(shares, keep, limits)):
        out.append(None if kind is None else (lost, lost) if kind != RIPENS else (first, None if lost is None else lost - 1))
    return out


def window_kinds(shares: np.ndarray, keep: np.ndarray, limits: Limits) -> list[str | None]:
    """Per plot what its window of :func:`windows` is: ``RIPENS``, ``PAST`` or ``UNRIPE`` (None without a window).

    ``UNRIPE`` is no time to cut in by the definition (from ripe until the loss reaches its limit: nothing): the plot is cut as it is
    by that week, or goes on losing. A plot past its limit that is ripe today is ``PAST``.
    """
    return [None if first is None and lost is None else PAST if first == lost == 0 else UNRIPE if lost is not None and (first is None or first >= lost) else RIPENS
            for first, lost in _ends(shares, keep, limits)]


def _ends(shares: np.ndarray, keep: np.ndarray, limits: Limits) -> list[tuple[int | None, int | None]]:
    """Per plot (first ripe week, first week with the loss at its limit)."""
    ripe, lost = np.maximum.accumulate(shares, axis=1) >= limits.ripe_share_to_cut, 1 - keep >= limits.loss_limit
    return [tuple(int(np.argmax(side)) if side.any() else None for side in (r, g)) for r, g in zip(ripe, lost)]


def condition(shares: np.ndarray, keep: np.ndarray, age_months: np.ndarray, limits: Limits) -> np.ndarray:
    """int8 index into CONDITIONS: young, filling, near, ripe, passing."""
    out = np.where(age_months < limits.young_age_months, 0, 1)
    out = np.where((shares >= float(k.STIRRING_SHARE)) & (out == 0), 1, out)
    out = np.where(shares >= limits.near_share, 2, out)
    out = np.where(shares >= limits.ripe_share_to_cut, 3, out)
    return np.where(1 - keep >= limits.loss_limit, 4, out).astype(np.int8)


def words_of(condition: np.ndarray, read: np.ndarray) -> np.ndarray:
    """Index into ``WORDS``: near, ripe or passing is a *maybe* where nobody has read the plot (``read`` False)."""
    condition = np.asarray(condition, int)
    return np.where((condition >= 2) & ~np.asarray(read, bool), condition + 3, condition)


def ripe_and_maybe(shares: np.ndarray, read: np.ndarray, least_share: float) -> tuple[np.ndarray, np.ndarray]:
    """(ripe, maybe ripe) in the shape of ``shares`` [P, ...]: only a plot that somebody has read counts as ripe."""
    enough = np.asarray(shares) >= least_share
    known = np.asarray(read, bool).reshape(-1, *[1] * (enough.ndim - 1))
    return enough & known, enough & ~known
