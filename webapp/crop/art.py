"""From °Brix to ART (total reducing sugars, % of fresh mass): a line through the origin, with each laboratory's and each plot's own.

Until a laboratory has results the setting's 0.90 ± 0.10 stands, shown as an assumption (published range
0.80 to 1.00; Bautista-Justo et al. 2001 print only the correlation, 0.9621).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Sequence

import numpy as np

from . import constants as k

LOAD_SD, LAB_SD, PLOT_SD = float(k.LOAD_SD), float(k.LAB_SD), float(k.PLOT_SD)
FREEDOM, FAR = 10.0, 3.0
"""The assumed spread of a load counts like so many loads; a load further off than so many spreads counts for less."""
LEAST_LOADS = 20
"""From here on the spread of a load is the learned one (two thirds its own, one third the assumption); with fewer it stays assumed. Common practice."""


@dataclass(frozen=True)
class Line:
    """Per cent ART per °Brix: mean and sd, loads used, each laboratory's own (mean, sd, loads), and each plot's difference
    (mean, how it leans on the mean line, sd given that line); ``load_sd`` of one load about them, learned from ``LEAST_LOADS`` on."""

    slope: float
    sd: float
    n: int
    by_lab: dict[str, tuple[float, float, int]]
    by_plot: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    load_sd: float = LOAD_SD
    solved: "Solved | None" = None

    @property
    def learned(self) -> bool:
        """Whether the spread of a load is the estate's own."""
        return self.n >= LEAST_LOADS

    def load_sd_interval(self, z: float) -> tuple[float, float]:
        """Of ``load_sd``, normal on the log scale: one found from n errors is known to a share of 1/√(2n) (normal theory)."""
        half = z / np.sqrt(2 * (FREEDOM + (self.n if self.learned else 0)))
        return self.load_sd * float(np.exp(-half)), self.load_sd * float(np.exp(half))


@dataclass(frozen=True)
class Solved:
    """The posterior in full: level and laboratories [1 + L] with covariance, and each plot's (own precision, how it leans on them [1 + L])."""

    mean: np.ndarray
    cov: np.ndarray
    labs: dict[str, int]
    plots: dict[str, tuple[float, np.ndarray]]


def fit(brix_deg: np.ndarray, art_percent: np.ndarray, lab: list[str], prior: float, prior_sd: float, plot: list[str] | None = None) -> Line:
    """Posterior of the line from loads whose plot was read shortly before: one level, laboratories and plots about it, every
    result used once; row order does not matter."""
    ratio = np.asarray(art_percent, float) / np.asarray(brix_deg, float)
    where = plot or [""] * len(lab)
    order = sorted(range(len(lab)), key=lambda i: (lab[i], where[i], ratio[i]))
    ratio, lab, where = ratio[order], [lab[i] for i in order], [where[i] for i in order]
    labs, plots = sorted(set(lab)), sorted(set(where) - {""})
    X = np.zeros((len(ratio), 1 + len(labs)))
    X[:, 0] = 1.0
    X[np.arange(len(ratio)), [1 + labs.index(one) for one in lab]] = 1.0
    known, start = np.r_[prior_sd**-2, np.full(len(labs), LAB_SD**-2)], np.r_[prior, np.zeros(len(labs))]
    place = {code: i for i, code in enumerate(plots)}
    at = np.array([place.get(code, len(plots)) for code in where], int)  # results of no plot share a place that has no effect
    weight, spread = np.ones(len(ratio)), LOAD_SD
    for _ in range(4):
        w = weight / spread**2
        shared, own, told = np.zeros((len(plots) + 1, X.shape[1])), np.bincount(at, w, len(plots) + 1), np.bincount(at, w * ratio, len(plots) + 1)
        np.add.at(shared, at, X * w[:, None])
        own, shared, told = own[:-1] + PLOT_SD**-2, shared[:-1], told[:-1]
        cov = np.linalg.inv(np.diag(known) + (X * w[:, None]).T @ X - (shared / own[:, None]).T @ shared)
        mean = cov @ (known * start + X.T @ (w * ratio) - (shared / own[:, None]).T @ told)
        differs = (told - shared @ mean) / own
        off = ratio - X @ mean - np.r_[differs, 0.0][at]
        spread = float(np.sqrt((FREEDOM * LOAD_SD**2 + (weight * off**2).sum()) / (FREEDOM + weight.sum())))
        weight = np.minimum(1.0, FAR * spread / np.maximum(np.abs(off), 1e-12)) ** 2
    by_lab = {name: (float(mean[0] + mean[j]), float(np.sqrt(max(cov[0, 0] + cov[j, j] + 2 * cov[0, j], 0.0))), lab.count(name)) for j, name in enumerate(labs, 1)}
    lean = -(shared @ cov[:, 0]) / own / cov[0, 0]
    given = 1 / own + np.einsum("pi,ij,pj->p", shared, cov, shared) / own**2 - lean**2 * cov[0, 0]
    by_plot = {code: (float(differs[i]), float(lean[i]), float(np.sqrt(max(given[i], 0.0)))) for i, code in enumerate(plots)}
    solved = Solved(mean, cov, {name: j for j, name in enumerate(labs, 1)}, {code: (float(own[i]), shared[i] / own[i]) for i, code in enumerate(plots)})
    line = Line(float(mean[0]), float(np.sqrt(cov[0, 0])), len(ratio), by_lab, by_plot, LOAD_SD, solved)
    if not line.learned:
        return line
    fitted = _known(line, lab, where)[1] ** 2  # what is not known of the line is part of what its residuals lack
    return replace(line, load_sd=float(np.sqrt((FREEDOM * LOAD_SD**2 + (weight * (off**2 + fitted)).sum()) / (FREEDOM + weight.sum()))))


