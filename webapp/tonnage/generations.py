"""The generations of a plot: its first planting and the plants that filled its gaps later, each of its own age."""

from __future__ import annotations

from datetime import date

import numpy as np

from .weighed import Generations

MOST = 4
"""Later replantings than the third are taken together with it."""


def of_plots(plots: list[str], planted: dict[str, date], planted_plants: dict[str, float], labors: dict[str, list], today: date, mortality: float) -> Generations:
    """Shares of the plants of each generation: a replanting of r plants into the N then standing takes r / (N + r)."""
    lag, share = np.zeros((len(plots), 1)), np.ones((len(plots), 1))
    where = {code: i for i, code in enumerate(plots)}
    for code, rows in labors.items():
        start, first = planted.get(code), planted_plants.get(code, 0.0)
        if code not in where or not start or not first > 0:
            continue
        i, parts, then = where[code], [(0.0, float(first))], 0.0
        for row in rows:
            years = (row.day - start).days / 365.25
            if row.labor != "replanting" or not row.plants or row.day > today or years <= 0.1:
                continue
            parts, then = [(at, n * (1 - mortality) ** (years - then)) for at, n in parts], years
            parts = [*parts, (years, float(row.plants))] if len(parts) < MOST else [*parts[:-1], (parts[-1][0], parts[-1][1] + float(row.plants))]
        if len(parts) > lag.shape[1]:
            more = len(parts) - lag.shape[1]
            lag, share = (np.concatenate([a, np.zeros((len(plots), more))], axis=1) for a in (lag, share))
        total = sum(n for _, n in parts)
        for g, (years, n) in enumerate(parts):
            lag[i, g], share[i, g] = years, n / total
    return Generations(lag, share)
