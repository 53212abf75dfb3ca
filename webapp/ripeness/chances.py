"""Whether plots turned out ripe as often as was said: chance ripe in tenths against the share that were.

Ripe is what it is everywhere: the plot's mean at or above the target. That mean is never seen, only read by a round, with an
error. So what is counted is rounds that read at or above the target; that share is then told as a share of plots by moving
the forecasts of the tenth all by as many °Bx as make them expect just so many such rounds. Where rounds are exact both
shares are the same; otherwise rounds alone would show even perfect chances as too sure. Of a plot cleared before a round could
tell, the laboratory's sugar of what was cut is read in its place, with its own, larger error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import rare
from .readiness import Z95
from .track import HORIZONS_WEEKS, LEAST_CALIBRATION, Pairs

TENTHS = 10
LEAST_TENTH = 5
"""Fewer pairs in a tenth are counted and not drawn. Common practice."""
MOST_MOVED_DEG = 60.0


@dataclass(frozen=True)
class Chances:
    """``pairs`` of rounds foretold and seen; [N] sd of the plot's mean alone and the target its chance spoke of, °Bx; whether what was
    seen is not a round but the sugar of the plot's clearing."""

    pairs: Pairs
    own_sd: np.ndarray
    target: np.ndarray
    by_cut: np.ndarray

    def at(self, where: np.ndarray) -> "Chances":
        return Chances(self.pairs.at(where), self.own_sd[where], self.target[where], self.by_cut[where])

    def ripe(self, moved_deg: float = 0.0) -> np.ndarray:
        """[N] chance ripe as said, on the day of the round (all forecasts moved by so many °Bx)."""
        p = self.pairs
        return rare.above((self.target - p.mean - moved_deg) / np.maximum(self.own_sd, 1e-9), rare.thinned(p.rare_part, p.sd, self.own_sd), p.kind)

    def read(self, moved_deg: float = 0.0) -> np.ndarray:
        """[N] chance that the round reads at or above the target: the same with the round's own error."""
        p = self.pairs
        return rare.above((self.target - p.mean - moved_deg) / np.maximum(p.sd, 1e-9), p.rare_part, p.kind)

    @property
    def hits(self) -> np.ndarray:
        """[N] whether the round read at or above the target."""
        return self.pairs.seen >= self.target

    def of_plots(self, share_of_rounds: float) -> float:
        """The share of plots ripe when such a share of their rounds reads at or above the target."""
        from scipy.optimize import brentq

        off = lambda moved: float(self.read(moved).mean()) - share_of_rounds  # noqa: E731
        if share_of_rounds <= 0 or off(-MOST_MOVED_DEG) >= 0:
            return 0.0
        if share_of_rounds >= 1 or off(MOST_MOVED_DEG) <= 0:
            return 1.0
        return float(self.ripe(brentq(off, -MOST_MOVED_DEG, MOST_MOVED_DEG, xtol=1e-6)).mean())


def joined(a: Chances, b: Chances | None) -> Chances:
    """Both together (plain rules are left behind)."""
    if b is None or not len(b.pairs):
        return a
    one = {name: np.concatenate([getattr(a.pairs, name), getattr(b.pairs, name)]) for name in ("plot", "on_day", "day", "weeks", "mean", "sd", "seen", "replayed")}
    part, often, up = (np.concatenate([np.broadcast_to(of(c.pairs), len(c.pairs)) for c in (a, b)]) for of in (lambda p: p.rare_part, lambda p: p.kind.chance, lambda p: p.kind.up))
    return Chances(Pairs(**one, rare_part=part, kind=rare.Kind(often, up)), *(np.concatenate([getattr(a, name), getattr(b, name)]) for name in ("own_sd", "target", "by_cut")))


def wilson(share: float, n: float, z: float = Z95) -> tuple[float, float]:
    """The score interval of a binomial share (Wilson 1927, JASA 22:209–212); ``n`` may be a worth in pairs. (0, 1) with none."""
    if n <= 0:
        return 0.0, 1.0
    middle, half = share + z**2 / (2 * n), z * np.sqrt(share * (1 - share) / n + z**2 / (4 * n**2))
    low, high = (middle - half) / (1 + z**2 / n), (middle + half) / (1 + z**2 / n)
    return max(float(low), 0.0) if share > 0 else 0.0, min(float(high), 1.0) if share < 1 else 1.0


