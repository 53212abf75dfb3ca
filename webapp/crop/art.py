"""From °Brix to ART (total reducing sugars, % of fresh mass): one line through the origin per laboratory.

Until a laboratory has results the setting's 0.90 ± 0.10 stands, shown as an assumption (published range
0.80 to 1.00; Bautista-Justo et al. 2001 print only the correlation, 0.9621).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LOAD_SD = 0.07
"""Spread of one load's ART/°Brix about its laboratory's line (assumption): the plants read are not those cut."""
LAB_SD = 0.02
"""How much laboratories may differ for good (assumption)."""


@dataclass(frozen=True)
class Line:
    """Per cent ART per °Brix: mean and sd, loads used, and each laboratory's own."""

    slope: float
    sd: float
    n: int
    by_lab: dict[str, tuple[float, float, int]]


def fit(brix_deg: np.ndarray, art_percent: np.ndarray, lab: list[str], prior: float, prior_sd: float) -> Line:
    """Posterior of the line from loads whose plot was read shortly before; row order does not matter."""
    ratio = np.asarray(art_percent, float) / np.asarray(brix_deg, float)
    precision, weighted = prior_sd**-2, prior * prior_sd**-2
    by_lab = {}
    for name in sorted(set(lab)):
        mine = np.sort(ratio[[one == name for one in lab]])
        var = LOAD_SD**2 / len(mine) + LAB_SD**2
        precision, weighted = precision + 1 / var, weighted + float(np.median(mine)) / var
        by_lab[name] = (float(np.median(mine)), float(np.sqrt(var)), len(mine))
    return Line(float(weighted / precision), float(np.sqrt(1 / precision)), len(ratio), by_lab)


def brix_of_ripe(mean_deg: np.ndarray, plant_sd: np.ndarray | float, residuals: np.ndarray, target_deg: float) -> np.ndarray:
    """Mean °Brix of the plants at or above the target (what a pass takes), for plot means of any shape.

    From the pooled distribution of plants about their plot's mean; where no plant is ripe it is the target.
    """
    points = np.sort(residuals)
    tail = np.cumsum(points[::-1])[::-1] / np.arange(len(points), 0, -1)   # mean of the residuals from each point up
    distance = (target_deg - mean_deg) / plant_sd
    above = np.interp(distance, points, tail, left=float(points.mean()), right=np.nan)
    out = mean_deg + plant_sd * above
    return np.where(np.isnan(above), target_deg, np.maximum(out, target_deg))
