"""Sums over plots from joint draws: what is shared between plots (curve, growth, losses, weather) stays shared in the sum."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Hashable, Sequence

import numpy as np


@dataclass(frozen=True)
class Sum:
    """Mean of a sum with its 80 % interval, in the unit of what was summed."""

    value: float
    low: float
    high: float


def sums(draws: np.ndarray, names: Sequence[Hashable]) -> dict[Hashable, Sum]:
    """``draws`` [n, P] and a name for each plot → the sum of every name's plots, draw by draw."""
    groups = {name: i for i, name in enumerate(dict.fromkeys(names))}
    member = np.zeros((len(names), len(groups)), np.float64)
    member[np.arange(len(names)), [groups[name] for name in names]] = 1.0
    total = np.asarray(draws, np.float64) @ member
    low, high = np.quantile(total, (0.1, 0.9), axis=0) if len(groups) else (np.zeros(0), np.zeros(0))
    return {name: Sum(float(total[:, i].mean()), float(low[i]), float(high[i])) for name, i in groups.items()}
