"""Every plan of a tiny problem: all sets of windows listed, the amounts of each by a linear program of SciPy."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
from scipy.optimize import linprog

from webapp.cutting.problem import CuttingProblem


def schedules(problem: CuttingProblem, p: int) -> list[tuple[tuple[int, int], ...]]:
    """All sets of at most two windows (first week, weeks long) that the rules in words allow."""
    W, rules = len(problem.weeks), problem.rules
    best = [max(problem.share[p, : w + 1]) for w in range(W)]
    single = [(s, n) for s in range(W) for n in range(1, rules.longest_pass_weeks + 1)
              if s + n <= W and all(problem.closed[p, w] == 0 for w in range(s, s + n)) and best[s + n - 1] >= rules.least_pass_share]
    pairs = [(a, b) for a, b in combinations(single, 2) if b[0] - (a[0] + a[1]) >= rules.idle_weeks]
    return [(), *((a,) for a in single), *pairs]


def amounts(problem: CuttingProblem, chosen) -> float | None:
    """Best incremental value (kMXN) with the windows fixed, or None when they can't be filled."""
    P, W = problem.shape
    costs, rules = problem.costs, problem.rules
    cells = [(p, w) for p, spans in enumerate(chosen) for s, n in spans for w in range(s, s + n)]
    if len({(p, w) for p, w in cells}) < len(cells):
        return None
    for w in range(W):
        if sum(c[1] == w for c in cells) > problem.active_plots:
            return None
    fixed = sum(costs.move_in + costs.plot_week * n for spans in chosen for _, n in spans)
    fixed += costs.zone_week * len({(problem.zone_of[p], w) for p, w in cells})
    n = len(cells) + 3 * W
    c, A, b, upper = np.zeros(n), [], [], []
    for i, (p, w) in enumerate(cells):
        c[i] = problem.keep[p, w] * problem.value[p, w] - problem.end_value[p]
        upper.append(problem.share[p, w] * problem.stand_t[p])
    c[len(cells): len(cells) + W] = -costs.short_t
    c[len(cells) + W:] = -costs.blend_t
    for w in range(W):
        mine = [(i, p) for i, (p, at) in enumerate(cells) if at == w]
        L = {i: problem.keep[p, w] for i, p in mine}
        def row(values, extra=(), right=0.0):
            line = np.zeros(n)
            for i, v in values.items():
                line[i] = v
            for i, v in extra:
                line[i] = v
            A.append(line)
            b.append(right)
        row(L, right=problem.need_high[w])
        row(L, right=problem.crew_t[w])
        row({i: L[i] * problem.trips_per_t[p] for i, p in mine}, right=problem.trips[w])
        row({i: -v for i, v in L.items()}, [(len(cells) + w, -1.0)], -problem.need_low[w])
        row({i: -(problem.sugar[p, w] - rules.blend_low) * L[i] for i, p in mine}, [(len(cells) + W + w, -1.0)])
        row({i: (problem.sugar[p, w] - rules.blend_high) * L[i] for i, p in mine}, [(len(cells) + 2 * W + w, -1.0)])
    for p, spans in enumerate(chosen):
        for w in range(W):
            upto = [i for i, (q, at) in enumerate(cells) if q == p and at <= w]
            if upto:
                row({i: 1.0 for i in upto}, right=max(problem.share[p, : w + 1]) * problem.stand_t[p])
        for s, k in spans:
            row({i: -1.0 for i, (q, at) in enumerate(cells) if q == p and s <= at < s + k}, right=-rules.least_pass_share * problem.stand_t[p])
    found = linprog(-c, A_ub=np.array(A), b_ub=b, bounds=[(0, u) for u in upper] + [(0, None)] * (3 * W), method="highs")
    return float(-found.fun) - fixed if found.status == 0 else None


def best(problem: CuttingProblem) -> float:
    values = (amounts(problem, chosen) for chosen in product(*(schedules(problem, p) for p in range(len(problem.plots)))))
    return max(v for v in values if v is not None)
