"""What weighings and weighed loads teach of the growth curve, the estate and each plot: one joint fit in which every load is
data once, so nothing is corrected a second time.

    y = log W + plot's source (how unlike the plot its weighed plants are) + visit or truck + plants

A plot's observations of one source share what makes them unlike the whole plot, so more trucks do not make it known to
the last per cent. Standard deviations (plot, source, visit, truck) by their marginal posterior, with priors.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass

import numpy as np

from . import constants as k
from .pina import EXTRAS, SIZE, Curve, Growth, mixed, prior, rows

WEIGHING, LOAD = 0, 1


@dataclass(frozen=True)
class Seen:
    """Observations of mean piña mass [J]: plot index, age in years, log kg, variance of that log from the plants alone, years from
    today, source (WEIGHING or LOAD) and what is known beside the age [J, E]."""

    plot: np.ndarray
    age: np.ndarray
    log_kg: np.ndarray
    var: np.ndarray
    when: np.ndarray
    source: np.ndarray
    extra: np.ndarray

    def of(self, at: np.ndarray) -> "Seen":
        return Seen(*(getattr(self, name)[at] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Sds:
    """Standard deviations on the log scale; ``plot_log_sd`` how far the first itself is not known (sd of its logarithm)."""

    plot: float
    unlike: float
    visit: float
    load: float
    plot_log_sd: float = 0.7


@dataclass(frozen=True)
class Generations:
    """Of every plot [P, G]: years after the first planting, share of the plants; one generation unless gaps were replanted."""

    lag: np.ndarray
    share: np.ndarray

    @staticmethod
    def single(plots: int) -> "Generations":
        return Generations(np.zeros((plots, 1)), np.ones((plots, 1)))


class Equations:
    """The normal equations of a set of observations, for any standard deviations, in sums over plots (no matrix per plot)."""

    def __init__(self, seen: Seen, plots: int, curve: Curve, generations: Generations, labor_log: tuple[float, float, float] = (0.0, 0.0, 0.0), plot_var: np.ndarray | None = None):
        order = np.lexsort((seen.when, seen.source, seen.plot))
        self.seen, self.plots, self.curve, self.generations = seen.of(order), plots, curve, generations
        s = self.seen
        usual, ages = mixed(s.age[:, None], generations.lag[s.plot], generations.share[s.plot], curve)
        self.y, self.X = s.log_kg - usual[:, 0], rows(ages[:, 0], s.when, s.extra)
        self.mean, self.precision = prior(curve, labor_log)
        self.plot_var = np.zeros(plots) if plot_var is None else plot_var
        self._group()

    def _group(self) -> None:
        self.group = np.flatnonzero(np.diff(self.seen.plot * 2 + self.seen.source, prepend=-1))
        self.group_plot = self.seen.plot[self.group]
        self.first = np.flatnonzero(np.diff(self.group_plot, prepend=-1))

    def only(self, at: np.ndarray) -> "Equations":
        """The same of some observations only (a mask)."""
        part = copy(self)
        part.seen, part.y, part.X = self.seen.of(at), self.y[at], self.X[at]
        part._group()
        return part

    def at(self, sds: Sds) -> tuple[float, np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """(−2 log marginal likelihood but a constant, θ, precision of θ, sums (A, s, t) per plot seen)."""
        A, b = self.precision.copy(), self.precision @ self.mean
        if not len(self.y):
            empty = np.zeros(0), np.zeros((0, SIZE)), np.zeros(0)
            return 0.0, self.mean.copy(), A, empty
        var = self.seen.var + np.where(self.seen.source == LOAD, sds.load, sds.visit) ** 2
        w = 1 / var
        wX = self.X * w[:, None]
        A, b, quad, logdet = A + self.X.T @ wX, b + wX.T @ self.y, float(w @ self.y**2), float(np.log(var).sum())
        sums = (np.add.reduceat(w, self.group), np.add.reduceat(wX, self.group), np.add.reduceat(w * self.y, self.group))
        for v, starts in ((sds.unlike**2, None), (sds.plot**2 + self.plot_var[self.group_plot[self.first]], self.first)):
            if starts is not None:
                sums = tuple(np.add.reduceat(part, starts) for part in sums)
            a, s, t = sums
            shrink = 1 / (1 + v * a)
            c = v * shrink
            A, b, quad, logdet = A - (s * c[:, None]).T @ s, b - s.T @ (c * t), quad - float(c @ t**2), logdet - float(np.log(shrink).sum())
            if starts is None:
                sums = (a * shrink, s * shrink[:, None], t * shrink)
        theta = np.linalg.solve(A, b)
        return logdet + float(np.linalg.slogdet(A)[1]) + quad - float(b @ theta), theta, A, sums

    def growth(self, sds: Sds, extra: np.ndarray) -> Growth:
        """Posterior of everything at these standard deviations; ``extra`` [P, E] of the plots from today on."""
        _, theta, A, (a, s, t) = self.at(sds)
        before = sds.plot**2 + self.plot_var
        effect, sd, lean = np.zeros(self.plots), np.sqrt(before), np.zeros((self.plots, SIZE))
        if len(a):
            at = self.group_plot[self.first]
            c = before[at] / (1 + before[at] * a)
            effect[at], lean[at], sd[at] = c * (t - s @ theta), -c[:, None] * s, np.sqrt(c)
        cov = np.linalg.inv(A)
        return Growth(theta, (cov + cov.T) / 2, effect, sd, lean, sds.plot, self.curve, self.generations.lag, self.generations.share, extra)


def spreads(equations: Equations, prior_sd: float) -> Sds:
    """The standard deviations: mode of their posterior, each widened to the root of its mean variance (Laplace), for the likeliest
    alone is too sure where few plots were weighed."""
    from scipy.optimize import minimize

    middle = np.log([prior_sd * 0.6, float(k.UNLIKE_LOG_SD), float(k.VISIT_LOG_SD), float(k.LOAD_LOG_SD)])
    width = np.array([0.7, 0.5, 0.4, 0.4])

    def criterion(z: np.ndarray) -> float:
        return equations.at(Sds(*np.exp(middle + width * z)))[0] + float(z @ z)

    if not len(equations.y):
        z, spread = np.zeros(4), np.ones(4)
    else:
        z = minimize(criterion, np.zeros(4), method="L-BFGS-B", bounds=[(-4, 4)] * 4, options={"maxiter": 40}).x
        step, here = 0.3, criterion(z)
        bend = np.array([(criterion(z + step * e) - 2 * here + criterion(z - step * e)) / step**2 for e in np.eye(4)])
        spread = np.sqrt(2 / np.maximum(bend, 2.0))
    return Sds(*map(float, np.exp(middle + width * z + (width * spread) ** 2)), plot_log_sd=float(width[0] * spread[0]))


def fit(seen: Seen, plots: int, curve: Curve, prior_sd: float, generations: Generations | None = None, extra: np.ndarray | None = None,
        labor_log: tuple[float, float, float] = (0.0, 0.0, 0.0), plot_var: np.ndarray | None = None) -> tuple[Growth, Equations, Sds]:
    """Posterior of level, curve and every plot's effect; ``plot_var`` [P] what else is not known of a plot (its age). With nothing seen it is the prior."""
    equations = Equations(seen, plots, curve, generations or Generations.single(plots), labor_log, plot_var)
    sds = spreads(equations, prior_sd)
    return equations.growth(sds, np.zeros((plots, len(EXTRAS))) if extra is None else extra), equations, sds
