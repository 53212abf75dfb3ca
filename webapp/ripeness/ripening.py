"""How a plot ripens: the model in symbols, forecasts with intervals, and joint draws (``fitting`` fits it).

    y = f(a) + s(t) + z + z_s(t) + g(t) + u + p·f′(a) + o(t) + v + ē        (°Bx at 20 °C; a in months)

f = f₀(1 + k) + d·f₀′ + c + bends; s two harmonics; z zone level, z_s its season, zone pace inside p;
g what moves the whole estate at once (``shock``); u ~ N(0, level²), p ~ N(0, pace²) months ahead or behind,
o a drift with memory (Ornstein–Uhlenbeck), v error of the visit, ē plants' spread over n, growing with age
(``spread``). The pace is linearised about its own last estimate; where the age itself is uncertain, over
that uncertainty. f₀ and s start from the practice curve and cycle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import constants as k
from . import curve, shock, spread
from .visits import Visits

COMPONENTS = ("level", "pace", "drift", "visit", "plant", "zone", "zone_pace", "zone_season", "shock")
STEEPEST_FALL = -0.2
LEAST_PLANT_SD_DEG = 0.05
DAYS_PER_MONTH = 30.4375


@dataclass(frozen=True)
class Land:
    """What the model needs of each plot: [P] planting day ordinal, its sd in months, zone index; zone names."""

    planted: np.ndarray
    age_sd: np.ndarray
    zone: np.ndarray
    zones: tuple[str, ...]


@dataclass(frozen=True)
class Fit:
    """Everything a forecast rests on, as plain arrays (stored and backed up)."""

    sds: np.ndarray
    theta: np.ndarray
    cov: np.ndarray
    slope_theta: np.ndarray
    about: np.ndarray        # [P] months the pace is linearised about
    zone_about: np.ndarray   # [Z]
    residuals: np.ndarray    # standardised plant residuals, sorted
    oldest_months: float
    peak_months: float
    converged: bool
    spread_slope: float      # growth of the plants' log variance in 60 months
    past: np.ndarray         # knots of g up to the fit's day, ordinals
    inflation: np.ndarray    # [D] what the back-test multiplies variances by, on ``widen_days``
    widen_days: np.ndarray   # [D] ordinals
    widen: np.ndarray        # [P, D] factor on the sd for what is not known of the standard deviations

    def sd(self, name: str) -> float:
        return float(self.sds[COMPONENTS.index(name)])


def columns(zones: int, knots: int = 0) -> dict[str, np.ndarray]:
    """Where each part of θ stands; g's knots last."""
    at, out = 0, {}
    for name, size in (("scale", 1), ("shift", 1), ("level", 1), ("bends", len(curve.bend_centres())), ("season", 4), ("zone", zones), ("zone_pace", zones), ("zone_season", 4 * zones), ("shock", knots)):
        out[name] = np.arange(at, at + size)
        at += size
    return out


def design(age: np.ndarray, day: np.ndarray, zone: np.ndarray, zones: int, slope: np.ndarray, peak: float, along: np.ndarray) -> np.ndarray:
    """[..., p] rows of X at (already shifted) ages and days; ``along`` [..., K] the days' weights on g's coefficients."""
    where = columns(zones, along.shape[-1])
    X = np.zeros((*age.shape, sum(len(v) for v in where.values())))
    X[..., where["scale"][0]], X[..., where["shift"][0]], X[..., where["level"][0]] = curve.practice(age, peak), curve.practice_slope(age, peak), 1.0
    X[..., where["bends"]] = curve.bends(age, peak)
    phase = curve.season(day)
    X[..., where["season"]] = phase
    own = np.eye(zones)[np.broadcast_to(zone, age.shape)]
    X[..., where["zone"]] = own
    X[..., where["zone_pace"]] = own * slope[..., None]
    X[..., where["zone_season"]] = (own[..., :, None] * phase[..., None, :]).reshape(*age.shape, 4 * zones)
    X[..., where["shock"]] = along
    return X


