"""How people decide today, weighed in the same futures as the plan, and how any plan is summed up.

A rule is followed every season, as its follower would; the cutting in each future is the best there is,
so a rule is only ever blamed for its hectares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import scenario
from .futures import Futures
from .planting import TYPICAL_CUT_AGE, Flows, Layout, Terms, first_stage, flows

SHORT_BY, GLUT_BY = 0.10, 0.15   # a year is short, or in glut, past these shares of its need
RULES = ("same", "plus_five", "mean_need")


@dataclass(frozen=True)
class Summary:
    """A plan in the futures: hectares by season, mean value (MXN), chance that some touched year is short or in glut,
    share of the touched years' need that goes unmet, mean tonnes bought a year, and the flows behind them."""

    name: str
    hectares: np.ndarray
    value_mxn: float
    short_chance: float
    glut_chance: float
    unmet_share: float
    bought_t_year: float
    flows: Flows


def touched(f: Futures) -> np.ndarray:
    """Indices of the years in which what is planted next season can be cut."""
    ages = np.flatnonzero(f.curve.open & (f.curve.ripe.mean(axis=0) >= 0.10))
    return np.array([t for t in f.first + ages if t < len(f.years)], int)


def sum_up(name: str, f: Futures, terms: Terms, lay: Layout, found: scenario.Result) -> Summary:
    got = flows(f, terms, lay, found)
    years = touched(f)
    need = np.maximum(f.need_t[:, years], 1e-9)
    short = got.short_t[:, years] / need > SHORT_BY
    glut = (got.surplus_t[:, years] + got.lost_t[:, years]) / need > GLUT_BY
    hectares = np.maximum(found.x[:lay.seasons], 0.0) + 0.0  # no minus zero on a page
    return Summary(name, hectares, float(got.value_mxn.mean()), float(short.any(axis=1).mean()), float(glut.any(axis=1).mean()),
                   float(got.short_t[:, years].sum() / need.sum()), float(got.bought_t[:, years].mean()), got)


def hectares_by(rule: str, f: Futures, last_year_ha: float, land_limit_ha: float) -> np.ndarray:
    """Hectares by season [N] as a rule's follower would plant them."""
    seasons = len(f.years) - f.first
    if rule == "same":
        planned = np.full(seasons, last_year_ha)
    elif rule == "plus_five":
        planned = last_year_ha * 1.05 ** (np.arange(seasons) + 1)
    elif rule == "mean_need":
        rate = f.need_t.mean(axis=0) / f.length
        at = np.minimum(f.first + np.arange(seasons) + TYPICAL_CUT_AGE, len(f.years) - 1)
        planned = rate[at] / f.curve.standard_t_ha[:, TYPICAL_CUT_AGE].mean()
    else:
        raise ValueError(f"no rule {rule!r}; there are {RULES}")
    return np.minimum(planned, land_limit_ha)


def follow(rule: str, built: scenario.TwoStage, lay: Layout, f: Futures, terms: Terms, last_year_ha: float) -> Summary:
    """A rule's hectares with the best cutting in each future."""
    hectares = hectares_by(rule, f, last_year_ha, terms.land_limit_ha)
    return sum_up(rule, f, terms, lay, scenario.at(built, first_stage(hectares)))


def flat_range(built: scenario.TwoStage, solved: scenario.Repeated, tolerance: float, land_limit_ha: float, solves: int = 6) -> tuple[float, float]:
    """Hectares of the first season between which the expected cost rises by less than ``tolerance`` (millions).

    The later seasons are free to answer. The cost is convex in the first season's hectares; near its
    least the rise goes about with the square of the distance, which gives the next guess. Each end
    returned was solved and found inside the tolerance, so the range is rather too narrow than too wide.
    """
    best = solved.best
    centre = float(best.x[0])

    def rise(hectares: float) -> float:
        low, high = built.low.copy(), built.high.copy()
        low[0] = high[0] = hectares
        return solved.again(scenario.replace(built, low=low, high=high)).cost - best.cost

    def end(limit: float) -> float:
        inside, outside = centre, None
        guess = centre + np.sign(limit - centre) * min(max(10.0, 0.25 * centre), abs(limit - centre))
        for _ in range(solves):
            if abs(guess - inside) < 1.0:
                break
            lost = rise(guess)
            if lost <= tolerance:
                inside = guess
                if lost > 0.6 * tolerance or inside == limit:
                    break
            else:
                outside = guess
            reach = min(np.sqrt(0.85 * tolerance / max(lost, 1e-9)), 2.5) * abs(guess - centre)
            guess = centre + np.sign(limit - centre) * min(reach, abs(limit - centre))
            if outside is not None and not abs(inside - centre) < abs(guess - centre) < abs(outside - centre):
                guess = 0.5 * (inside + outside)
        return float(inside)

    return end(0.0), end(land_limit_ha)
