"""How plants of one plot spread about their mean: its growth with age, and its shape.

log variance is linear in age (a gamma regression of the visits' s² on age, weights n − 1; McCullagh & Nelder
1989, *Generalized Linear Models*, ch. 8); the shape is the pooled one of all plants about their visit.
"""

from __future__ import annotations

import numpy as np

from . import constants as k
from .visits import Visits

MIDDLE_MONTHS, YOUNGEST, OLDEST = 60.0, 12.0, 120.0
LEAST_SHARED_READINGS, MOST_POINTS = 30, 400


def relative(age_months: np.ndarray, slope: float) -> np.ndarray:
    """Variance at an age over that at 60 months, held constant outside 12…120 months."""
    return np.exp(slope * (np.clip(age_months, YOUNGEST, OLDEST) - MIDDLE_MONTHS) / MIDDLE_MONTHS)


def slope_of(visits: Visits, age_months: np.ndarray) -> float:
    """The slope on log variance per 60 months, with its prior; 0 when no visit has two plants."""
    from scipy.optimize import minimize_scalar

    at = visits.mask & (visits.n > 1) & (visits.squares_in > 0)
    if not at.any():
        return 0.0
    freedom, squares, age = visits.n[at] - 1, visits.squares_in[at], age_months[at]

    def criterion(slope: float) -> float:
        h = relative(age, slope)
        return freedom.sum() * np.log((squares / h).sum() / freedom.sum()) + (freedom * np.log(h)).sum() + (slope / float(k.SPREAD_SLOPE_SD)) ** 2

    return float(minimize_scalar(criterion, bounds=(-1.5, 1.5), method="bounded").x)


def shape_of(visits: Visits, age_months: np.ndarray, plant_sd: float, slope: float) -> np.ndarray:
    """Standardised residuals of plants about their visit, sorted, mean 0: the pooled shape of the spread inside a plot."""
    far = visits.residuals / (max(plant_sd, 1e-3) * np.sqrt(relative(age_months, slope)))
    if len(far) < LEAST_SHARED_READINGS:  # too few to show a shape: the normal one
        from scipy.stats import norm

        far = norm.ppf((np.arange(99) + 0.5) / 99)
    elif len(far) > MOST_POINTS:
        far = np.quantile(far, (np.arange(MOST_POINTS) + 0.5) / MOST_POINTS)
    far = np.sort(far)
    return far - far.mean()
