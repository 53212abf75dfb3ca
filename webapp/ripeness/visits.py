"""From single readings to visits: number, mean and scatter per plot and round, padded to one array."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_VISITS = 60
"""Older visits beyond this many are folded out (a plot with hundreds of rounds still fits in memory)."""


@dataclass(frozen=True)
class Visits:
    """Padded [P, M]: ``mean`` °Bx at 20 °C, ``n`` plants, ``day`` ordinal, ``known`` variance of the temperature
    correction (shared by the visit), ``mask``; [P]: ``last_day`` (0 = never); pooled within-visit scatter."""

    mean: np.ndarray
    n: np.ndarray
    day: np.ndarray
    known: np.ndarray
    mask: np.ndarray
    freedom: float
    squares: float
    residuals: np.ndarray


def gather(plots: list[str], plot: np.ndarray, group: np.ndarray, day_ordinal: np.ndarray, brix_deg: np.ndarray, correction_sd_deg: np.ndarray) -> Visits:
    """Visits of the listed plots from readings (arrays of one length; NaN readings are left out).

    ``group`` names the round (readings without one are grouped by day). Row order does not matter.
    """
    where = {code: i for i, code in enumerate(plots)}
    rows: dict[tuple[int, str], list[tuple[int, float, float]]] = {}
    for p, g, d, b, s in zip(plot, group, day_ordinal, brix_deg, correction_sd_deg):
        if p in where and b == b:
            rows.setdefault((where[p], str(g)), []).append((int(d), float(b), float(s)))
    visits: list[list[tuple]] = [[] for _ in plots]
    freedom = squares = 0.0
    residuals = []
    for (i, _), part in sorted(rows.items()):
        values = np.sort(np.array([b for _, b, _ in part]))
        n, mean = len(values), float(values.mean())
        scatter = values - mean
        visits[i].append((min(d for d, _, _ in part), mean, n, float(np.mean([s for _, _, s in part])) ** 2))
        freedom, squares = freedom + n - 1, squares + float(scatter @ scatter)
        if n > 2:
            residuals.append(scatter * np.sqrt(n / (n - 1)))
    M = max(1, min(MOST_VISITS, max((len(v) for v in visits), default=1)))
    shape = (len(plots), M)
    out = {name: np.zeros(shape) for name in ("mean", "n", "day", "known")}
    mask = np.zeros(shape, bool)
    for i, part in enumerate(visits):
        for m, (d, mean, n, known) in enumerate(sorted(part)[-MOST_VISITS:]):
            out["day"][i, m], out["mean"][i, m], out["n"][i, m], out["known"][i, m], mask[i, m] = d, mean, n, known, True
    pooled = np.sort(np.concatenate(residuals)) if residuals else np.zeros(0)
    return Visits(out["mean"], out["n"], out["day"], out["known"], mask, freedom, squares, pooled)
