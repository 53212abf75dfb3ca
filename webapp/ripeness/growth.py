"""Plain growth curves by least squares: an independent look at the estate's curve of age, with no plots, zones or priors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable

import numpy as np

LEAST_POINTS_PER_PARAMETER, LEAST_SPAN = 3, 24.0
MOST_RELATIVE_SD = 1.0

CURVES: dict[str, Callable[[np.ndarray, np.ndarray], np.ndarray]] = {
    "logistic": lambda x, b: b[0] / (1 + np.exp(np.clip(b[1] - b[2] * x, -500, 500))),
    "richards": lambda x, b: b[0] / (1 + np.exp(np.clip(b[1] - b[2] * x, -500, 500))) ** (1 / b[3]),
    "approach": lambda x, b: b[0] * (1 - np.exp(-np.clip(b[1] * x, -500, 500))),
}
"""Logistic b₁/(1 + e^(b₂ − b₃x)), Richards the same to the power 1/b₄, approach b₁(1 − e^(−b₂x)):
forms of the NIST StRD sets Rat42, Rat43 and BoxBOD."""


@dataclass(frozen=True)
class Grown:
    """``b`` parameters with ``b_sd``; ``rss`` residual sum of squares; ``spread`` residual sd, unit of y."""

    curve: str
    b: np.ndarray
    b_sd: np.ndarray
    rss: float
    spread: float

    def at(self, x: np.ndarray) -> np.ndarray:
        return CURVES[self.curve](np.asarray(x, float), self.b)


def fit_growth(curve: str, x: np.ndarray, y: np.ndarray, starts: list[tuple[float, ...]], weight: np.ndarray | None = None) -> Grown | None:
    """Least squares from every start, the best kept; None when no start converges or the data do not say.

    A start may run off to a flat place (BoxBOD's first does, under plain Levenberg–Marquardt): a fit whose
    parameters are not determined, or which explains no more than the mean, does not count.
    """
    from scipy.optimize import least_squares

    x, y = np.asarray(x, float), np.asarray(y, float)
    root = np.ones_like(y) if weight is None else np.sqrt(np.asarray(weight, float))
    middle = float(np.average(y, weights=root**2)) if len(y) else 0.0
    flat = float((root**2 * (y - middle) ** 2).sum())
    best: Grown | None = None
    for start in starts:
        if len(y) <= len(start):
            continue
        try:
            with np.errstate(over="ignore"):
                found = least_squares(lambda b: root * (CURVES[curve](x, b) - y), start, jac="3-point", diff_step=1e-5, method="trf", x_scale="jac", xtol=1e-14, ftol=1e-14, gtol=1e-14, max_nfev=2000)
        except (ValueError, FloatingPointError):  # the start itself gave no number
            continue
        rss = 2 * float(found.cost)
        freedom = len(y) - len(start)
        normal = found.jac.T @ found.jac
        if not np.isfinite(rss) or rss >= flat or np.linalg.cond(normal / np.sqrt(np.outer(np.diag(normal), np.diag(normal)) + 1e-300)) > 1e12:
            continue
        sd = np.sqrt(np.diag(np.linalg.inv(normal)) * rss / freedom)
        if best is None or rss < best.rss:
            best = Grown(curve, found.x, sd, rss, float(np.sqrt(rss / freedom)))
    return best


def plain_curve(age_months: np.ndarray, brix_deg: np.ndarray, plants: np.ndarray) -> Grown | None:
    """Logistic of visits' means (season taken off) on age, weighted by plants; None with few visits or ages too alike."""
    if len(age_months) < 3 * LEAST_POINTS_PER_PARAMETER or np.ptp(age_months) < LEAST_SPAN:
        return None
    top = float(np.quantile(brix_deg, 0.95))
    found = fit_growth("logistic", age_months, brix_deg, [(top, 1.0, 0.04), (top, 2.0, 0.08)], plants)
    if found is None or found.b[2] <= 0 or found.b_sd[0] > MOST_RELATIVE_SD * found.b[0]:
        return None
    return found
