"""Which windows a plot may be cut in: start, length, and what a pass that began earlier still allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .problem import OPEN, CuttingProblem


@dataclass(frozen=True)
class Windows:
    """Parallel arrays [J]: plot index, first week, weeks long, least week-0 t, cost of starting (kMXN)."""

    plot: np.ndarray
    start: np.ndarray
    length: np.ndarray
    least_t: np.ndarray
    cost: np.ndarray

    def __len__(self) -> int:
        return len(self.plot)

    @property
    def end(self) -> np.ndarray:
        """Last week of each window."""
        return self.start + self.length - 1

    def take(self, rows: np.ndarray) -> "Windows":
        return Windows(self.plot[rows], self.start[rows], self.length[rows], self.least_t[rows], self.cost[rows])

    def cover(self, extra: int = 0, weeks: int | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Pairs (window row, week) of all weeks covered, ``extra`` weeks of rest included."""
        long = self.length + extra
        row = np.repeat(np.arange(len(self)), long)
        first = np.repeat(np.cumsum(long) - long, long)
        week = np.repeat(self.start, long) + np.arange(len(row)) - first
        if weeks is not None:
            inside = week < weeks
            row, week = row[inside], week[inside]
        return row, week

    def keys(self) -> list[tuple[int, int, int]]:
        return list(zip(self.plot.tolist(), self.start.tolist(), self.length.tolist()))


def all_windows(problem: CuttingProblem) -> Windows:
    """Every window allowed, ordered by plot, start, length.

    A new pass needs every week open, to begin when the rest after the last one is over, and a ripe
    share at its end of at least the least pass. A pass under way may go on from week 0 for what is
    left of its longest stay, without a second move-in. Weeks already ordered are taken as ordered
    (the form makes some window cover each of them; a rest between two windows then leaves no other choice).
    """
    rules, (P, W) = problem.rules, problem.shape
    usable, ripe, h = problem.closed == OPEN, problem.ripe, problem.held_weeks
    ordered = np.zeros((P, W), bool)
    if h:
        ordered[:, :h] = problem.held[:, :h] > 0
        usable = usable.copy()
        usable[:, :h] = ordered[:, :h]
    ordered_run = np.cumprod(ordered, axis=1).sum(axis=1)      # an order already out is kept even where the pass grows long
    found = []
    for n in range(1, rules.longest_pass_weeks + 1):
        if n > W:
            break
        whole = np.logical_and.reduce([usable[:, i: W - n + 1 + i] for i in range(n)])
        enough = ripe[:, n - 1:] >= max(rules.least_pass_share, 1e-9)
        starts = np.arange(W - n + 1)[None, :]
        begun = starts < h                                     # an ordered start was judged when published
        new = whole & (enough | begun) & ((starts >= problem.rest_until[:, None]) | begun)
        new &= ~((starts == 0) & (problem.running[:, None] > 0))
        going = whole & (starts == 0) & (problem.running[:, None] > 0) & ((problem.running[:, None] + n <= rules.longest_pass_weeks) | (ordered_run[:, None] >= n))
        for mask, fresh in ((new, True), (going, False)):
            p, s = np.nonzero(mask)
            least = np.where((s < h) | (not fresh), 0.0, rules.least_pass_share * problem.stand_t[p])
            found.append(np.column_stack([p, s, np.full(len(p), n), least, np.full(len(p), problem.costs.move_in if fresh else 0.0)]))
    table = np.concatenate(found) if found else np.zeros((0, 5))
    table = table[np.lexsort((table[:, 2], table[:, 1], table[:, 0]))]
    return Windows(table[:, 0].astype(int), table[:, 1].astype(int), table[:, 2].astype(int), table[:, 3], table[:, 4])
