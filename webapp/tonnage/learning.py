"""What was said of a plot's piñas before its loads, what came over the scale, and what is said now: the bias found, and whether it is gone.

Loads are data of the one fit (``weighed``), so a bias they show is taken out there and nowhere else: nothing found here is
applied to any forecast. "Said before" is the same fit with only the records of before the spell of cutting began (its
standard deviations are those of today); "now" is the fit with all of them, asked about the same days and the same way of cutting.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .pina import Growth
from .weighed import LOAD, Equations, Sds

SPELL_YEARS = 60 / 365.25
"""Loads of a plot further apart than this are two spells of cutting."""
STEP_YEARS = 28 / 365.25
"""Forecasts are made anew every four weeks: what was said is at most so much older than the first load."""
LATELY_YEARS = 1.0
SURE = 1.2815515655446004


@dataclass(frozen=True)
class Spell:
    """One spell of loads of a plot, log kg per plant: ``said`` before with the ``said_sd`` of what would come, ``came``, ``now`` with its sd;
    ``years`` from today when it began, ``step`` the forecast it was held against, ``seen_before`` observations that forecast rested on."""

    plot: int
    years: float
    step: int
    loads: int
    seen_before: int
    said: float
    said_sd: float
    came: float
    now: float
    now_sd: float


@dataclass(frozen=True)
class Bias:
    """Forecast over outcome less one, as a share, with its 80 % interval, over ``n`` spells."""

    n: int
    share: float
    low: float
    high: float

    def as_dict(self) -> dict:
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def spells(equations: Equations, sds: Sds, final: Growth) -> list[Spell]:
    """Every spell of cutting against the forecast of before it, in order of time."""
    s, found = equations.seen, []
    loads = np.flatnonzero(s.source == LOAD)
    groups: list[np.ndarray] = []
    for plot in np.unique(s.plot[loads]):
        mine = loads[s.plot[loads] == plot]
        groups += np.split(mine, np.flatnonzero(np.diff(s.when[mine]) > SPELL_YEARS) + 1)
    groups.sort(key=lambda at: (s.when[at[0]], s.plot[at[0]]))
    told: dict[int, tuple[Growth, int]] = {}
    for at in groups:
        plot, first = int(s.plot[at[0]]), float(s.when[at[0]])
        step = int(np.floor(first / STEP_YEARS))
        if step not in told:
            before = equations.only(s.when < step * STEP_YEARS - 1e-9)
            told[step] = before.growth(sds, final.extra), len(before.y)
        weight = 1 / (s.var[at] + sds.load**2)
        row, usual = np.average(equations.X[at], axis=0, weights=weight), float(np.average(s.log_kg[at] - equations.y[at], weights=weight))
        said, said_var = _of(told[step][0], plot, row)
        now, now_var = _of(final, plot, row)
        found.append(Spell(plot, first, step, len(at), told[step][1], usual + said, float(np.sqrt(said_var + sds.unlike**2 + 1 / weight.sum())), float(np.average(s.log_kg[at], weights=weight)),
                           usual + now, float(np.sqrt(now_var))))
    return found


def _of(g: Growth, plot: int, row: np.ndarray) -> tuple[float, float]:
    """(log of the mean piña over the default curve, variance) of one plot at one row of the growth model."""
    shared = row + g.lean[plot]
    return float(row @ g.theta + g.effect[plot]), float(shared @ g.cov @ shared + g.effect_sd[plot] ** 2)


def bias(found: list[Spell], of_now: bool = False) -> Bias | None:
    """The mean of forecast over outcome of some spells: of what was said before them, or of what is said now.

    Spells held against one forecast err together, so the standard error is that of the forecasts' means where there are three or
    more, and what the model says of itself otherwise.
    """
    if not found:
        return None
    off = np.array([(s.now if of_now else s.said) - s.came for s in found])
    steps = np.array([s.step for s in found])
    each = np.unique(steps)
    middle = float(off.mean())
    if len(each) > 2:
        sums = np.array([(off[steps == step] - middle).sum() for step in each])
        se = float(np.sqrt((sums**2).sum() * len(each) / (len(each) - 1)) / len(off))
    else:
        se = float(np.sqrt(np.mean([(s.now_sd if of_now else s.said_sd) ** 2 for s in found])))
    return Bias(len(off), float(np.expm1(middle)), float(np.expm1(middle - SURE * se)), float(np.expm1(middle + SURE * se)))


def by_step(found: list[Spell], step_years: float = 0.25) -> list[dict]:
    """Bias of what was said before, by quarter of a year back from today: a model that learns comes down to nothing."""
    out = []
    for quarter in sorted({int(np.floor(s.years / step_years)) for s in found}):
        mine = bias([s for s in found if int(np.floor(s.years / step_years)) == quarter])
        if mine:
            out.append({"quarters_ago": -quarter, **mine.as_dict()})
    return out


def lately(found: list[Spell]) -> list[Spell]:
    return [s for s in found if s.years >= -LATELY_YEARS]


PRIOR_SPELLS, MOST = 30.0, 2.0


def widening(found: list[Spell]) -> float:
    """By how much past errors say the intervals of piñas must be wider (a factor of the sd, never below one).

    From the squared errors of what was said before each spell over their stated variance, each at most nine, beside thirty that
    would be as stated.
    """
    z2 = sum(min(((s.came - s.said) / s.said_sd) ** 2, 9.0) for s in found)
    return float(np.sqrt(np.clip((z2 + PRIOR_SPELLS) / (len(found) + PRIOR_SPELLS), 1.0, MOST)))


def a_year_ago(equations: Equations, sds: Sds, final: Growth) -> Growth:
    """The growth as the records of a year ago alone tell it."""
    return equations.only(equations.seen.when < -LATELY_YEARS).growth(sds, final.extra)
