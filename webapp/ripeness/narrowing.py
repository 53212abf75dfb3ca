"""What one more visit would narrow of a plot's answer: °Brix, ripe share, and the week in which it turns ripe."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import picked
from .readiness import Z95, Limits

HALF_YEAR_WEEKS = 26
WORTH = 0.10
"""A visit that narrows the share of the next half year by less than this part of its width changes next to nothing."""


@dataclass(frozen=True)
class Known:
    """How well a plot is known: ``deg`` half width at 95 % today, ``share`` low and high at 80 % today, ``width`` of the share (mean over
    half a year), ``first`` and ``last`` week in which it may turn ripe at 80 % (places in the weeks; None beyond them)."""

    deg: float
    share: tuple[float, float]
    width: float
    first: int | None
    last: int | None


def known(mean: np.ndarray, sd: np.ndarray, plant_sd: np.ndarray, residuals: np.ndarray, limits: Limits, taken: np.ndarray, ready: np.ndarray) -> Known:
    """Arrays [W] of one plot. The week counts from the share at either end of the mean's 80 % interval, like the drawn interval."""
    _, low, high = (side[0] for side in picked.share_of_standing(mean[None], sd[None], plant_sd[None], residuals, limits.target_brix_deg, taken[None], ready[None]))
    early, late = (np.flatnonzero(side >= limits.ripe_share_to_cut) for side in (high, low))
    return Known(Z95 * float(sd[0]), (float(low[0]), float(high[0])), float((high - low)[:HALF_YEAR_WEEKS].mean()),
                 int(early[0]) if len(early) else None, int(late[0]) if len(late) else None)


def worth_it(before: Known, after: Known) -> bool:
    """Whether the visit would change anything one could act on."""
    return before.deg > 0 and (after.deg < (1 - WORTH) * before.deg or before.width - after.width > WORTH * max(before.width, 0.05))