def prior(zones: int, knots: int) -> tuple[np.ndarray, tuple[np.ndarray, ...]]:
    """(fixed prior precision [p, p], coefficients pooled with an sd of their own, in the order of ``COMPONENTS``)."""
    where = columns(zones, knots)
    omega = np.zeros((sum(len(v) for v in where.values()),) * 2)
    for name, sd in (("scale", k.SCALE_SD), ("shift", k.SHIFT_SD_MONTHS), ("level", k.LEVEL_SD_DEG)):
        omega[where[name], where[name]] = float(sd) ** -2
    omega[np.ix_(where["bends"], where["bends"])] = curve.bend_precision()
    season = where["season"]
    omega[season, season] = [float(k.SEASON_SD_DEG) ** -2] * 2 + [float(k.SEASON2_SD_DEG) ** -2] * 2
    return omega, (where["zone"], where["zone_pace"], where["zone_season"], where["shock"])


def height(age: np.ndarray, theta: np.ndarray, zones: int, peak: float) -> np.ndarray:
    """The estate's curve of age alone, °Bx."""
    where = columns(zones)
    return (curve.practice(age, peak) * (1 + theta[where["scale"][0]]) + theta[where["shift"][0]] * curve.practice_slope(age, peak)
            + theta[where["level"][0]] + curve.bends(age, peak) @ theta[where["bends"]])


def slope_at(age: np.ndarray, theta: np.ndarray, zones: int, peak: float, age_sd: np.ndarray) -> np.ndarray:
    """Slope of the fitted curve, °Bx per month (not steeper downhill than −0.2), as the secant over ± the age's sd.

    ``age`` [P, T], ``age_sd`` [P] months: on the flat top of the curve a plot of unknown age could be much younger, and the tangent would not say so.
    """
    reach = np.maximum(age_sd, 1.0)[:, None]
    return np.maximum((height(age + reach, theta, zones, peak) - height(age - reach, theta, zones, peak)) / (2 * reach), STEEPEST_FALL)


def rows(visits: Visits, land: Land, about: np.ndarray, slope_theta: np.ndarray, peak: float, along: np.ndarray):
    """(y less offset, X, z) of the visits, linearised about ``about`` months; ``along`` [P, M, K] weights on g's coefficients."""
    zones = len(land.zones)
    age = np.where(visits.mask, (visits.day - land.planted[:, None]) / DAYS_PER_MONTH, 60.0) + about[:, None]
    z = np.where(visits.mask, slope_at(age, slope_theta, zones, peak, land.age_sd), 0.0)
    X = np.where(visits.mask[..., None], design(age, visits.day, land.zone[:, None], zones, z, peak, along), 0.0)
    y = np.where(visits.mask, visits.mean - curve.practice(age, peak) - curve.season(visits.day) @ curve.season_practice() + about[:, None] * z, 0.0)
    return y, X, z


def blocks(visits: Visits, land: Land, z: np.ndarray, spread_slope: float) -> tuple[np.ndarray, ...]:
    """[P, M, M] what each of the first five components' variance is multiplied by."""
    m = visits.mask.astype(float)
    both = m[:, :, None] * m[:, None, :]
    gap = np.abs(visits.day[:, :, None] - visits.day[:, None, :]) / 7.0
    eye = np.eye(m.shape[1])
    per_plant = np.where(visits.mask, spread.relative(ages(visits, land), spread_slope) / np.maximum(visits.n, 1), 0.0)
    return (both, z[:, :, None] * z[:, None, :], both * np.exp(-gap / float(k.DRIFT_WEEKS)), eye * m[:, :, None], eye * per_plant[:, :, None])


def ages(visits: Visits, land: Land) -> np.ndarray:
    """[P, M] months at each visit as the land says."""
    return (visits.day - land.planted[:, None]) / DAYS_PER_MONTH


def plant_sd(f: Fit, age_months: np.ndarray) -> np.ndarray:
    """Sd of plants within a plot at an age, °Bx."""
    return np.maximum(f.sd("plant"), LEAST_PLANT_SD_DEG) * np.sqrt(spread.relative(age_months, f.spread_slope))


