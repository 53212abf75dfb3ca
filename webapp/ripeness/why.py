"""Why a plot's answer is what it is, as sentences with numbers that move with the data."""

from __future__ import annotations

from datetime import date

import numpy as np

from ..sentences import Sentence
from . import readiness, turning
from .readiness import Limits

PACE_TOLD_MONTHS = 1.0


def borrowed(prior_var: np.ndarray, var: np.ndarray) -> np.ndarray:
    """Share of today's answer that comes from other plots and prior knowledge: var after over var before own visits."""
    return np.clip(var / np.maximum(prior_var, 1e-9), 0.0, 1.0)


def sentences(visits: int, doubted: int, plants_last: int, last: date | None, today: date, pace_months: float, borrowed_share: float, zone: str, age_how: str, season_now_deg: float,
              season_high_deg: float, extrapolated: bool, age_read_months: float | None = None, measured: bool = True) -> list[Sentence]:
    """In reading order: visits, pace, season, borrowed, age, extrapolation. ``visits`` count, ``doubted`` do not until somebody looks at them; ``measured``: some visit of the estate counts."""
    out = []
    if visits and last:
        out.append(Sentence("ripeness.why.visits", {"n": visits, "days": (today - last).days, "plants": plants_last}))
        out += [Sentence("ripeness.why.some_doubted", {"n": doubted})] if doubted else []
    elif doubted:
        out.append(Sentence("ripeness.why.doubted", {"n": doubted}))
    else:
        out.append(Sentence("ripeness.why.never" if measured else "ripeness.why.supposed", {}))
    if visits and age_read_months is not None:  # the age itself is in doubt: pace and age cannot be told apart
        out.append(Sentence("ripeness.why.age_read", {"n": max(round(age_read_months), 0)}))
    elif visits and abs(pace_months) >= PACE_TOLD_MONTHS:
        out.append(Sentence("ripeness.why.ahead" if pace_months > 0 else "ripeness.why.behind", {"n": round(abs(pace_months)), "zone": zone or "–"}))
    elif visits:
        out.append(Sentence("ripeness.why.in_step", {"zone": zone or "–"}))
    out.append(Sentence("ripeness.why.season", {"now_deg": season_now_deg, "high_deg": season_high_deg}))
    out.append(Sentence("ripeness.why.own", {"own": 1 - borrowed_share}))
    if age_how != "dated":
        out.append(Sentence(f"ripeness.why.age_{age_how}", {}))
    if extrapolated and measured:  # where nobody has sampled there is nothing to lie beyond
        out.append(Sentence("ripeness.why.extrapolated", {}))
    return out


def reason(condition: int, share: float, keep: float, age_months: float, limits: Limits, visits: int, planted_months: float) -> Sentence:
    """Why today's word: the rule with the numbers it compared. A young plot that nobody has read goes by its planting alone: the pace of its
    zone was learned on older plots, and taken off a few months it leaves fewer than none. What nobody has read is expected, not so."""
    name = readiness.WORDS[int(readiness.words_of(np.array(condition), np.array(visits > 0)))]
    if name not in readiness.CONDITIONS:
        return Sentence(f"ripeness.why.{name}", {"share": float(share), "near": limits.near_share, "ripe": limits.ripe_share_to_cut, "loss": 1.0 - float(keep), "limit": limits.loss_limit})
    if condition == turning.YOUNG and not visits and planted_months < limits.young_age_months:
        return Sentence("ripeness.why.young_unread", {"n": max(round(planted_months), 0), "young": limits.young_age_months})
    return turning.reason(condition, share, keep, age_months, limits)


def maybe(condition: int, visits: int, measured: bool, doubted: int = 0) -> Sentence | None:
    """What a word of a plot without a visit that counts rests on; None for one that needs no *maybe*."""
    if int(readiness.words_of(np.array(condition), np.array(visits > 0))) == condition:
        return None
    if doubted:
        return Sentence("ripeness.why.maybe_doubted", {"n": doubted})
    return Sentence("ripeness.why.maybe" if measured else "ripeness.why.maybe_supposed", {})


def window(kind: str | None, weeks: list[str | None] | None, this_week: str, limits: Limits) -> Sentence | None:
    """What a window is that is no time to cut in by the definition; None for others (and for answers stored before they told it)."""
    if kind != readiness.UNRIPE or not weeks:
        return None
    return Sentence("ripeness.why.unripe_now" if weeks[0] == this_week else "ripeness.why.unripe", {"week": weeks[0], "limit": limits.loss_limit})


def window_short(kind: str | None, weeks: list[str | None] | None, this_week: str) -> Sentence | None:
    """The same in a cell of a list: over, over without having been ripe, or losing before it is ripe; None where the two weeks say it all."""
    if not weeks:
        return None
    if kind == readiness.UNRIPE:
        return Sentence("ripeness.window.unripe_now" if weeks[0] == this_week else "ripeness.window.unripe", {"week": weeks[0]})
    return Sentence("ripeness.thin.window_past", {}) if kind == readiness.PAST else None
