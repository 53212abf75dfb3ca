"""What seldom comes and then moves far (a drought, mostly): one shape for every interval, chance and draw.

A quantity is middle + sd·x. In most futures x is N(0, 1 − r) about a place of its own; in a few, of chance π, it lies u·√(r/π) higher and is wider,
N(·, 1 − r + (1 − u²) r/π). About the place of most futures the mean square is 1 either way of counting (``sd``² and ``var`` of a forecast are that), and r is the part of it that the rare
thing makes: a mixture of two normals (Andrews & Mallows 1974, *Scale Mixtures of Normal Distributions*, JRSS B 36:99–102, with u = 0; McLachlan & Peel 2000,
*Finite Mixture Models*, ch. 1, for the rest). u is how much of it goes one way: dry spells raise °Brix, while rain beyond what the plants can drink
changes nothing (``constants.SHOCK_AHEAD_UP`` has the sources). x is counted from the middle of all futures, as likely more as less. With r = 0 it is
the normal distribution. Against a normal of the same sd the 80 % interval is narrower, and what lies beyond reaches farther, mostly
upward: years in which nothing comes are not told as half a drought.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Callable

import numpy as np

from . import constants as k

LEVELS = (0.5, 0.8, 0.95)
MOST = 0.99
"""Largest part r that is told apart: the rest of a forecast is never known exactly."""
HALVINGS, FARTHEST = 48, 40.0
PLACES = MOST * np.sin(np.linspace(0.0, np.pi / 2, 801)) ** 2
"""Parts of the tables: closer where the part is large and widths fall fast, and where it is small, for the middle leans with its root."""


@dataclass(frozen=True)
class Kind:
    """``chance`` π that the rare thing comes and how much of it goes ``up``, u; numbers, or [N] where words of several days were said in several forms."""

    chance: np.ndarray | float
    up: np.ndarray | float

    def at(self, where: np.ndarray) -> "Kind":
        return Kind(*(value[where] if isinstance(value, np.ndarray) else value for value in (self.chance, self.up)))


def kind() -> Kind:
    """As forecasts are made today."""
    return Kind(chance(), float(k.SHOCK_AHEAD_UP))


def chance() -> float:
    return float(k.SHOCK_AHEAD_CHANCE)


def widths(part: np.ndarray | float, of: Kind | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(usual, wide) sd of x in most futures and in the few, for the part r."""
    of, part = of or kind(), np.clip(part, 0.0, MOST)
    return np.sqrt(1 - part), np.sqrt(1 - part + (1 - np.square(of.up)) * part / of.chance)


def spread() -> float:
    """How many times as large as over all futures the rare thing's variance is in the few, about where they lie."""
    of = kind()
    return (1 - of.up**2) / of.chance


def lift(part: np.ndarray | float, of: Kind | None = None) -> np.ndarray:
    """How much higher than most futures the few lie, in sds."""
    of = of or kind()
    return of.up * np.sqrt(np.clip(part, 0.0, MOST) / of.chance)


def lean(part: np.ndarray | float, of: Kind | None = None) -> np.ndarray:
    """How much higher than most futures the middle of all lies, in sds."""
    return _looked_up(part, of or kind(), _middles)


def below(x: np.ndarray, part: np.ndarray | float = 0.0, of: Kind | None = None) -> np.ndarray:
    """P(X ≤ x) of x in sds from the middle."""
    return _from_most(x + lean(part, of), part, of or kind())


def above(x: np.ndarray, part: np.ndarray | float = 0.0, of: Kind | None = None) -> np.ndarray:
    """P(X ≥ x)."""
    return 1 - below(x, part, of)


def place(p: np.ndarray, part: np.ndarray | float = 0.0, of: Kind | None = None) -> np.ndarray:
    """The x below which the share p of futures lies, in sds from the middle."""
    return _turned(p, part, of or kind()) - lean(part, of)


def ends(level: float, part: np.ndarray | float = 0.0, of: Kind | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(low, high) of the central interval that holds ``level`` of the futures, in sds from the middle; from a table, exact to 1e-4."""
    of = of or kind()
    return tuple(_looked_up(part, of, lambda one, side=side: _table(level, one)[side]) for side in (0, 1))


def half(level: float, part: np.ndarray | float = 0.0) -> np.ndarray:
    """Half the width of that interval, for words that say ±."""
    low, high = ends(level, part)
    return (high - low) / 2


def thinned(part: np.ndarray | float, sd: np.ndarray, wider_sd: np.ndarray) -> np.ndarray:
    """The part once the sd is another one for something that is not rare (a round's own error, a visit less): r·sd²/other²."""
    return np.minimum(part * np.square(sd / np.maximum(wider_sd, 1e-9)), MOST)


def _from_most(x: np.ndarray, part: np.ndarray | float, of: Kind) -> np.ndarray:
    from scipy.special import ndtr

    if not np.any(part):
        return ndtr(x)
    usual, wide = widths(part, of)
    return (1 - of.chance) * ndtr(x / usual) + of.chance * ndtr((x - lift(part, of)) / wide)


def _turned(p: np.ndarray | float, part: np.ndarray | float, of: Kind) -> np.ndarray:
    """``_from_most`` turned round by halving."""
    p, part = np.broadcast_arrays(np.asarray(p, float), np.asarray(part, float))
    low, high = np.full(p.shape, -FARTHEST), np.full(p.shape, FARTHEST)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        under = _from_most(middle, part, of) < p
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    return (low + high) / 2


def _looked_up(part: np.ndarray | float, of: Kind, table: Callable[[Kind], np.ndarray]) -> np.ndarray:
    """From the table over ``PLACES`` of each kind there is: a record has words of two or three kinds, and asks for them hundreds of times."""
    if not np.ndim(of.chance) and not np.ndim(of.up):
        return np.interp(part, PLACES, table(Kind(float(of.chance), float(of.up))))
    part, often, up = np.broadcast_arrays(np.asarray(part, float), of.chance, of.up)
    out = np.empty(part.shape)
    for pair in {*zip(often.ravel().tolist(), up.ravel().tolist())}:
        at = (often == pair[0]) & (up == pair[1])
        out[at] = np.interp(part[at], PLACES, table(Kind(*pair)))
    return out


@lru_cache(maxsize=8)
def _middles(of: Kind) -> np.ndarray:
    return _turned(0.5, PLACES, of)


@lru_cache(maxsize=16)
def _table(level: float, of: Kind) -> tuple[np.ndarray, np.ndarray]:
    return place((1 - level) / 2, PLACES, of), place((1 + level) / 2, PLACES, of)
