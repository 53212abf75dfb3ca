"""What one more visit would narrow of a plot's answer: °Brix, ripe share, and the weeks in which it turns ripe and passes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import first_ripe, picked, rare
from .readiness import Z80, Limits

HALF_YEAR_WEEKS = 26
WORTH = 0.10
"""A visit that narrows the share of the next half year by less than this part of its width changes next to nothing."""


@dataclass(frozen=True)
class Known:
    """How well a plot is known: ``deg`` half the width of the 95 % interval today, ``share`` low and high at 80 % today, ``width`` of the share (mean over
    half a year), ``first`` and ``last`` week in which it may turn ripe at 80 % (places in the weeks; None beyond them), ``end_first`` and ``end_last``
    in which its loss past the peak may reach the limit."""

    deg: float
    share: tuple[float, float]
    width: float
    first: int | None
    last: int | None
    end_first: int | None = None
    end_last: int | None = None


def known(mean: np.ndarray, sd: np.ndarray, plant_sd: np.ndarray, residuals: np.ndarray, limits: Limits, taken: np.ndarray, ready: np.ndarray, end: tuple[float, float] | None = None,
          rare_part: np.ndarray | float = 0.0) -> Known:
    """Arrays [W] of one plot. The week counts from the share at either end of the mean's 80 % interval, like the drawn interval; ``end`` (weeks, sd) from today of
    when it passes (``plot_effects.ends``)."""
    _, low, high, _ = (side[0] for side in picked.share_of_standing(mean[None], sd[None], plant_sd[None], residuals, limits.target_brix_deg, taken[None], ready[None], rare_part))
    early, late = (int(place) for place in first_ripe.interval(low, high, limits.ripe_share_to_cut))
    return Known(float(rare.half(0.95, np.ravel(rare_part)[0]) * sd[0]), (float(low[0]), float(high[0])), float((high - low)[:HALF_YEAR_WEEKS].mean()),
                 *(None if place == first_ripe.NEVER else place for place in (early, late)), *(_place(end, side, len(mean)) for side in (-Z80, Z80)))


def _place(end: tuple[float, float] | None, side: float, weeks: int) -> int | None:
    """The week's place, 0 when it is over; None beyond the weeks shown."""
    at = end[0] + side * end[1] if end else np.inf
    return int(np.ceil(max(at, 0.0))) if at <= weeks - 1 else None


def worth_it(before: Known, after: Known) -> bool:
    """Whether the visit would change anything one could act on."""
    return before.deg > 0 and (after.deg < (1 - WORTH) * before.deg or before.width - after.width > WORTH * max(before.width, 0.05))
