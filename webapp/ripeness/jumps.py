"""Events that may have moved a plot's sugar for good: frost, fire, hail, pruned leaves.

What such an event does to °Brix has no published size, so it is not corrected for but left open: from its day on
the plot's level carries one more unknown of the event's own sd. Visits after the day tell it; visits before it
say less about what comes. Everything is in closed form: Cov(t, t′) = Σ var·1(t ≥ day)·1(t′ ≥ day).
"""

from __future__ import annotations

import numpy as np

from . import constants as k

NEVER = 1e9
"""An ordinal that no day reaches: fills the rows of plots with fewer events than others."""


def between(jump_day: np.ndarray | None, jump_var: np.ndarray | None, one: np.ndarray, other: np.ndarray, plot: int | None = None) -> np.ndarray:
    """[P, A, B] covariance, °Bx², of the moved levels on ordinal days ``one`` [P or 1, A] and ``other`` [P or 1, B]; of one plot [A, B].

    Where there are no events, a zero that broadcasts.
    """
    if jump_day is None or not jump_day.shape[1]:
        return np.zeros((1, 1)) if plot is not None else np.zeros((1, 1, 1))
    if plot is not None:
        jump_day, jump_var = jump_day[plot: plot + 1], jump_var[plot: plot + 1]
    out = 0.0
    for j in range(jump_day.shape[1]):  # a handful of events at most
        day = jump_day[:, j, None]
        out = out + jump_var[:, j, None, None] * ((one >= day)[:, :, None] & (other >= day)[:, None, :])
    return out[0] if plot is not None else out


def since(jump_day: np.ndarray | None, jump_var: np.ndarray | None, days: np.ndarray) -> np.ndarray:
    """[P, T] variance, °Bx², that the events up to each of ``days`` [P or 1, T] have brought."""
    if jump_day is None or not jump_day.shape[1]:
        return np.zeros((1, 1))
    return sum(jump_var[:, j, None] * (days >= jump_day[:, j, None]) for j in range(jump_day.shape[1]))


def padded(plots: list[str], events: list[tuple[str, int, float]]) -> tuple[np.ndarray, np.ndarray]:
    """(days, variances) [P, K] from (plot, ordinal day, sd °Bx); more than ``MOST_JUMPS`` of a plot: the newest, whose sds are the widest."""
    by: dict[str, dict[int, float]] = {}
    for plot, day, sd in events:
        mine = by.setdefault(plot, {})
        mine[day] = max(mine.get(day, 0.0), sd)  # one frost written down twice is one frost
    rows = [sorted(by.get(code, {}).items())[-k.MOST_JUMPS:] for code in plots]
    width = max((len(row) for row in rows), default=0)
    day, var = np.full((len(plots), width), NEVER), np.zeros((len(plots), width))
    for i, row in enumerate(rows):
        for j, (when, sd) in enumerate(row):
            day[i, j], var[i, j] = when, sd**2
    return day, var
