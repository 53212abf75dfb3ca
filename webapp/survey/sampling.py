"""How many plants and rows are enough, and where to take them.

The interval of a plot's mean after one visit, from the plot's prior and this round's readings, is the
same on the phone and on the plot's page (Bayes with known variances: prior τ², visit σ_v², plant σ_e²).
Row counts use Cochran (1977, *Sampling Techniques*, §4.4–4.6) with finite-population correction.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

Z95 = 1.959963984540054
AHEAD, MOST = 3, 60
SURPRISE_FROM, SURPRISE_Z = 3, 3.0


@dataclass(frozen=True)
class Prior:
    """What is known of a plot's mean before the visit, and the noise of readings; all °Bx."""

    mean_deg: float
    sd_deg: float
    visit_sd_deg: float
    plant_sd_deg: float


def mean_sd(prior: Prior, n: int) -> float:
    """Sd of the plot's mean after ``n`` plants of one visit: 1/sd² = 1/τ² + 1/(σ_v² + σ_e²/n)."""
    if n <= 0:
        return prior.sd_deg
    return math.sqrt(1 / (1 / prior.sd_deg**2 + 1 / (prior.visit_sd_deg**2 + prior.plant_sd_deg**2 / n)))


def posterior(prior: Prior, values_deg: list[float]) -> tuple[float, float]:
    """(mean, sd) °Bx of the plot after this round's readings (already at 20 °C)."""
    n = len(values_deg)
    if n == 0:
        return prior.mean_deg, prior.sd_deg
    base, weight = 1 / prior.sd_deg**2, 1 / (prior.visit_sd_deg**2 + prior.plant_sd_deg**2 / n)
    return (prior.mean_deg * base + sum(values_deg) / n * weight) / (base + weight), mean_sd(prior, n)


def against(prior: Prior, values_deg: list[float]) -> tuple[float, bool]:
    """(°Bx by which a round lies off what was expected, whether that is more than chance would do).

    A surprise is three sds of the round's mean under the prior, from three plants on: about one honest
    round in four hundred, but most rounds in a wrong plot or with an instrument off zero by degrees.
    """
    n = len(values_deg)
    if n == 0:
        return 0.0, False
    off = sum(values_deg) / n - prior.mean_deg
    return off, n >= SURPRISE_FROM and abs(off) > SURPRISE_Z * math.sqrt(prior.sd_deg**2 + prior.visit_sd_deg**2 + prior.plant_sd_deg**2 / n)


def still_needed(prior: Prior, n: int, narrowing_deg: float) -> int:
    """Plants still to read until three more would narrow the sd by less than ``narrowing_deg`` (0 = enough)."""
    more = 0
    while more < MOST and mean_sd(prior, n + more) - mean_sd(prior, n + more + AHEAD) >= narrowing_deg:
        more += 1
    return more


def sample_size(sd: float, error: float, population: int | None = None, z: float = 1.96) -> int:
    """Units needed for a mean within ``error`` (same unit as ``sd``), with the finite-population correction.

    Cochran (1977): n0 = (z·S/e)², n = n0 / (1 + n0/N).
    """
    if sd <= 0:
        return 1
    n0 = (z * sd / error) ** 2
    n = n0 if population is None else n0 / (1 + n0 / population)
    return max(1, min(math.ceil(n), population) if population else math.ceil(n))


T975 = (12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131,
        2.120, 2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042)
"""Student's t, 97.5 %, for 1 to 30 degrees of freedom (NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2)."""
FEWEST_ROWS = 5
"""Below this the rows' own spread says too little (Student's t at one or two degrees of freedom asks for the whole plot)."""


@dataclass(frozen=True)
class Rows:
    """Plants standing a row after some rows: mean, the 95 % interval (None below two rows), rows still to count."""

    mean: float
    low: float | None
    high: float | None
    more: int


def rows_stand(counts: list[float], rows_in_plot: int | None, share: float) -> Rows:
    """Where the mean of plants a row stands, and how many rows more bring it within ``share`` of itself at 95 %.

    Simple random rows with finite-population correction (Cochran 1977, §2.6, §4.6–4.7); t instead of z,
    since the spread comes from these few rows themselves; never fewer than five rows, and no more than
    the plot has.
    """
    n, mean = len(counts), sum(counts) / len(counts)
    few = min(FEWEST_ROWS, rows_in_plot or FEWEST_ROWS)
    if n < 2:
        return Rows(mean, None, None, max(0, few - n))
    sd = math.sqrt(sum((count - mean) ** 2 for count in counts) / (n - 1))
    t = T975[min(n - 1, len(T975)) - 1]
    left = 1.0 if rows_in_plot is None else max(0.0, 1 - n / max(rows_in_plot, n))
    half = t * sd * math.sqrt(left / n)
    needed = sample_size(sd, share * mean, rows_in_plot, t) if mean > 0 and n >= few else few
    return Rows(mean, mean - half, mean + half, max(0, max(few, needed) - n))


def systematic(population: int, n: int, start: int) -> list[int]:
    """``n`` of ``population`` units at equal distance from a start drawn afresh (1…step); 1-based."""
    n = min(n, population)
    step = population / n
    return [min(population, int(start + i * step)) for i in range(n)]
