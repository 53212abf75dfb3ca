"""A plan and its account: tonnes by week, what fell short, what it is worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .problem import CuttingProblem

TRACE_T = 1e-6
CLEARED_SHARE = 0.95
"""A pass that leaves less than 5 % of the plot's tonnes is called a clearing one."""


@dataclass(frozen=True)
class Plan:
    """``cut`` [P, W] week-0 t; ``windows`` sorted (plot, first week, weeks long)."""

    how: str
    cut: np.ndarray
    windows: tuple[tuple[int, int, int], ...]

    def active(self) -> np.ndarray:
        on = np.zeros(self.cut.shape, bool)
        for p, s, n in self.windows:
            on[p, s: s + n] = True
        return on


@dataclass(frozen=True)
class Account:
    """Value in kMXN; by week [W]: delivered t, sugar t, t short, t of sugar off the blend, trips, plots."""

    total: float
    incremental: float
    delivered: np.ndarray
    sugar: np.ndarray
    short: np.ndarray
    off_blend: np.ndarray
    trips: np.ndarray
    plots: np.ndarray
    fixed_cost: float
    penalty: float


def move_in(problem: CuttingProblem, p: int, s: int) -> float:
    """kMXN of starting a window: nothing when it continues a pass already under way."""
    return 0.0 if s == 0 and problem.running[p] > 0 else problem.costs.move_in


def account(problem: CuttingProblem, plan: Plan) -> Account:
    """What a plan delivers and is worth; ``incremental`` counts from leaving everything standing."""
    out = problem.keep * plan.cut
    delivered, sugar = out.sum(axis=0), (problem.sugar * out).sum(axis=0)
    short = np.maximum(problem.need_low - delivered, 0.0)
    off = np.maximum(problem.rules.blend_low * delivered - sugar, 0.0) + np.maximum(sugar - problem.rules.blend_high * delivered, 0.0)
    on = plan.active()
    zone_on = np.zeros((len(problem.zones), len(problem.weeks)), bool)
    np.logical_or.at(zone_on, problem.zone_of, on)
    costs = problem.costs
    fixed = sum(move_in(problem, p, s) for p, s, _ in plan.windows) + costs.plot_week * on.sum() + costs.zone_week * zone_on.sum()
    penalty = costs.short_t * short.sum() + costs.blend_t * off.sum()
    gain = float((problem.gain() * plan.cut).sum() - fixed - penalty)
    return Account(problem.standing_value + gain, gain, delivered, sugar, short, off,
                   (out * problem.trips_per_t[:, None]).sum(axis=0), on.sum(axis=0), float(fixed), float(penalty))


def tidy(problem: CuttingProblem, plan: Plan) -> Plan:
    """Drop empty weeks at the ends of windows and traces of tonnes; ordered weeks stay as they are."""
    cut = np.where(plan.cut > TRACE_T, plan.cut, 0.0)
    kept = []
    for p, s, n in plan.windows:
        while n and cut[p, s + n - 1] == 0 and s + n - 1 >= problem.held_weeks:
            n -= 1
        while n and cut[p, s] == 0 and s >= problem.held_weeks and not (s == 0 and problem.running[p] > 0):
            s, n = s + 1, n - 1
        if n:
            kept.append((p, s, n))
    return Plan(plan.how, cut, tuple(sorted(kept)))


def passes(plan: Plan) -> np.ndarray:
    """[P, W] int8 number of the pass (1, 2 …) that a plot's active week belongs to; 0 when idle."""
    number, seen = np.zeros(plan.cut.shape, np.int8), {}
    for p, s, n in plan.windows:
        seen[p] = seen.get(p, 0) + 1
        number[p, s: s + n] = seen[p]
    return number


def clearing(problem: CuttingProblem, plan: Plan) -> np.ndarray:
    """[P, W] bool: weeks of the pass after which less than 5 % of the plot's tonnes is left."""
    left = np.zeros(plan.cut.shape, bool)
    for p, s, n in plan.windows:
        if plan.cut[p, : s + n].sum() >= CLEARED_SHARE * problem.stand_t[p]:
            left[p, s: s + n] = True
    return left