@dataclass(frozen=True)
class Posterior:
    """What the visits say about each plot: X [P, M, p], V and W = V⁻¹ [P, M, M], q [P, M], T = WX, z, and the pace variance [P]."""

    X: np.ndarray
    V: np.ndarray
    W: np.ndarray
    q: np.ndarray
    T: np.ndarray
    z: np.ndarray
    pace_var: np.ndarray
    visits: Visits
    land: Land
    about: np.ndarray


def posterior(f: Fit, visits: Visits, land: Land, about: np.ndarray) -> Posterior:
    """Closed form from a stored fit: needs no other plot, so one plot moves at once with its own records."""
    total = about + f.zone_about[land.zone]
    y, X, z = rows(visits, land, total, f.slope_theta, f.peak_months, shock.along(visits.day, shock.knots(f.past)))
    V = np.einsum("nm,mk->nmk", np.where(visits.mask, visits.known, 1.0), np.eye(visits.mask.shape[1]))
    for sd, block in zip(f.sds, blocks(visits, land, z, f.spread_slope)):
        V = V + sd**2 * block
    V = V + land.age_sd[:, None, None] ** 2 * z[:, :, None] * z[:, None, :]
    V = V + 1e-9 * np.eye(visits.mask.shape[1])
    W = np.linalg.inv(V)
    T = W @ X
    q = np.einsum("nmk,nk->nm", W, y) - T @ f.theta
    return Posterior(X, V, W, np.where(visits.mask, q, 0.0), T, z, f.sd("pace") ** 2 + land.age_sd**2, visits, land, total)


@dataclass(frozen=True)
class Outlook:
    """At T days: [P, T] mean and variance of the plot mean; pieces for joint draws."""

    mean: np.ndarray
    var: np.ndarray
    shared: np.ndarray   # [P, T, p] d: how the estate's coefficients move it
    c: np.ndarray        # [P, T, M]
    z: np.ndarray        # [P, T]
    days: np.ndarray
    age: np.ndarray      # [P, T] effective months (with the part of the pace it is linearised about)
    wider: np.ndarray    # [P, T] factor on the sd, already in ``var``


def ahead(f: Fit, post: Posterior, days: np.ndarray) -> Outlook:
    """Forecast the plot means at ordinal ``days`` [T] (one list for all plots)."""
    land, visits, zones = post.land, post.visits, len(post.land.zones)
    age = (days[None, :] - land.planted[:, None]) / DAYS_PER_MONTH + post.about[:, None]
    z = slope_at(age, f.slope_theta, zones, f.peak_months, land.age_sd)
    along = np.broadcast_to(shock.along(days, shock.knots(f.past)), (*age.shape, len(f.past) + len(shock.AHEAD_DAYS)))
    x = design(age, np.broadcast_to(days, age.shape), land.zone[:, None], zones, z, f.peak_months, along)
    gap = np.abs(days[None, :, None] - visits.day[:, None, :]) / 7.0
    c = np.where(visits.mask[:, None, :], f.sd("level") ** 2 + post.pace_var[:, None, None] * z[:, :, None] * post.z[:, None, :]
                 + f.sd("drift") ** 2 * np.exp(-gap / float(k.DRIFT_WEEKS)), 0.0)
    own = f.sd("level") ** 2 + post.pace_var[:, None] * z**2 + f.sd("drift") ** 2
    shared = x - c @ post.T
    mean = (curve.practice(age, f.peak_months) + curve.season(days) @ curve.season_practice() - post.about[:, None] * z + x @ f.theta
            + (c @ post.q[:, :, None])[:, :, 0])
    var = own - ((c @ post.W) * c).sum(axis=2) + ((shared @ f.cov) * shared).sum(axis=2)
    wider = np.array([np.interp(days, f.widen_days, row) for row in f.widen]).reshape(mean.shape) * np.sqrt(inflation(f, days))
    return Outlook(mean, np.maximum(var, 1e-6) * wider**2, shared, c, z, days, age, wider)


def inflation(f: Fit, days: np.ndarray) -> np.ndarray:
    """What the back-test multiplies the variance of a plot's mean by, on ordinal ``days``."""
    return np.interp(days, f.widen_days, f.inflation)


