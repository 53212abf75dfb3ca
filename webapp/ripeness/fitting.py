"""The fit of an estate: penalised REML in rounds of linearising, then what its standard deviations and its own past errors leave in doubt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from . import constants as k
from . import ripening, shock, spread, terms, weighing
from .estimate import Grouped, doubt, evaluate, solve
from .falling_back import sought
from .ripening import COMPONENTS, DAYS_PER_MONTH, Fit, Land
from .visits import Visits

SAMPLE_PLOTS = 1500
ROUNDS, MOST_SHIFT_MONTHS = 4, 15.0
ABOUT_SHARE = 0.25
"""Part of a plot's estimated pace its curve is linearised about: a tangent lies above a bending curve, and farther out (0.5) plots of 50 to 65 months were foretold
0.1 °Bx too ripe on every simulated law, so that of those said to be ripe with 25 % only 14 were; at 0 errors are 1 % larger."""
WIDEN_AT_WEEKS = np.array([0.0, 13.0, 26.0, 39.0, 52.0, 78.0, 104.0, 260.0, 728.0])
MOST_WIDER = 3.0
LEAST_LEFT_OUT, LEAST_BEFORE = 12, 30
"""A back-test needs this many visits left out, and as many before."""
MOST_SQUARED = 9.0
WEIGHED_TIMES = 2
"""Faulty visits hide each other while they make all visits look noisy: what is far is asked again after they weigh little."""


def fit_estate(visits: Visits, land: Land, peak_months: float, today: float, sample: int = SAMPLE_PLOTS, widened: bool = True) -> Fit:
    """The fit alone of :func:`fit_weighed`."""
    return fit_weighed(visits, land, peak_months, today, sample, widened)[0]


def fit_weighed(visits: Visits, land: Land, peak_months: float, today: float, sample: int = SAMPLE_PLOTS, widened: bool = True) -> tuple[Fit, Visits]:
    """The fit and the visits as it weighed them (``weighing``), which is how a posterior from it takes them.

    Fit the estate as of ``today`` (day ordinal). Never fails on thin data: priors carry what the data do not say.

    Of an estate with many more visited plots than ``sample`` the standard deviations are learned from a fixed random sample of
    them, which tells them well enough, and so is what its past errors say; the curve, season and every plot are solved in full.
    ``widened`` False leaves out what widens the intervals (doubt of the standard deviations, past errors): for measuring.
    """
    start = np.array([k.SD_PRIORS[name][0] for name in COMPONENTS])
    visited = np.flatnonzero(visits.mask.any(axis=1))
    if len(visited) <= 1.3 * sample:
        plain, data, visits = _weighed(visits, land, peak_months, today, start)
        return (replace(plain, widen=_wider(plain, data, visits, land), inflation=_inflation(plain, visits, land, today)) if widened else plain), visits
    some = np.sort(np.random.default_rng(7).choice(visited, sample, replace=False))
    seen, ground = visits.of(some), land.of(some)
    part, _, seen = _weighed(seen, ground, peak_months, today, start)
    plain, _ = _settle(visits, land, peak_months, today, part.sds, 2, begin=part)
    weighed = weighing.weighed(plain, visits, land)
    if weighed.doubt.any():
        plain, _ = _settle(weighed, land, peak_months, today, part.sds, 2, begin=part)
    return replace(plain, converged=part.converged, inflation=_inflation(part, seen, ground, today) if widened else plain.inflation), weighed


def _weighed(visits: Visits, land: Land, peak_months: float, today: float, sds: np.ndarray) -> tuple[Fit, Grouped, Visits]:
    """The fit in which visits far from all others weigh little, its data, and the visits so weighed."""
    plain, data = _settle(visits, land, peak_months, today, sds, ROUNDS)
    for _ in range(WEIGHED_TIMES):
        weighed = weighing.weighed(plain, visits, land)
        if np.array_equal(weighed.doubt > 0, visits.doubt > 0):
            break
        visits = weighed
        plain, data = _settle(visits, land, peak_months, today, np.maximum(plain.sds, 1e-3), 2, near=plain)
    return plain, data, visits


def _settle(visits: Visits, land: Land, peak_months: float, today: float, sds: np.ndarray, rounds: int, begin: Fit | None = None, near: Fit | None = None) -> tuple[Fit, Grouped]:
    """The fit from ``sds`` on, without what widens it, and the data of its last round; from another's curve and at its sds when ``begin`` is given;
    from ``near``, a fit of nearly the same visits, it sets out."""
    zones = len(land.zones)
    past = shock.past_knots(visits.day[visits.mask].min(initial=today), today)
    omega, pooled = terms.prior(zones, len(past))
    where = terms.columns(zones, len(past))
    along = shock.along(visits.day, past) @ shock.root(past)
    about, zone_about = np.zeros(len(land.planted)), np.zeros(zones)
    slope_theta, age = np.zeros(omega.shape[0]), ripening.ages(visits, land)
    if begin or near:
        zone_about, slope_theta = (begin or near).zone_about, (begin or near).slope_theta
    if near:
        about = near.about
    steeper, usual = spread.slope_of(visits, age), np.array([k.SD_PRIORS[name][0] for name in COMPONENTS])
    freedom = float(np.where(visits.mask, visits.n - 1, 0).clip(0).sum())
    squares = float((visits.squares_in / spread.relative(age, steeper))[visits.mask].sum())
    for turn in range(rounds):
        last = turn == rounds - 1
        y, X, z = ripening.rows(visits, land, about + zone_about[land.zone], slope_theta, peak_months, along)
        blocks = ripening.blocks(visits, land, z, steeper)
        data = Grouped(y, X, visits.mask, blocks, visits.own_var, omega, pooled, (COMPONENTS.index("plant"), freedom, squares),
                       tuple(k.SD_PRIORS[n] for n in COMPONENTS), ripening.known_block(visits, land, z))
        solution, step = (solve(data, sds), begin.step) if begin else sought(data, sds, usual, COMPONENTS, relative=1e-12, gradient=0.01 if last else 1.0)
        sds = sds if begin else np.maximum(solution.sds, 1e-3)
        if not last:
            pace_var = sds[COMPONENTS.index("pace")] ** 2 + land.age_sd**2
            zone_about = np.clip(solution.theta[where["zone_pace"]], -24.0, 24.0)
            about = ABOUT_SHARE * np.clip(pace_var * (z * solution.q).sum(axis=1), -MOST_SHIFT_MONTHS, MOST_SHIFT_MONTHS)
            slope_theta = solution.theta.copy()
    theta, cov = shock.extend(solution.theta, solution.cov, where["shock"], solution.sds[COMPONENTS.index("shock")], past)
    shape = spread.shape_of(visits, (visits.residual_day - land.planted[visits.residual_plot]) / DAYS_PER_MONTH, solution.sds[COMPONENTS.index("plant")], steeper)
    days = today + 7 * WIDEN_AT_WEEKS
    plain = Fit(solution.sds, theta, cov, slope_theta[: where["shock"][0]], about, zone_about, shape, float(age[visits.mask].max(initial=0.0)), peak_months, solution.converged, steeper, past,
                np.ones(len(days)), days, np.ones((len(about), len(days))), step)
    return plain, data


def _wider(f: Fit, data: Grouped, visits: Visits, land: Land) -> np.ndarray:
    """[P, D] how much wider the sd is when the standard deviations are drawn, not taken as known."""
    if len(land.planted) > k.DOUBT_MOST_PLOTS:
        return f.widen
    base = ripening.ahead(f, ripening.posterior(f, visits, land, f.about), f.widen_days)
    means, variances = [], []
    at = terms.columns(len(land.zones), len(f.past))["shock"]
    for sds in doubt(data, f.sds, k.DOUBT_DRAWS, seed=1):
        _, _, (theta, cov, _, _) = evaluate(data, np.log(np.maximum(sds, 1e-3)))
        theta, cov = shock.extend(theta, cov, at, sds[COMPONENTS.index("shock")], f.past)
        other = replace(f, sds=sds, theta=theta, cov=cov)
        out = ripening.ahead(other, ripening.posterior(other, visits, land, f.about), f.widen_days)
        means.append(out.mean)
        variances.append(out.var)
    ratio = (np.mean(variances, axis=0) + np.var(means, axis=0)) / base.var
    return np.sqrt(np.clip(ratio, 1.0, MOST_WIDER**2))


def _inflation(f: Fit, visits: Visits, land: Land, today: float) -> np.ndarray:
    """[D] what past forecasts' errors say the variance of a plot's mean should have been multiplied by, by weeks ahead."""
    parts = []
    for weeks in k.BACK_TEST_WEEKS:
        cut = today - 7.0 * weeks
        before, after = visits.until(cut), visits.mask & (visits.day > cut)
        if after.sum() < LEAST_LEFT_OUT or before.mask.sum() < LEAST_BEFORE:
            continue
        then, _ = _settle(before, land, f.peak_months, cut, np.maximum(f.sds, 1e-2), 2)
        ahead = ripening.ahead(then, ripening.posterior(then, before, land, then.about), cut + 7.0 * np.arange(weeks + 1))
        plot, m = np.nonzero(after)
        week = np.rint((visits.day[plot, m] - cut) / 7.0).astype(int)
        noise = ripening.visit_noise(then, ahead.age[plot, week], visits.n[plot, m]) + visits.own_var[plot, m]
        parts.append((week.astype(float), (visits.mean[plot, m] - ahead.mean[plot, week]) ** 2, ahead.var[plot, week], noise))
    if not parts:
        return f.inflation
    return _line_of_errors(*(np.concatenate(column) for column in zip(*parts)))


def _line_of_errors(week: np.ndarray, squared: np.ndarray, var: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """[D] the factor a(w), log a linear in the weeks ahead, under which errors ~ N(0, a·var + noise); priors hold it near 1.

    Errors of more than three sds count as three. Held at the quarter's value before it and at the year's beyond: few visits
    fall in the first weeks, and nothing was tried farther.
    """
    from scipy.optimize import minimize

    capped = np.minimum(squared, MOST_SQUARED * (var + noise))

    def criterion(b: np.ndarray) -> float:
        total = np.exp(b[0] + b[1] * (np.clip(week, 13.0, 52.0) - 26.0) / 26.0) * var + noise
        return float((np.log(total) + capped / total).sum() + (b[0] / float(k.BACK_TEST_LOG_SD)) ** 2 + (b[1] / float(k.BACK_TEST_SLOPE_SD)) ** 2)

    b = minimize(criterion, np.zeros(2), method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-6}).x
    return np.clip(np.exp(b[0] + b[1] * (np.clip(WIDEN_AT_WEEKS, 13.0, 52.0) - 26.0) / 26.0), *k.BACK_TEST_LIMITS)
