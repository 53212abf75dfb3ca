"""Plants of a plot through time: planted, replanted, cut, lost, counted; a small Kalman filter keeps the account.

The law (DESIGN §3): planted + replanted − cut − recorded losses − estimated losses = standing, exactly;
what a count says beyond it is shown with its z. Beside the plants the filter keeps the plot's own rate of loss
(how it differs for good from the estate's), which two counts of one plot teach.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Callable

import numpy as np

from . import constants as k

REPLANT, CUT, LOSS, LOSS_SHARE, COUNT = "replant", "cut", "loss", "loss_share", "count"
FAR_OFF = 3.0
"""A count further off than this many standard errors counts for less: one of both is not what it seems."""


@dataclass(frozen=True)
class Event:
    """What happened to a plot's plants on a day; ``sd`` in plants (for counts) or 0."""

    day: date
    kind: str
    plants: float
    sd: float = 0.0


@dataclass(frozen=True)
class Account:
    """Plants. ``since_count_years`` runs from the last count (or planting); ``count_z`` compares it with what was expected.

    ``rate`` is the plot's yearly loss beyond the estate's (log), ``rate_sd`` its sd, ``rate_with`` its covariance with the log of
    what stands.
    """

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
    rate: float = 0.0
    rate_sd: float = 0.0
    rate_with: float = 0.0

    def as_dict(self) -> dict:
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def run(planted: float, planted_sd: float, start: date, events: list[Event], today: date, mortality: float, rate_sd: float | None = None, bolted: Callable[[float], float] = lambda age: 0.0) -> Account:
    """The account of one plot up to ``today`` under a yearly ``mortality``; order of same-day events does not matter much
    and is fixed: losses, cuts, counts, replanting. ``rate_sd`` how much plots differ in it (log per year);
    ``bolted`` the cumulative hazard of being lost to a quiote by an age in years."""
    order = {LOSS: 0, LOSS_SHARE: 0, CUT: 1, COUNT: 2, REPLANT: 3}
    state = _State(planted, planted_sd**2, (float(k.PLOT_RATE_SD) if rate_sd is None else rate_sd) ** 2, -float(np.log1p(-mortality)))
    last = start

    def quiotes(first: date, then: date) -> float:
        return float(bolted((then - start).days / 365.25) - bolted((first - start).days / 365.25))

    replanted = cut = lost = 0.0
    since, counts, count_seen, z = start, 0, None, None
    for e in sorted(events, key=lambda e: (e.day, order[e.kind], e.plants)):
        if e.day > today:
            continue
        state.age(max((e.day - last).days, 0) / 365.25, quiotes(last, max(last, e.day)))
        last = max(last, e.day)
        if e.kind == REPLANT:
            state.mean, replanted = state.mean + e.plants, replanted + e.plants
        elif e.kind == CUT:
            took = state.take(e.plants, float(k.CUT_SD))
            cut += took
        elif e.kind in (LOSS, LOSS_SHARE):
            lost += state.take(e.plants if e.kind == LOSS else e.plants * state.mean, float(k.LOSS_SD))
        else:
            z = state.count(e.plants, e.sd**2)
            since, counts, count_seen = e.day, counts + 1, e.plants
    state.age(max((today - last).days, 0) / 365.25, quiotes(last, max(last, today)))
    mean = max(state.mean, 0.0)
    sd = float(np.sqrt(max(state.var, (0.005 * mean) ** 2)))
    return Account(planted, replanted, cut, lost, planted + replanted - cut - lost - mean, mean, sd, max((today - since).days, 0) / 365.25, counts, count_seen, z,
                   state.rate, float(np.sqrt(max(state.rate_var, 0.0))), state.both / max(mean, 1.0))


@dataclass
class _State:
    """Plants ``mean`` with ``var``; the plot's own yearly rate with ``rate_var``; ``both`` their covariance; ``usual`` the estate's rate."""

    mean: float
    var: float
    rate_var: float
    usual: float
    rate: float = 0.0
    both: float = 0.0

    def age(self, years: float, bolted: float) -> None:
        if years <= 0:
            return
        keep = float(np.exp(-max(self.usual + self.rate, 0.0) * years - bolted))
        left, lean = self.mean * keep, -self.mean * keep * years
        self.var = keep**2 * self.var + 2 * keep * lean * self.both + lean**2 * self.rate_var + (float(k.PLOT_LOSS_SD) * left) ** 2 * years
        self.both = keep * self.both + lean * self.rate_var
        self.mean = left

    def take(self, plants: float, error: float) -> float:
        took = min(plants, max(self.mean, 0.0))
        self.mean, self.var = self.mean - took, self.var + (error * took) ** 2
        return took

    def count(self, plants: float, var: float) -> float:
        """Take in a count; its z against what was expected."""
        z = (plants - self.mean) / float(np.sqrt(self.var + var))
        var *= max(abs(z) / FAR_OFF, 1.0) ** 2
        gain, turn = self.var / (self.var + var), self.both / (self.var + var)
        off = plants - self.mean
        self.mean, self.rate = self.mean + gain * off, self.rate + turn * off
        self.rate_var, self.both, self.var = self.rate_var - turn * self.both, self.both * (1 - gain), self.var * (1 - gain)
        return z


def survival(mortality: float, years: float) -> float:
    """(1 − m)^years."""
    return (1 - mortality) ** years


def estate_mortality(ratio: np.ndarray, years: np.ndarray, sd: np.ndarray, prior: float, prior_sd: float) -> tuple[float, float, float]:
    """(mean, sd) of the yearly mortality from plots' (counted + cut + recorded lost) ÷ planted after some years, and how much
    plots' own rates differ (log per year, sd).

    Regression of log ratio on years through the origin, with the prior as one more observation; a plot's error is ``sd`` (of the
    log ratio) and years × its own rate, whose spread is averaged over its posterior.
    """
    slope_prior, slope_sd = np.log(1 - prior), prior_sd / (1 - prior)
    y = np.log(np.clip(ratio, 0.05, 1.3))
    scores, slopes, totals = [], [], []
    grid = float(k.PLOT_RATE_SD) * np.exp(np.linspace(-1.5, 1.2, 19))
    for spread in grid:
        var = np.maximum(sd, 0.02) ** 2 + (spread * years) ** 2
        total = float((years**2 / var).sum()) + slope_sd**-2
        slope = (float((years * y / var).sum()) + slope_prior * slope_sd**-2) / total
        far = np.minimum((y - slope * years) ** 2 / var, 9.0)  # a plot struck by something is not a plot of another rate
        scores.append(float((np.log(var) + far).sum()) + (np.log(spread / float(k.PLOT_RATE_SD)) / 0.5) ** 2)
        slopes.append(slope)
        totals.append(total)
    weight = np.exp(-0.5 * (np.array(scores) - min(scores)))
    weight /= weight.sum()
    slope = float(weight @ np.array(slopes))
    m = float(np.clip(1 - np.exp(slope), 0.0, 0.5))
    return m, float(np.sqrt(weight @ (1 / np.array(totals)))) * (1 - m), float(np.sqrt(weight @ grid**2))
