"""What a plan will bring, with its uncertainty: the plan's plants in every draw of the crop."""

from __future__ import annotations

import numpy as np

from .plan import Plan
from .problem import CuttingProblem

LOW, HIGH = 0.10, 0.90


def weekly(problem: CuttingProblem, plan: Plan, share: np.ndarray, mass_t: np.ndarray, art: np.ndarray) -> dict[str, np.ndarray]:
    """80 % intervals by week [W] of tonnes and sugar delivered, from joint draws [n, P, ≥ W].

    Orders name a number of plants, so a draw delivers the planned share of its own tonnes, but never
    more plants than are ripe in it by then: a plan on plots that ripen late loses on that side only.
    The same draw of all plots and weeks counts together, so plots that err alike don't average out.
    """
    used = np.flatnonzero(plan.cut.sum(axis=1) > 0)
    W = len(problem.weeks)
    if not len(used):
        zero = np.zeros(W)
        return {name: zero for name in ("t_lo", "t_hi", "sugar_lo", "sugar_hi")}
    fraction = plan.cut[used] / problem.stand_t[used, None]
    if problem.held_weeks:
        first = fraction[:, : problem.held_weeks].copy()
    ripe = np.maximum.accumulate(share[:, used, :W], axis=2)
    reach = np.minimum(np.cumsum(fraction, axis=1)[None], ripe)
    taken = np.diff(np.maximum.accumulate(reach, axis=2), axis=2, prepend=0.0)
    if problem.held_weeks:
        taken[:, :, : problem.held_weeks] = first
    taken = np.where(fraction[None] > 0, taken, 0.0)
    tonnes = taken * mass_t[:, used, :W]
    total, sugar = tonnes.sum(axis=1), (tonnes * art[:, used, :W]).sum(axis=1)
    return {"t_lo": np.quantile(total, LOW, axis=0), "t_hi": np.quantile(total, HIGH, axis=0),
            "sugar_lo": np.quantile(sugar, LOW, axis=0), "sugar_hi": np.quantile(sugar, HIGH, axis=0)}
