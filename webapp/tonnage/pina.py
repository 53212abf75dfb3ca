"""Mass per piña: a Gompertz curve over age with estate level and tilt and a plot effect, on the log scale.

    log W = log G(age) + α + β·(age − 6 years) + γ₅·min(age − 5, 0) + γ₂·min(age − 2, 0) + bends(age) + δ_plot + e

α, β, γ, bends and δ from weighings and weighed loads by generalised least squares, the plot variance averaged over
its likelihood; the Gompertz default is from memory, so its level is wide and gives way to data. The bends (straight
lines between knots, a Gaussian process over age) are what no growth curve of a few parameters follows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import constants as k

CENTRE_YEARS = 6.0
GRID = np.geomspace(0.03, 0.5, 18)
KNOT_YEARS = 1.0
KNOTS = np.arange(1.0, 15.0, KNOT_YEARS)


@dataclass(frozen=True)
class Curve:
    asymptote_kg: float
    shape: float
    rate_per_year: float


def gompertz_kg(age_years: np.ndarray, c: Curve) -> np.ndarray:
    """W(t) = A·exp(−b·exp(−k·t)), kg."""
    return c.asymptote_kg * np.exp(-c.shape * np.exp(-c.rate_per_year * np.maximum(age_years, 0.0)))


@dataclass(frozen=True)
class Seen:
    """Observations of mean piña mass: [J] plot index, age in years, log kg, variance of that log."""

    plot: np.ndarray
    age: np.ndarray
    log_kg: np.ndarray
    var: np.ndarray


@dataclass(frozen=True)
class Growth:
    """``theta`` (α, β, γ₅, γ₂) with ``cov``; ``effect`` [P], its sd given θ ``effect_sd`` [P], and how it leans on θ [P, 4]."""

    theta: np.ndarray
    cov: np.ndarray
    effect: np.ndarray
    effect_sd: np.ndarray
    lean: np.ndarray
    plot_sd: float
    curve: Curve


def rows(age_years: np.ndarray) -> np.ndarray:
    """[..., 4 + K] level, tilt, two hinges that free the young ages, where the default curve is least known, and the bends."""
    plain = np.stack([np.ones_like(age_years), age_years - CENTRE_YEARS, np.minimum(age_years - 5.0, 0.0), np.minimum(age_years - 2.0, 0.0)], axis=-1)
    return np.concatenate([plain, np.maximum(1 - np.abs(np.clip(age_years, KNOTS[0], KNOTS[-1])[..., None] - KNOTS) / KNOT_YEARS, 0.0)], axis=-1)


def prior_precision() -> np.ndarray:
    """[4 + K, 4 + K] of the coefficients of ``rows``."""
    plain = np.array([float(sd) ** -2 for sd in (k.LEVEL_LOG_SD, k.AGE_LOG_SD, k.YOUNG_LOG_SD, k.NEW_LOG_SD)])
    out = np.zeros((len(plain) + len(KNOTS),) * 2)
    out[: len(plain), : len(plain)] = np.diag(plain)
    bends = float(k.BEND_LOG_SD) ** 2 * np.exp(-0.5 * ((KNOTS[:, None] - KNOTS[None, :]) / float(k.BEND_YEARS)) ** 2)
    out[len(plain):, len(plain):] = np.linalg.inv(bends + 1e-6 * np.eye(len(KNOTS)))
    return out


def fit(seen: Seen, plots: int, curve: Curve, prior_sd: float) -> Growth:
    """Posterior of level, tilt and every plot's effect. With nothing seen it is the prior."""
    y = seen.log_kg - np.log(gompertz_kg(seen.age, curve))
    X = rows(seen.age)
    precision, unlike = prior_precision(), float(k.UNLIKE_LOG_SD) ** 2
    size = len(precision)
    groups = [np.flatnonzero(seen.plot == p) for p in np.unique(seen.plot)]

    def at_sd(plot_sd: float) -> tuple[float, np.ndarray, np.ndarray]:
        A, b, quad, logdet = precision.copy(), np.zeros(size), 0.0, 0.0
        for at in groups:
            V = np.diag(seen.var[at]) + plot_sd**2 + unlike
            W = np.linalg.inv(V)
            A, b = A + X[at].T @ W @ X[at], b + X[at].T @ W @ y[at]
            quad, logdet = quad + y[at] @ W @ y[at], logdet + np.linalg.slogdet(V)[1]
        theta = np.linalg.solve(A, b)
        return logdet + np.linalg.slogdet(A)[1] + quad - b @ theta + ((np.log(plot_sd) - np.log(prior_sd * 0.6)) / 0.7) ** 2, theta, np.linalg.inv(A)

    scores = np.array([at_sd(sd)[0] for sd in GRID])
    weight = np.exp(-0.5 * (scores - scores.min()))
    plot_sd = float(np.sqrt((weight * GRID**2).sum() / weight.sum()))  # the mean variance: the likeliest one alone is too sure with few plots weighed
    _, theta, cov = at_sd(plot_sd)
    effect, sd, lean = np.zeros(plots), np.full(plots, plot_sd), np.zeros((plots, size))
    for p in np.unique(seen.plot):
        at = seen.plot == p
        gain = plot_sd**2 * np.linalg.inv(np.diag(seen.var[at]) + plot_sd**2 + unlike).sum(axis=0)
        effect[p], lean[p] = gain @ (y[at] - X[at] @ theta), -gain @ X[at]
        sd[p] = np.sqrt(max(plot_sd**2 - gain.sum() * plot_sd**2, 1e-8))
    return Growth(theta, cov, effect, sd, lean, float(plot_sd), curve)


def log_mass(g: Growth, age_years: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) of log kg of a plot's mean piña at ages [P, T]."""
    X = rows(age_years)
    shared = X + g.lean[:, None, :]
    var = g.effect_sd[:, None] ** 2 + np.einsum("pti,ij,ptj->pt", shared, g.cov, shared)
    return np.log(gompertz_kg(age_years, g.curve)) + X @ g.theta + g.effect[:, None], np.sqrt(var)


def draw_kg(g: Growth, age_years: np.ndarray, n: int, rng: np.random.Generator) -> np.ndarray:
    """[n, P, T] joint draws of the mean piña, kg: level and tilt drawn once for all plots."""
    common = rng.multivariate_normal(np.zeros(len(g.theta)), g.cov, n, method="cholesky")
    own = rng.standard_normal((n, len(g.effect))) * g.effect_sd
    X = rows(age_years)
    middle = np.log(gompertz_kg(age_years, g.curve)) + X @ g.theta + g.effect[:, None]
    shared = X + g.lean[:, None, :]
    return np.exp(middle[None] + np.einsum("ni,pti->npt", common, shared) + own[:, :, None]).astype(np.float32)
