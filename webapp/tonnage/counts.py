"""Plants of a plot from counted rows: two-stage expansion with finite-population correction at both stages.

Särndal, Swensson & Wretman (1992), *Model Assisted Survey Sampling*, §4.3: rows are the first-stage
units, stretches of a row the second. Also the textbook estimators used to check it (Lohr 1999; Cochran
1977).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Total:
    """An estimated total with its variance; ``between`` and ``within`` are its two parts."""

    total: float
    variance: float
    between: float = 0.0
    within: float = 0.0

    @property
    def se(self) -> float:
        return float(np.sqrt(self.variance))


def two_stage(population: int, sizes: list[int], samples: list[list[float]]) -> Total:
    """Total over ``population`` first-stage units of which ``len(samples)`` were drawn at random.

    ``sizes[i]`` second-stage units in drawn unit i, ``samples[i]`` the values seen in it. Both stages
    without replacement; variance Σ as in §4.3.2.
    """
    n = len(samples)
    totals = np.array([m * float(np.mean(y)) for m, y in zip(sizes, samples)])
    scatter = float(totals.var(ddof=1)) if n > 1 else 0.0
    between = population**2 * (1 - n / population) * scatter / n
    within = sum(population / n * m**2 * (1 - len(y) / m) * (float(np.var(y, ddof=1)) if len(y) > 1 else 0.0) / len(y) for m, y in zip(sizes, samples))
    return Total(population / n * float(totals.sum()), between + within, between, within)


def simple_mean(values: np.ndarray, population: int | None = None) -> tuple[float, float]:
    """(mean, standard error) of a simple random sample, with the correction where the population is known."""
    y = np.asarray(values, float)
    fpc = 1 - len(y) / population if population else 1.0
    return float(y.mean()), float(np.sqrt(fpc * y.var(ddof=1) / len(y)))


def regression_mean(x: np.ndarray, y: np.ndarray, x_mean: float, population: int) -> tuple[float, float]:
    """(mean, SE) of y by regression on x whose population mean is known; s² = SSE/(n − 1) (Lohr 1999, §3.2)."""
    x, y = np.asarray(x, float), np.asarray(y, float)
    slope = float(((x - x.mean()) * (y - y.mean())).sum() / ((x - x.mean()) ** 2).sum())
    rest = y - y.mean() - slope * (x - x.mean())
    n = len(y)
    return float(y.mean() + slope * (x_mean - x.mean())), float(np.sqrt((1 - n / population) * (rest**2).sum() / (n - 1) / n))


def plants_of_rows(standing: np.ndarray, part: np.ndarray, rows_in_plot: float, lone_row_cv: float) -> Total:
    """Plants of a plot from counted rows (``part`` < 1: only that share of the row was counted).

    A stretch is expanded to its row as if plants were Poisson along it beyond the counted share; with a
    single row the usual spread between rows stands in.
    """
    y = np.asarray(standing, float) / part
    n, N = len(y), max(float(rows_in_plot), float(len(y)))
    mean = float(y.mean())
    scatter = float(y.var(ddof=1)) if n > 1 else (lone_row_cv * mean) ** 2
    if n > 1:  # few rows give a shaky variance: lean on the usual one by one degree of freedom
        scatter = (scatter * (n - 1) + (lone_row_cv * mean) ** 2) / n
    between = N**2 * (1 - n / N) * scatter / n
    within = N / n * float((np.asarray(standing, float) * (1 - part) / part**2).sum())
    return Total(N * mean, between + within, between, within)