def visit_noise(f: Fit, age_months: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Variance of a visit's mean of ``n`` plants about the plot's mean, °Bx²."""
    return f.sd("visit") ** 2 + plant_sd(f, age_months) ** 2 / n


def next_visit_var(f: Fit, out: "Outlook", plots: np.ndarray, at: np.ndarray, n: np.ndarray) -> np.ndarray:
    """Variance of what a visit of ``n`` plants would say, at the plots and places in ``out.days`` given by two arrays."""
    return out.var[plots, at] + visit_noise(f, out.age[plots, at], n)


def after_one_visit(f: Fit, post: Posterior, out: Outlook, n: int) -> np.ndarray:
    """[P, T] sd of the plot mean on each day if one visit of ``n`` plants were made on the first: √(P − C²/(P₀ + σv² + σe²/n))."""
    gap = np.abs(out.days - out.days[0]) / 7.0
    lean = (out.c[:, :1] @ post.W)[:, 0]
    C = (f.sd("level") ** 2 + post.pace_var[:, None] * out.z * out.z[:, :1] + f.sd("drift") ** 2 * np.exp(-gap / float(k.DRIFT_WEEKS))
         - (out.c @ lean[:, :, None])[:, :, 0] + (out.shared @ (out.shared[:, 0] @ f.cov)[:, :, None])[:, :, 0])
    plain = out.var / out.wider**2  # as the closed form would really move; widened again like every answer
    return out.wider * np.sqrt(np.maximum(plain - C**2 / (plain[:, :1] + visit_noise(f, out.age[:, :1], n)), 1e-6))


def before_visits(f: Fit, post: Posterior, out: Outlook) -> np.ndarray:
    """[P] variance of the plot mean on the first day had none of the plot's own visits been made (not widened).

    The estate's coefficients without them by a downdate: A₋ᵢ⁻¹ = A⁻¹ + A⁻¹X′(V − XA⁻¹X′)⁻¹XA⁻¹.
    """
    x = out.shared[:, 0] + (out.c[:, :1] @ post.T)[:, 0]
    own = f.sd("level") ** 2 + post.pace_var * out.z[:, 0] ** 2 + f.sd("drift") ** 2
    XA = post.X @ f.cov
    left = post.V - XA @ post.X.transpose(0, 2, 1)
    along = (XA @ x[:, :, None])[:, :, 0]
    gained = (along * np.linalg.solve(left, along[:, :, None])[:, :, 0]).sum(axis=1)
    return own + ((x @ f.cov) * x).sum(axis=1) + np.maximum(gained, 0.0)


def draws(f: Fit, post: Posterior, out: Outlook, n: int, seed: int) -> np.ndarray:
    """[n, P, T] float32 joint draws of the plot means: the estate's coefficients drawn once for all plots."""
    rng = np.random.default_rng([seed, 1])
    root = np.linalg.cholesky(f.cov + 1e-12 * np.eye(len(f.cov)))
    common = (rng.standard_normal((n, len(f.theta))) @ root.T).astype(np.float32)
    P, T = out.mean.shape
    result = np.empty((n, P, T), np.float32)
    gap = np.abs(out.days[:, None] - out.days[None, :]) / 7.0
    drift = f.sd("drift") ** 2 * np.exp(-gap / float(k.DRIFT_WEEKS))
    own = np.random.default_rng([seed, 2])
    for p in range(P):  # one [T, T] factor at a time keeps memory flat
        z = out.z[p]
        K = f.sd("level") ** 2 + post.pace_var[p] * np.outer(z, z) + drift - out.c[p] @ post.W[p] @ out.c[p].T
        values, vectors = np.linalg.eigh(K)
        keep = values > 1e-8 * max(values[-1], 1e-12)
        factor = (vectors[:, keep] * np.sqrt(values[keep])).astype(np.float32)
        noise = own.standard_normal((n, len(values)), dtype=np.float32)[:, : factor.shape[1]]
        result[:, p] = out.mean[p].astype(np.float32) + (noise @ factor.T + common @ out.shared[p].astype(np.float32).T) * out.wider[p].astype(np.float32)
    return result


def pace_months(f: Fit, post: Posterior) -> np.ndarray:
    """[P] months each plot is ahead (+) or behind (−) of its zone."""
    return post.pace_var * (post.z * post.q).sum(axis=1)
