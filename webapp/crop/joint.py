"""Joint draws put together: share, tonnes and ART per draw, plot and day; sums keep the shared luck."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np


@dataclass(frozen=True)
class Draws:
    """[n, P, T] float32: ``share`` ripe share of what stands, ``mass_t`` tonnes if nothing is cut (loss past the
    peak counted), ``art`` t ART per t of the ripe plants; ``keep`` [P, T]; ``plots``; ``weeks`` (or ``quarters``)."""

    plots: tuple[str, ...]
    weeks: tuple[str, ...]
    share: np.ndarray
    mass_t: np.ndarray
    art: np.ndarray
    keep: np.ndarray
    quarters: tuple[date, ...] = ()


def summary(d: Draws) -> dict[str, np.ndarray]:
    """Means and 80 % intervals by plot and week, and of the estate's totals by week (summed draw by draw); this week's draws themselves [n, P], for any other sum."""
    ripe = d.mass_t * d.share
    sugar = ripe * d.art
    out = {"art_share": d.art.mean(axis=0), "keep_share": d.keep}
    for name, value in (("tonnes", d.mass_t), ("ripe_tonnes", ripe), ("sugar_t", sugar)):
        low, high = np.quantile(value, (0.1, 0.9), axis=0)
        out |= {name: value.mean(axis=0), f"{name}_lo": low, f"{name}_hi": high}
    for name, value in (("mass_total", d.mass_t), ("ripe_total", ripe), ("sugar_total", sugar)):
        total = value.sum(axis=1, dtype=np.float64)
        low, high = np.quantile(total, (0.1, 0.9), axis=0)
        out |= {name: total.mean(axis=0), f"{name}_lo": low, f"{name}_hi": high}
    return out | {"now_mass_t": d.mass_t[:, :, 0], "now_ripe_t": ripe[:, :, 0]}
