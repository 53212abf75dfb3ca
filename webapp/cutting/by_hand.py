"""The plans that people make today, under the same hard rules: a list in some order, from week to week.

Each week the planner goes down the list and sends crews to a plot until the factory has what it asks.
A pass is laid out whole when it begins: week by week what is ripe, up to the longest stay, as far as
factory, crews and trucks have room; it counts only if it reaches the least pass. *Plain* fills exactly
the need and begins at the least ripe share; *tuned* is the best of nine ways to fill and to wait.
"""

from __future__ import annotations

import numpy as np

from .plan import Plan, account, tidy
from .problem import OPEN, CuttingProblem

ORDERS = ("oldest", "leases", "brix", "nearest")
"""Oldest plants first; plots whose lease ends soonest, then the oldest; highest °Brix first; nearest to the factory first among the ripe."""
FILLS = (0.0, 0.5, 1.0)
"""How far up from what the factory asks at least to what it takes at most."""
RIPE_FROM = (0.25, 0.50, 0.75)
NAMES = tuple(f"{order}_{kind}" for order in ORDERS for kind in ("plain", "tuned"))


def ranking(problem: CuttingProblem, order: str) -> np.ndarray:
    """[P, W] what the planner sorts by, small first; ties keep the order of the plots."""
    W = len(problem.weeks)
    if order == "oldest":
        return np.repeat(-problem.age_months[:, None], W, axis=1)
    if order == "leases":
        return np.repeat((1e6 * problem.last_week - problem.age_months)[:, None], W, axis=1)
    if order == "brix":
        return -problem.brix_deg
    return np.repeat(problem.haul_km[:, None], W, axis=1)


def make(problem: CuttingProblem, order: str, fill: float, ripe_from: float, how: str) -> Plan:
    """One plan by hand. It keeps every hard rule; what falls short falls short."""
    (P, W), rules = problem.shape, problem.rules
    ripe_t, share, cap = problem.ripe * problem.stand_t[:, None], problem.share, problem.cap
    cut, windows = np.zeros((P, W)), []
    target = np.minimum(problem.need_low + fill * (problem.need_high - problem.need_low), problem.need_high)
    room, trips = np.minimum(target, problem.crew_t), problem.trips.astype(float).copy()
    busy, free_from, done = np.zeros(W, int), problem.rest_until.copy(), np.zeros(P, int)
    rank = ranking(problem, order)

    def lay(p: int, s: int, longest: int, least: float, first: np.ndarray | None = None) -> bool:
        """Lay out one pass from week s; ``first`` fixes the amounts of weeks already ordered."""
        amounts, taken = [], cut[p].sum()
        for w in range(s, min(s + longest, W)):
            fixed = first is not None and w < problem.held_weeks and first[w] > 0
            if not fixed and (problem.closed[p, w] != OPEN or busy[w] >= problem.active_plots or w < problem.held_weeks):
                break
            most = min(ripe_t[p, w] - taken, cap[p, w], max(room[w], 0.0) / problem.keep[p, w],
                       max(trips[w], 0.0) / (problem.trips_per_t[p] * problem.keep[p, w]))
            x = first[w] if fixed else most
            if not fixed and x <= 1e-3 * problem.stand_t[p]:
                break
            amounts.append(x)
            taken += x
        if not amounts or sum(amounts) < least - 1e-9:
            return False
        for i, x in enumerate(amounts):
            cut[p, s + i] = x
            room[s + i] -= problem.keep[p, s + i] * x
            trips[s + i] -= problem.keep[p, s + i] * x * problem.trips_per_t[p]
            busy[s + i] += 1
        windows.append((int(p), int(s), len(amounts)))
        free_from[p] = s + len(amounts) + rules.idle_weeks
        done[p] += 1
        return True

    h = problem.held_weeks
    for w in range(h):
        for p in np.flatnonzero((problem.held[:, w] > 0) & (cut[:, w] == 0)):
            run = int(np.cumprod(problem.held[p, w:h] > 0).sum())
            stay = rules.longest_pass_weeks - (problem.running[p] if w == 0 else 0)
            lay(p, w, run if w + run < h else max(run, stay), 0.0, problem.held[p])
    for p in np.flatnonzero((problem.running > 0) & (cut.sum(axis=1) == 0)):
        if h == 0 and problem.running[p] < rules.longest_pass_weeks:
            lay(p, 0, rules.longest_pass_weeks - problem.running[p], 0.0)
    for w in range(h, W):
        if target[w] <= 0:
            continue
        for p in np.argsort(rank[:, w], kind="stable"):
            if room[w] <= 1e-6 or busy[w] >= problem.active_plots:
                break
            if w < free_from[p] or done[p] >= rules.most_passes or problem.closed[p, w] != OPEN or share[p, w] < max(ripe_from, rules.least_pass_share):
                continue
            if w == 0 and problem.running[p] > 0:
                continue
            lay(p, w, rules.longest_pass_weeks, rules.least_pass_share * problem.stand_t[p])
    return tidy(problem, Plan(how, cut, tuple(sorted(windows))))


def plain(problem: CuttingProblem, order: str) -> Plan:
    return make(problem, order, 0.0, RIPE_FROM[0], f"{order}_plain")


def tuned(problem: CuttingProblem, order: str) -> Plan:
    """Best of the nine settings by value; the first of equals."""
    plans = [make(problem, order, fill, ripe_from, f"{order}_tuned") for fill in FILLS for ripe_from in RIPE_FROM]
    return max(plans, key=lambda plan: account(problem, plan).total)


def all_plans(problem: CuttingProblem) -> list[Plan]:
    """The eight plans by hand, in the order of :data:`NAMES`."""
    return [make_one(problem, order) for order in ORDERS for make_one in (plain, tuned)]