def tenth(chance: np.ndarray) -> np.ndarray:
    """[N] 0…9."""
    return np.minimum((np.asarray(chance) * TENTHS).astype(int), TENTHS - 1)


def alike(c: Chances) -> float:
    """How much pairs said on one day share their luck, 0…1 (correlation within days, by moments, about each tenth's own mean)."""
    p, where = c.read(), tenth(c.ripe())
    var = p * (1 - p)
    off = c.hits - p
    count = np.bincount(where, minlength=TENTHS)
    off = off - (np.bincount(where, off, TENTHS) / np.maximum(count, 1))[where]  # a bias of a tenth is what is looked for, not luck of a day
    _, day = np.unique(c.pairs.on_day, return_inverse=True)
    days = int(day.max(initial=-1)) + 1
    if days < 2:
        return 0.0
    squares = float((np.bincount(day, off) ** 2).sum()) * days / (days - 1)
    pairs = float((np.bincount(day, np.sqrt(var)) ** 2).sum() - var.sum())
    return float(np.clip((squares - var.sum()) / pairs, 0.0, 1.0)) if pairs > 0 else 0.0


def worth(c: Chances, rho: float) -> float:
    """How many independent rounds these pairs are worth: a round counts once, and those of one day count for less (Kish 1965, 1 + (b − 1)ρ)."""
    rounds = len(set(zip(c.pairs.plot, c.pairs.day)))
    if not rounds:
        return 0.0
    size = np.unique(c.pairs.on_day, return_counts=True)[1].astype(float)
    return rounds / (1 + max(float((size**2).sum() / size.sum()) - 1, 0.0) * rho)


def told(c: Chances, rho: float) -> dict:
    """Of some pairs: n, rounds at or above the target, mean chance said, share ripe with its 95 % interval, and whether that holds what was said."""
    n = len(c.pairs)
    out: dict = {"n": n, "at_target": int(c.hits.sum()), "enough": n >= LEAST_TENTH}
    if not n:
        return out
    said, share, rounds = float(c.ripe().mean()), float(c.hits.mean()), worth(c, rho)
    low, high = (c.of_plots(value) for value in wilson(share, rounds))
    return out | {"said": said, "expected_at_target": float(c.read().sum()), "share": c.of_plots(share), "low": low, "high": high, "n_effective": rounds, "held": low <= said <= high}


def judge(c: Chances) -> dict:
    """Tenths of the chance said, horizons, and all together. ``enough`` False: only counted."""
    p, rho, where = c.pairs, alike(c), tenth(c.ripe())
    tenths = [{"from": t / TENTHS, "to": (t + 1) / TENTHS, **told(c.at(where == t), rho)} for t in range(TENTHS)]
    judged = [row for row in tenths if row["enough"]]
    return {"n": len(p), "needed": LEAST_CALIBRATION, "enough": len(p) >= LEAST_CALIBRATION, "least_tenth": LEAST_TENTH, "days": len(np.unique(p.on_day)), "plots": len(set(p.plot)), "n_replayed": int(p.replayed.sum()),
            "rounds": len(set(zip(p.plot, p.day))), "by_cut": int(c.by_cut.sum()), "alike": rho, "round_sd_deg": float(np.median(np.sqrt(np.maximum(p.sd**2 - c.own_sd**2, 0.0)))) if len(p) else None, "targets_deg": sorted({round(float(v), 1) for v in c.target}),
            "tenths": tenths, "all": told(c, rho), "by_weeks": {str(w): told(c.at(p.weeks == w), rho) for w in HORIZONS_WEEKS}, "judged": len(judged), "held": sum(row["held"] for row in judged), "shape": _shape(judged)}


def _shape(judged: list[dict]) -> str:
    """In one word: ``even``, ``luck`` (no more outside than chance puts there), or where tenths lie outside: ``sure`` (high ones came too seldom and low ones too often), ``shy``, ``high`` (came less than said), ``low``."""
    from scipy.special import bdtrc

    off = [(row["said"] >= 0.5, row["said"] > row["high"]) for row in judged if not row["held"]]
    if not off:
        return "even"
    if float(bdtrc(len(off) - 1, len(judged), 0.05)) >= 0.05:
        return "luck"
    less = {upper for upper, over in off if over}
    more = {upper for upper, over in off if not over}
    if less and more:
        return "sure" if less == {True} and more == {False} else "shy" if less == {False} and more == {True} else "mixed"
    return "high" if less else "low"
