"""How a plot's piñas go with its ripeness: the correlation of its mass effect with its level of °Brix and with its pace.

    δ_i = σ_δ (ρ_u u_i/σ_u + ρ_p p_i/σ_p) + rest,   Var rest = σ_δ²(1 − ρ_u² − ρ_p²)

A plot that runs ahead may be heavier too, one that dried out sweeter and lighter: neither sign has a published value, so both start at 0 with a
wide normal prior. Given a plot's visits, what its weighings and loads show of δ is normal with mean β′E(u, p) and variance β′Cov(u, p)β + rest +
their own error, so the likelihood is closed; the growth curve's coefficients are integrated out with it. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..ripeness.plot_effects import Effects
from ..tonnage.tied import Told, Weighed
from . import constants as k

STEPS, MOST = 25, 0.95
"""Values of each correlation tried, twice (the second time where the first left something likely); ρ_u² + ρ_p² stays below ``MOST``²."""
MOST_PLOTS = 1500
"""Of more plots that were both read and weighed, a fixed random sample of so many says what the correlation is."""


@dataclass(frozen=True)
class Tie:
    """Posterior of (ρ_u, ρ_p) on points [G, 2] with ``weight`` [G], each standing for a square of side ``step`` [2]; ``plots`` read and weighed that it rests on;
    ``share`` [2] how much of the plots' differences in °Brix today (sd) level and pace make, squares summing to 1."""

    points: np.ndarray
    weight: np.ndarray
    step: np.ndarray
    plots: int
    share: np.ndarray

    @property
    def mean(self) -> np.ndarray:
        return self.weight @ self.points

    @property
    def explained(self) -> float:
        """Mean share of the variance of piñas between plots that goes with their ripeness."""
        return float(self.weight @ (self.points**2).sum(axis=1))

    def draw(self, n: int, rng: np.random.Generator) -> np.ndarray:
        """[n, 2] values of (ρ_u, ρ_p)."""
        at = rng.choice(len(self.weight), n, p=self.weight)
        return self.points[at] + self.step * (rng.random((n, 2)) - 0.5)

    def interval(self, along: np.ndarray, level: float = 0.8) -> tuple[float, float, float]:
        """(mean, low, high) of a combination ``along`` [2] of the two."""
        value = self.points @ along
        within = float(np.abs(along) @ self.step) / 2 * np.linspace(-0.8, 0.8, 5)  # each point stands for its square
        every, weight = (value[:, None] + within).ravel(), np.repeat(self.weight / 5, 5)
        order = np.argsort(every, kind="stable")
        low, high = np.interp([(1 - level) / 2, (1 + level) / 2], np.cumsum(weight[order]) - weight[order] / 2, every[order])
        mean = float(self.weight @ value)
        return mean, min(float(low), mean), max(float(high), mean)


def unlearned(share: np.ndarray) -> Tie:
    """What is believed before any plot was both read and weighed."""
    points, step = _grid(np.zeros(2), np.full(2, MOST))
    weight = np.exp(_log_prior(points))
    return Tie(points, weight / weight.sum(), step, 0, share)


def learn(effects: Effects, weighed: Weighed | None) -> Tie:
    """From the plots that were read and weighed; ``weighed`` and ``effects`` of the same plots in the same order."""
    share = _share(effects)
    if weighed is None:
        return unlearned(share)
    both = np.flatnonzero(effects.visited[weighed.seen])
    if not len(both):
        return unlearned(share)
    if len(both) > MOST_PLOTS:
        both = np.sort(np.random.default_rng(7).choice(both, MOST_PLOTS, replace=False))
    centre, half = np.zeros(2), np.full(2, MOST)
    for _ in range(2):
        points, step = _grid(centre, half)
        log = _log_prior(points) + _log_likelihood(points, effects, weighed, both)
        weight = np.exp(log - log.max())
        weight /= weight.sum()
        centre = weight @ points
        half = np.minimum(4 * np.sqrt(weight @ (points - centre) ** 2 + step**2 / 12), MOST)
    return Tie(points, weight, step, len(both), share)


def told(tie: Tie, effects_drawn: np.ndarray, sd: np.ndarray, plot_sd: float, rng: np.random.Generator) -> Told:
    """What drawn levels and paces [n, P, 2] say of the plots' mass effects in the same draws."""
    rho = tie.draw(len(effects_drawn), rng) * _scale(sd) * plot_sd
    return Told(np.einsum("npe,ne->np", effects_drawn, rho), tie.explained)


def moved(tie: Tie, e: Effects, w: Weighed | None) -> np.ndarray:
    """[P] by how much (log) their own readings move plots' piñas in the mean, beside what weighings and loads say of them."""
    if w is None:
        return np.zeros(len(e.mean))
    out = w.plot_sd * (e.mean * _scale(e.sd)) @ tie.mean
    left = w.plot_sd**2 * (1 - tie.explained) + w.rest_var[w.seen]
    out[w.seen] *= w.var / (left + w.var)
    return out


def _scale(sd: np.ndarray) -> np.ndarray:
    return np.where(sd > 1e-6, 1 / np.maximum(sd, 1e-6), 0.0)


def _share(e: Effects) -> np.ndarray:
    of = np.array([e.sd[0], e.sd[1] * (float(np.mean(e.slope[e.visited])) if e.visited.any() else float(np.mean(e.slope)) if len(e.slope) else 0.0)])
    size = float(np.hypot(*of))
    return of / size if size > 1e-9 else np.array([1.0, 0.0])


def _grid(centre: np.ndarray, half: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    sides = [np.linspace(max(c - h, -MOST), min(c + h, MOST), STEPS) for c, h in zip(centre, half)]
    points = np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1).reshape(-1, 2)
    inside = (points**2).sum(axis=1) <= MOST**2
    return points[inside], np.array([side[1] - side[0] for side in sides])


def _log_prior(points: np.ndarray) -> np.ndarray:
    return -0.5 * (points**2).sum(axis=1) / float(k.TIE_SD) ** 2


def _log_likelihood(points: np.ndarray, e: Effects, w: Weighed, both: np.ndarray) -> np.ndarray:
    """[G]; the growth curve's coefficients under what everything else says of them."""
    at = w.seen[both]
    x, m, error, own = w.x[both], w.m[both], w.var[both], w.rest_var[at]
    usual = 1 / (w.plot_sd**2 + own + error)
    base = w.precision - (x * usual[:, None]).T @ x
    toward = w.precision @ w.theta - x.T @ (usual * m)
    scaled, cov = e.mean[at] * _scale(e.sd), e.cov[at] * np.outer(_scale(e.sd), _scale(e.sd))
    squares = points**2
    var = w.plot_sd**2 * (squares @ np.stack([cov[:, 0, 0], cov[:, 1, 1]]) + 2 * np.outer(points.prod(axis=1), cov[:, 0, 1]) + (1 - squares.sum(axis=1))[:, None]) + own + error
    off = m - w.plot_sd * (points @ scaled.T)
    size = x.shape[1]
    A = base + ((1 / var) @ (x[:, :, None] * x[:, None, :]).reshape(len(x), -1)).reshape(-1, size, size)
    b = toward + (off / var) @ x
    return -0.5 * (np.log(var).sum(axis=1) + np.linalg.slogdet(A)[1] + (off**2 / var).sum(axis=1) - (b * np.linalg.solve(A, b[:, :, None])[:, :, 0]).sum(axis=1))
