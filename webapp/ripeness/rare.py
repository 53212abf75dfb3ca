"""What comes seldom and then moves far (a drought, a very wet year): one shape for every interval, chance and draw.

A quantity is mean + sd·x. In most futures x ~ N(0, 1 − r); in a few, of chance π, it is wider, N(0, 1 − r + r/π): the variance is 1
either way of counting, and r is the part of it that the rare thing makes (a scale mixture of normals; Andrews & Mallows 1974, *Scale
Mixtures of Normal Distributions*, JRSS B 36:99–102). With r = 0 it is the normal distribution. Against a normal of the same
sd the 80 % interval is much narrower, the 95 % one somewhat, and what lies beyond reaches farther: years in which nothing comes are not told as
half a drought.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from . import constants as k

LEVELS = (0.5, 0.8, 0.95)
MOST = 0.99
"""Largest part r that is told apart: the rest of a forecast is never known exactly."""
HALVINGS, FARTHEST = 48, 40.0


def widths(part: np.ndarray | float) -> tuple[np.ndarray, np.ndarray]:
    """(usual, wide) sd of x in most futures and in the few, for the part r of the variance."""
    part = np.clip(part, 0.0, MOST)
    return np.sqrt(1 - part), np.sqrt(1 - part + part / chance())


def chance() -> float:
    return float(k.SHOCK_AHEAD_CHANCE)


def below(x: np.ndarray, part: np.ndarray | float = 0.0) -> np.ndarray:
    """P(X ≤ x) of x in sds."""
    from scipy.special import ndtr

    if not np.any(part):
        return ndtr(x)
    usual, wide = widths(part)
    return (1 - chance()) * ndtr(x / usual) + chance() * ndtr(x / wide)


def place(p: np.ndarray, part: np.ndarray | float = 0.0) -> np.ndarray:
    """The x below which the share p of futures lies, in sds (``below`` turned round by halving)."""
    p, part = np.broadcast_arrays(np.asarray(p, float), np.asarray(part, float))
    low, high = np.full(p.shape, -FARTHEST), np.full(p.shape, FARTHEST)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        under = below(middle, part) < p
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return (low + high) / 2


@lru_cache(maxsize=16)
def _table(level: float, often: float) -> tuple[np.ndarray, np.ndarray]:
    part = MOST * np.sin(np.linspace(0.0, np.pi / 2, 601))  # closer where the part is large and the half width falls fast
    return part, place(np.full(part.shape, (1 + level) / 2), part)


def half(level: float, part: np.ndarray | float = 0.0) -> np.ndarray:
    """Half width of the central interval that holds ``level`` of the futures, in sds; from a table, exact to 1e-4."""
    return np.interp(part, *_table(level, chance()))


def half80(part: np.ndarray | float = 0.0) -> np.ndarray:
    return half(0.8, part)


def half95(part: np.ndarray | float = 0.0) -> np.ndarray:
    return half(0.95, part)


def thinned(part: np.ndarray | float, sd: np.ndarray, wider_sd: np.ndarray) -> np.ndarray:
    """The part once the sd is another one for something that is not rare (a round's own error, a visit less): r·sd²/other²."""
    return np.minimum(part * np.square(sd / np.maximum(wider_sd, 1e-9)), MOST)
