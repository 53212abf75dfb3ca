"""Plants of a plot through time: planted, replanted, cut, lost, counted; a small Kalman filter keeps the account.

The law (DESIGN §3): planted + replanted − cut − recorded losses − estimated losses = standing, exactly;
what a count says beyond it is shown with its z.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from . import constants as k

REPLANT, CUT, LOSS, LOSS_SHARE, COUNT = "replant", "cut", "loss", "loss_share", "count"


@dataclass(frozen=True)
class Event:
    """What happened to a plot's plants on a day; ``sd`` in plants (for counts) or 0."""

    day: date
    kind: str
    plants: float
    sd: float = 0.0


@dataclass(frozen=True)
class Account:
    """Plants. ``since_count_years`` runs from the last count (or planting); ``count_z`` compares it with what was expected."""

    planted: float
    replanted: float
    cut: float
    recorded_losses: float
    estimated_losses: float
    standing: float
    sd: float
    since_count_years: float
    n_counts: int
    last_count: float | None
    count_z: float | None

    def as_dict(self) -> dict:
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def run(planted: float, planted_sd: float, start: date, events: list[Event], today: date, mortality: float, cut_since: list[tuple[date, float]] | None = None) -> Account:
    """The account of one plot up to ``today`` under a yearly ``mortality``; order of same-day events does not matter much
    and is fixed: losses, cuts, counts, replanting."""
    order = {LOSS: 0, LOSS_SHARE: 0, CUT: 1, COUNT: 2, REPLANT: 3}
    mean, var, last = planted, planted_sd**2, start
    replanted = cut = lost = 0.0
    since, counts, count_seen, z = start, 0, None, None
    for e in sorted(events, key=lambda e: (e.day, order[e.kind], e.plants)):
        if e.day > today:
            continue
        mean, var = _age(mean, var, max((e.day - last).days, 0) / 365.25, mortality)
        last = max(last, e.day)
        if e.kind == REPLANT:
            mean, replanted = mean + e.plants, replanted + e.plants
        elif e.kind == CUT:
            took = min(e.plants, max(mean, 0.0))
            mean, cut, var = mean - took, cut + took, var + (float(k.CUT_SD) * took) ** 2
        elif e.kind in (LOSS, LOSS_SHARE):
            took = min(e.plants if e.kind == LOSS else e.plants * mean, max(mean, 0.0))
            mean, lost, var = mean - took, lost + took, var + (float(k.LOSS_SD) * took) ** 2
        else:
            z = (e.plants - mean) / float(np.sqrt(var + e.sd**2))
            gain = var / (var + e.sd**2)
            mean, var = mean + gain * (e.plants - mean), var * (1 - gain)
            since, counts, count_seen = e.day, counts + 1, e.plants
    mean, var = _age(mean, var, max((today - last).days, 0) / 365.25, mortality)
    mean = max(mean, 0.0)
    return Account(planted, replanted, cut, lost, planted + replanted - cut - lost - mean, mean, float(np.sqrt(max(var, (0.005 * mean) ** 2))),
                   max((today - since).days, 0) / 365.25, counts, count_seen, z)


def _age(mean: float, var: float, years: float, mortality: float) -> tuple[float, float]:
    keep = (1 - mortality) ** years
    return mean * keep, var * keep**2 + (float(k.PLOT_LOSS_SD) * mean * keep) ** 2 * years


def survival(mortality: float, years: float) -> float:
    """(1 − m)^years."""
    return (1 - mortality) ** years


def estate_mortality(ratio: np.ndarray, years: np.ndarray, sd: np.ndarray, prior: float, prior_sd: float) -> tuple[float, float]:
    """(mean, sd) of the yearly mortality from plots' (counted + cut + recorded lost) ÷ planted after some years.

    Regression of log ratio on years through the origin, with the prior as one more observation; the spread
    of a plot's own losses is in ``sd`` (of the log ratio).
    """
    slope_prior, slope_sd = np.log(1 - prior), prior_sd / (1 - prior)
    weight = years**2 / np.maximum(sd, 0.02) ** 2
    total = weight.sum() + slope_sd**-2
    slope = ((years * np.log(np.clip(ratio, 0.05, 1.3)) / np.maximum(sd, 0.02) ** 2).sum() + slope_prior * slope_sd**-2) / total
    m = float(np.clip(1 - np.exp(slope), 0.0, 0.5))
    return m, float(np.sqrt(1 / total) * (1 - m))