def _known(line: Line, lab: Sequence[str], plot: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) [J] of the line at these laboratories and plots; "" is none in particular, one never seen differs by as much as they do."""
    s = line.solved
    mean, var = np.zeros(len(lab)), np.zeros(len(lab))
    for i, (name, code) in enumerate(zip(lab, plot)):
        x = np.zeros(len(s.mean))
        x[0] = 1.0
        if name in s.labs:
            x[s.labs[name]] = 1.0
        precision, lean = s.plots.get(code, (PLOT_SD**-2 if code else np.inf, np.zeros(len(s.mean))))
        mean[i] = x @ s.mean + line.by_plot.get(code, (0.0,))[0]
        var[i] = (x - lean) @ s.cov @ (x - lean) + 1 / precision + (0.0 if not name or name in s.labs else LAB_SD**2)
    return mean, np.sqrt(var)


def of_load(line: Line, lab: Sequence[str], plot: Sequence[str]) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) [J] of the ART per °Brix that a load of a plot will show at a laboratory."""
    mean, sd = _known(line, lab, plot)
    return mean, np.hypot(sd, line.load_sd)


def draw(line: Line, plots: tuple[str, ...] | list[str], n: int, rng: np.random.Generator) -> np.ndarray:
    """[n, P] joint draws of ART per °Brix: the level drawn once for all plots, a plot without results differs by as much as plots do."""
    level, own = rng.normal(0.0, line.sd, n)[:, None], rng.standard_normal((n, len(plots)))
    mean, lean, sd = np.array([line.by_plot.get(code, (0.0, 0.0, PLOT_SD)) for code in plots]).reshape(len(plots), 3).T
    return (line.slope + level * (1 + lean) + mean + sd * own).clip(0.3, 1.3)


def brix_of_ripe(mean_deg: np.ndarray, plant_sd: np.ndarray | float, residuals: np.ndarray, target_deg: float, weights: np.ndarray | None = None) -> np.ndarray:
    """Mean °Brix of the plants at or above the target (what a pass takes), for plot means of any shape.

    From the pooled distribution of plants about their plot's mean; where no plant is ripe it is the target. With
    ``weights`` (what a pass left of each) the residuals must be sorted.
    """
    points, w = (np.sort(residuals), np.ones(len(residuals))) if weights is None else (residuals, np.maximum(weights, 1e-12))
    tail = np.cumsum((w * points)[::-1])[::-1] / np.cumsum(w[::-1])[::-1]   # mean of the residuals from each point up
    distance = (target_deg - mean_deg) / plant_sd
    above = np.interp(distance, points, tail, left=float(np.average(points, weights=w)), right=np.nan)
    out = mean_deg + plant_sd * above
    return np.where(np.isnan(above), target_deg, np.maximum(out, target_deg))
