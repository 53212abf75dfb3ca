"""Why a plot bears its condition word, and what would change it: the rule of :func:`readiness.condition` told with the plot's own numbers.

Nothing is judged again here: the words come from the stored arrays, and what lacks comes from the same ripe share.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..sentences import Sentence
from . import constants as k
from . import picked, rare
from .readiness import CONDITIONS, Limits

YOUNG, FILLING, NEAR, RIPE, PASSING = range(5)
HARDLY_ANY = 0.005
FAR_DEG = 12.0
"""No mean is sought further off than this, °Bx."""
OPEN_FROM, OPEN_TO = 0.20, 0.80
"""Between these chances of being ripe enough nobody would bet on the word: one in five of them, or more, is another one."""


def reason(condition: int, share: float, keep: float, age_months: float, limits: Limits) -> Sentence:
    """The clause of the rule that gave today's word, with the numbers it compared (months count the plot's pace)."""
    numbers = {"share": _aside(share, limits), "near": limits.near_share, "ripe": limits.ripe_share_to_cut, "loss": 1.0 - float(keep), "limit": limits.loss_limit,
               "months": max(float(age_months), 0.0), "young": limits.young_age_months, "peak": limits.peak_age_months, "stirring": float(k.STIRRING_SHARE), "rate": limits.loss_per_month}
    code = CONDITIONS[condition]
    if condition == FILLING and age_months < limits.young_age_months:
        code = "E_early"
    return Sentence(f"ripeness.turn.{code}", numbers)


def _aside(share: float, limits: Limits) -> float:
    """The share as a sentence tells it, to a tenth of a per cent: cut off, not rounded, where rounding would carry it across a threshold (49.96 % is 49.9 %)."""
    share = float(share)
    crosses = any((round(share, 3) >= limit) != (share >= limit) for limit in (limits.near_share, limits.ripe_share_to_cut, float(k.STIRRING_SHARE)))
    return (np.floor if round(share, 3) > share else np.ceil)(share * 1000).item() / 1000 if crosses else share


def lacking_deg(mean: float, sd: float, plant_sd: float, residuals: np.ndarray, limits: Limits, wanted: float, taken: float = 0.0, ready: float = 0.0) -> float | None:
    """By how much the plot's mean would have to differ today for the ripe share to be ``wanted``, °Bx; None beyond 12."""
    def over(by: float) -> float:
        one = (np.full((1, 1), value) for value in (mean + by, sd, plant_sd))
        return float(picked.share_of_standing(*one, residuals, limits.target_brix_deg, np.full((1, 1), taken), np.full((1, 1), ready))[0][0, 0]) - wanted

    low, high = -FAR_DEG, FAR_DEG
    if over(low) > 0 or over(high) < 0:
        return None
    while high - low > 0.001:
        middle = (low + high) / 2
        low, high = (middle, high) if over(middle) < 0 else (low, middle)
    return (low + high) / 2


def chance_ripe_enough(lacking: float | None, share: float, sd: float, rare_part: float, limits: Limits) -> float:
    """How likely the ripe share reaches what one cuts from, 0…1: how likely the plot's mean is at least ``lacking`` °Bx above its middle (None: farther off than is sought)."""
    if lacking is None:
        return float(share >= limits.ripe_share_to_cut)
    return float(rare.above(np.array(lacking / max(sd, 1e-6)), np.array(rare_part)))


def hangs(condition: int, chance: float) -> bool:
    """Whether it is open if a plot is ripe: its word hangs on less than what is not known of its mean. What is past its limit is told by its age, not by its sugar."""
    return condition < PASSING and OPEN_FROM <= chance <= OPEN_TO


def margin(condition: int, lacking: dict[int, float | None]) -> list[Sentence]:
    """How far today's mean stands from the neighbouring words: ``lacking`` holds °Bx by condition (near, ripe)."""
    out = []
    for other in (NEAR, RIPE):
        by = lacking.get(other)
        if by is None or condition == PASSING:
            continue
        if condition < other == condition + 1 or condition == YOUNG and other == NEAR:
            out.append(Sentence("ripeness.turn.short", {"by_deg": by, "word": _word(other)}))
        elif condition == other:
            out.append(Sentence("ripeness.turn.spare", {"by_deg": -by, "word": _word(other)}))
    return out


def turns(conditions: np.ndarray, share: np.ndarray, keep: np.ndarray, weeks: list[str]) -> list[dict[str, Any]]:
    """Every week in which the word becomes another: {week, condition, share, loss}."""
    at = np.flatnonzero(np.diff(conditions)) + 1
    return [{"week": weeks[i], "condition": int(conditions[i]), "share": float(share[i]), "loss": 1.0 - float(keep[i])} for i in at]


def ahead(condition: int, found: list[dict[str, Any]], share: np.ndarray, weeks: list[str], limits: Limits) -> list[Sentence]:
    """What the word becomes, and when; with no change, the most that the share reaches within the horizon."""
    if not found:
        if condition == PASSING:
            return [Sentence("ripeness.turn.stays_passing", {"rate": limits.loss_per_month})]
        top = int(np.argmax(share))
        if share[top] < HARDLY_ANY:
            return [Sentence("ripeness.turn.stays_none", {"word": _word(condition), "last": weeks[-1]})]
        return [Sentence("ripeness.turn.stays", {"word": _word(condition), "last": weeks[-1], "top": _aside(share[top], limits), "week": weeks[top]})]
    out, before = [], condition
    for turn in found[:4]:
        there = turn["condition"]
        if there == PASSING:
            out.append(Sentence("ripeness.turn.to_passing", {"week": turn["week"], "word": _word(there), "loss": turn["loss"], "limit": limits.loss_limit}))
        elif there == FILLING and before == YOUNG and turn["share"] < float(k.STIRRING_SHARE):
            out.append(Sentence("ripeness.turn.to_filling", {"week": turn["week"], "word": _word(there), "young": limits.young_age_months}))
        else:
            up = there > before
            rises = {RIPE: limits.ripe_share_to_cut, NEAR: limits.near_share, FILLING: float(k.STIRRING_SHARE)}
            falls = {NEAR: limits.ripe_share_to_cut, FILLING: limits.near_share, YOUNG: float(k.STIRRING_SHARE)}
            limit = rises[there] if up else falls[there]
            out.append(Sentence("ripeness.turn.up" if up else "ripeness.turn.down", {"week": turn["week"], "word": _word(there), "share": _aside(turn["share"], limits), "limit": limit}))
        before = there
    return out


def _word(condition: int) -> Sentence:
    return Sentence(f"condition.{CONDITIONS[condition]}.named", {})
