"""What proposed settings would move: the same figures before and after, and the plots whose word or cutting window differs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..weeks import monday_of

WEEKS = 27
LEVELS = (0.1, 0.9)


@dataclass(frozen=True)
class Side:
    """One set of answers, this week first: [W] plots ripe enough to cut (of those somebody has read), ripe tonnes and tonnes of sugar in them
    (``…_lo``, ``…_hi``: 80 %; None where no draws were made), all tonnes standing; [P] word today (index into ``readiness.WORDS``); plot → [first, last] week or None."""

    ripe_plots: np.ndarray
    ripe_t: np.ndarray
    ripe_lo: np.ndarray | None
    ripe_hi: np.ndarray | None
    sugar_t: np.ndarray | None
    mass_t: np.ndarray
    condition: np.ndarray
    windows: dict[str, Any]


@dataclass(frozen=True)
class Moved:
    """One plot: its word (as in :class:`Side`) and cutting window before and after; ``weeks`` the first week moves by (None when one of them is open)."""

    code: str
    condition: tuple[int, int]
    window: tuple[Any, Any]
    weeks: int | None


def moved(plots: list[str], now: Side, then: Side) -> list[Moved]:
    """Plots of which anything changes: changed words first, then by how far the window moves."""
    out = []
    for i, code in enumerate(plots):
        words, windows = (int(now.condition[i]), int(then.condition[i])), (now.windows[code], then.windows[code])
        if words[0] != words[1] or windows[0] != windows[1]:
            apart = None if None in windows else (monday_of(windows[1][0]) - monday_of(windows[0][0])).days // 7
            out.append(Moved(code, words, windows, apart))
    return sorted(out, key=lambda m: (m.condition[0] == m.condition[1], -abs(m.weeks if m.weeks is not None else 999), m.code))


def totals(value: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(mean, low, high at 80 %) [W] of draws [n, P, W] summed over the plots draw by draw."""
    total = value.sum(axis=1, dtype=np.float64)
    return total.mean(axis=0), *np.quantile(total, LEVELS, axis=0)
