"""What was said held against what came: pairs, coverage with its own uncertainty, calibration, scores against plain rules.

A pair is one forecast and the outcome nearest to the week it spoke of; an outcome counts once for each horizon. Pairs of
one day share the same fit and the same weather, so every uncertainty here is the wider of two: as if pairs were
independent, and between the days (linearised ratio; Korn & Graubard 1998, Survey Methodology 24:193, for shares).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from . import rare, scores
from .readiness import Z80

HORIZONS_WEEKS = (4, 12, 26)
WINDOW_DAYS = 21
"""How far from the week spoken of an outcome may lie (the forecast is moved to its day by the pace it was said with)."""
LEAST_PAIRS = 30
"""From here on a share of 80 % is known to about ±14 points (binomial, 95 %); fewer pairs are counted, not scored. Common practice."""
LEAST_CALIBRATION = 50
"""Five bars with ten pairs expected in each."""
LEAST_DAYS = 3
"""With fewer days of forecasts one good or bad season decides everything: said so beside the figures."""
WORST_LEAST = 2


@dataclass(frozen=True)
class Pairs:
    """[N] plot code, forecast's and outcome's day (ordinals), horizon in weeks, forecast mean and sd of what was to be seen (the
    outcome's own noise in it), what was seen, whether made afterwards; ``rules`` name → (mean, sd) of plain rules; ``rare_part`` of the variance and of which
    ``kind`` it was (``rare``; numbers for all alike)."""

    plot: np.ndarray
    on_day: np.ndarray
    day: np.ndarray
    weeks: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    seen: np.ndarray
    replayed: np.ndarray
    rules: dict[str, tuple[np.ndarray, np.ndarray]] = field(default_factory=dict)
    rare_part: np.ndarray | float = 0.0
    kind: rare.Kind = field(default_factory=rare.kind)

    def __len__(self) -> int:
        return len(self.plot)

    def at(self, where: np.ndarray) -> "Pairs":
        """Only some of them (a mask or places)."""
        own = {name: getattr(self, name)[where] for name in ("plot", "on_day", "day", "weeks", "mean", "sd", "seen", "replayed")}
        return Pairs(**own, rules={name: (m[where], s[where]) for name, (m, s) in self.rules.items()}, rare_part=self.rare_part[where] if isinstance(self.rare_part, np.ndarray) else self.rare_part, kind=self.kind.at(where))

    def ends(self, level: float = 0.8) -> tuple[np.ndarray, np.ndarray]:
        """(low, high) [N] of the central interval of a level."""
        return tuple(self.mean + side * self.sd for side in rare.ends(level, self.rare_part, self.kind))

    def inside(self, level: float = 0.8) -> np.ndarray:
        """[N] whether what came lay in it."""
        low, high = self.ends(level)
        return (low <= self.seen) & (self.seen <= high)


def match(said: pd.DataFrame, came: pd.DataFrame) -> pd.DataFrame:
    """One row a pair. ``said``: plot, on_day, target (ordinals), weeks, and more; ``came``: plot, day (ordinal), and more.

    Each outcome takes, horizon by horizon, the forecast whose week lies nearest; each forecast keeps its nearest outcome.
    """
    said, came = (frame.assign(plot=frame["plot"].astype(object)) for frame in (said, came))
    parts = []
    for weeks in HORIZONS_WEEKS:
        ours = said[said["weeks"] == weeks].sort_values(["target", "plot"])
        theirs = came.sort_values(["day", "plot"])
        if not len(ours) or not len(theirs):
            continue
        found = pd.merge_asof(theirs, ours, left_on="day", right_on="target", by="plot", direction="nearest", tolerance=WINDOW_DAYS)
        found = found[found["on_day"].notna() & (found["day"] > found["on_day"])]
        found = found.assign(gap=(found["day"] - found["target"]).abs()).sort_values(["gap", "day"], kind="stable")
        parts.append(found.drop_duplicates(["plot", "on_day"]).sort_values(["on_day", "plot"]))
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=[*said.columns, *[c for c in came.columns if c not in said.columns], "gap"])


def mean_of(values: np.ndarray, day: np.ndarray) -> dict[str, float]:
    """{value, low, high}: a mean with its 95 % interval."""
    n, value = len(values), float(np.mean(values))
    half = _t(_freedom(day)) * np.sqrt(_variance(values - value, day)) if n > 1 else float("inf")
    return {"value": value, "low": value - half, "high": value + half}


def _variance(off: np.ndarray, day: np.ndarray) -> float:
    """Of a mean whose deviations are ``off``: the larger of independent pairs' and of days'."""
    n = len(off)
    alone = float((off**2).sum()) / (n * max(n - 1, 1))
    _, where = np.unique(day, return_inverse=True)
    days = int(where.max()) + 1
    if days < 2:
        return alone
    return max(alone, float((np.bincount(where, off) ** 2).sum()) / n**2 * days / (days - 1))


def _freedom(day: np.ndarray) -> int:
    days = len(np.unique(day))
    return days - 1 if days > 1 else max(len(day) - 1, 1)


def _t(freedom: int) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(max(freedom, 1), 0.975))


def share_of(hits: np.ndarray, day: np.ndarray) -> dict[str, float]:
    """{value, low, high, n_effective}: a share with its exact (Clopper–Pearson) 95 % interval on as many pairs as the days leave."""
    from scipy.special import betaincinv

    n, p = len(hits), float(np.mean(hits))
    worth = float(n)
    between = _variance(hits - p, day)
    if between > 0 and 0 < p < 1 and len(np.unique(day)) > 1:
        worth = min(n, p * (1 - p) / between * (_t(n - 1) / _t(_freedom(day))) ** 2)
    k = p * worth
    low = float(betaincinv(k, worth - k + 1, 0.025)) if k > 0 else 0.0
    high = float(betaincinv(k + 1, worth - k, 0.975)) if k < worth else 1.0
    return {"value": p, "low": low, "high": high, "n_effective": worth}


def latest(p: Pairs) -> dict | None:
    """The newest days of forecasts that have ``LEAST_PAIRS`` outcomes together, at 80 %, beside the days before them, spoken of as far ahead.

    ``kind``: ``narrow`` or ``wide`` when the period's own 95 % interval leaves 80 % out; ``fell`` or ``rose`` when it does not, but the
    difference to the days before leaves nought out (limits squared and added, Newcombe 1998, Statistics in Medicine 17:873, method 10, with
    the exact ones); ``same``. None while there is no period, or nothing before it.
    """
    days, outcomes = np.unique(p.on_day)[::-1], set()
    for first in days:
        mine = p.on_day == first
        outcomes |= set(zip(p.plot[mine], p.day[mine], p.seen[mine]))
        if len(outcomes) >= LEAST_PAIRS:
            break
    else:
        return None
    new, old = p.on_day >= first, (p.on_day < first) & np.isin(p.weeks, p.weeks[p.on_day >= first])
    if not old.any():
        return None
    inside = p.inside()
    now, before = share_of(inside[new], p.on_day[new]), share_of(inside[old], p.on_day[old])
    least, most = now["value"] - before["value"] - np.hypot(now["value"] - now["low"], before["high"] - before["value"]), now["value"] - before["value"] + np.hypot(now["high"] - now["value"], before["value"] - before["low"])
    kind = "narrow" if now["high"] < 0.8 else "wide" if now["low"] > 0.8 else "fell" if most < 0 else "rose" if least > 0 else "same"
    return {"kind": kind, "first": int(first), "last": int(days[0]), "days": int((days >= first).sum()), "n": int(new.sum()), "cover80": now, "before": before}


def ratio_of(ours: np.ndarray, theirs: np.ndarray, day: np.ndarray) -> dict[str, float]:
    """{value, low, high}: mean of ours over mean of theirs, 95 %; below 1 ours is the better."""
    value = float(ours.mean() / theirs.mean())
    half = _t(_freedom(day)) * np.sqrt(_variance((ours - value * theirs) / theirs.mean(), day))
    return {"value": value, "low": value - half, "high": value + half}


def judge(p: Pairs) -> dict:
    """What a set of pairs is worth. ``enough`` False: only counted. An outcome that was spoken of 4, 12 and 26 weeks ahead is three pairs and one outcome:
    ``outcomes`` decide what is enough. Units of ``seen`` but for shares and ratios."""
    outcomes = len(set(zip(p.plot, p.day, p.seen)))
    out: dict = {"n": len(p), "outcomes": outcomes, "days": len(np.unique(p.on_day)), "plots": len(set(p.plot)), "n_replayed": int(p.replayed.sum()), "needed": LEAST_PAIRS, "enough": outcomes >= LEAST_PAIRS}
    if not out["enough"]:
        return out
    ours = scores.crps_rare(p.mean, p.sd, p.rare_part, p.seen, p.kind)
    out |= {"cover80": share_of(p.inside(), p.on_day), "cover95": share_of(p.inside(0.95), p.on_day), "bias": mean_of(p.mean - p.seen, p.on_day),
            "crps": float(ours.mean()), "interval80": float(scores.interval_score(*p.ends(), p.seen, 0.2).mean()), "few_days": out["days"] < LEAST_DAYS, "rules": {}}
    for name, (mean, sd) in p.rules.items():
        theirs = scores.crps_normal(mean, sd, p.seen)
        out["rules"][name] = {"crps": float(theirs.mean()), "interval80": float(scores.interval_score(mean - Z80 * sd, mean + Z80 * sd, p.seen, 0.2).mean()), "ratio": ratio_of(ours, theirs, p.on_day),
                              "cover80": float((np.abs(p.seen - mean) <= Z80 * sd).mean())}
    return out


def places(p: Pairs) -> np.ndarray:
    """[N] where in its own forecast each outcome fell, 0…1 (probability integral transform); even when the forecasts are calibrated."""
    return rare.below((p.seen - p.mean) / p.sd, p.rare_part, p.kind)


def calibration(p: Pairs) -> dict | None:
    """Outcomes counted in bars of equal chance, and the range that chance alone leaves a bar (95 %, binomial); None when too few."""
    from scipy.special import bdtr

    if len(p) < LEAST_CALIBRATION:
        return None
    bars = 10 if len(p) >= 2 * LEAST_CALIBRATION else 5
    count = np.bincount(np.minimum((places(p) * bars).astype(int), bars - 1), minlength=bars)
    chance = bdtr(np.arange(len(p) + 1), len(p), 1 / bars)
    low, high = (float(np.searchsorted(chance, q)) for q in (0.025, 0.975))
    return {"bars": bars, "count": count.tolist(), "expected": len(p) / bars, "low": low, "high": high, "n": len(p), "shape": _shape(places(p), p.on_day)}


def _shape(u: np.ndarray, day: np.ndarray) -> str:
    """In one word: ``low`` (what came was mostly higher than said), ``high``, ``narrow``, ``wide`` or ``even``, when beyond chance."""
    middle, spread = mean_of(u, day), mean_of((u - 0.5) ** 2 - 1 / 12, day)
    if not middle["low"] <= 0.5 <= middle["high"]:
        return "low" if middle["value"] > 0.5 else "high"
    if not spread["low"] <= 0.0 <= spread["high"]:
        return "narrow" if spread["value"] > 0 else "wide"
    return "even"


def worst(p: Pairs, count: int = 8) -> list[dict]:
    """Plots whose outcomes leaned farthest from what was said: {plot, n, error (said less seen), z, last place in the pairs}."""
    if not len(p):
        return []
    codes, where = np.unique(p.plot.astype(str), return_inverse=True)
    n = np.bincount(where)
    error, lean = (np.bincount(where, value) for value in (p.mean - p.seen, (p.seen - p.mean) / p.sd))
    error, lean = error / n, lean / np.sqrt(n)
    order = [i for i in np.lexsort((np.arange(len(codes)), -np.abs(lean))) if n[i] >= WORST_LEAST][:count]
    return [{"plot": str(codes[i]), "n": int(n[i]), "error": float(error[i]), "z": float(lean[i]), "last": int(max(np.flatnonzero(where == i), key=lambda j: p.day[j]))} for i in order]
