"""How a plot ripens: the model in symbols, and forecasts with intervals (``fitting`` fits it, ``futures`` draws from it).

    y = f(a) + s(t) + z + z_s(t) + g(t) + u + p·f′(a) + o(t) + v + ē        (°Bx at 20 °C; a in months)

f = f₀(1 + k) + d·f₀′ + c + bends; s two harmonics; z zone level, z_s its season, zone pace inside p;
g what moves the whole estate at once (``shock``); u ~ N(0, level²), p ~ N(0, pace²) months ahead or behind,
o a drift with memory (Ornstein–Uhlenbeck), v error of the visit, ē plants' spread over n, growing with age
(``spread``). The pace is linearised about its own last estimate; where the age itself is uncertain, over
that uncertainty. f₀ and s start from the practice curve and cycle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import constants as k
from . import curve, jumps, rare, shock, spread
from .picked import Picked, nothing
from .terms import Halves, design, halves, slope_at
from .visits import PADDED, Visits

COMPONENTS = ("level", "pace", "drift", "visit", "plant", "zone", "zone_pace", "zone_season", "shock")
LEAST_PLANT_SD_DEG = 0.05
DAYS_PER_MONTH = 30.4375


@dataclass(frozen=True)
class Land:
    """What the model needs of each plot: [P] planting day ordinal (mean of its plants), its sd in months, zone index; zone names.

    ``age_spread`` [P] sd of the ages of one plot's plants, months (generations of replanted gaps). ``jump_day`` ordinal and
    ``jump_var`` °Bx² [P, K]: events that may have moved the plot's level for good (frost, pruned leaves); see ``jumps``.
    ``picked`` what passes took and which capones are ready; the model itself speaks of the plot as if uncut.
    """

    planted: np.ndarray
    age_sd: np.ndarray
    zone: np.ndarray
    zones: tuple[str, ...]
    age_spread: np.ndarray | None = None
    jump_day: np.ndarray | None = None
    jump_var: np.ndarray | None = None
    picked: Picked | None = None

    def of(self, at: np.ndarray) -> "Land":
        """The same of the plots at these places."""
        own = {name: None if getattr(self, name) is None else getattr(self, name)[at] for name in LAND_ARRAYS}
        return replace(self, **own, picked=None if self.picked is None else self.picked.of(at))


LAND_ARRAYS = ("planted", "age_sd", "zone", "age_spread", "jump_day", "jump_var")


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
    step: int = 0            # how far the search for the standard deviations had to fall back (``falling_back``)

    def sd(self, name: str) -> float:
        return float(self.sds[COMPONENTS.index(name)])


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


def known_block(visits: Visits, land: Land, z: np.ndarray) -> np.ndarray:
    """[P, M, M] covariance known beforehand: an uncertain age acts like a pace of known size; events move the level."""
    known = land.age_sd[:, None, None] ** 2 * z[:, :, None] * z[:, None, :]
    if land.jump_day is not None and land.jump_day.size:
        known += (visits.mask[:, :, None] & visits.mask[:, None, :]) * jumps.between(land.jump_day, land.jump_var, visits.day, visits.day)
    return known


def ages(visits: Visits, land: Land) -> np.ndarray:
    """[P, M] months at each visit as the land says."""
    return (visits.day - land.planted[:, None]) / DAYS_PER_MONTH


def plant_sd(f: Fit, age_months: np.ndarray) -> np.ndarray:
    """Sd of plants of one age within a plot, °Bx."""
    return np.maximum(f.sd("plant"), LEAST_PLANT_SD_DEG) * np.sqrt(spread.relative(age_months, f.spread_slope))


def plants_sd(f: Fit, out: "Outlook", land: Land) -> np.ndarray:
    """[P, T] sd of a plot's plants, °Bx, its generations' ages counted: √(σ² + (sd of ages · f′)²)."""
    one = plant_sd(f, out.age)
    return one if land.age_spread is None else np.hypot(one, land.age_spread[:, None] * out.z)


def part(f: Fit, land: Land, visits: Visits, at: np.ndarray) -> tuple[Fit, Land, Visits]:
    """The same of some plots only; the plants' residuals stay behind (a fit holds their shape)."""
    none = np.zeros(0, int)
    return (replace(f, about=f.about[at], widen=f.widen[at]), land.of(at),
            replace(visits, **{name: getattr(visits, name)[at] for name in PADDED}, residuals=np.zeros(0), residual_plot=none, residual_day=none))


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
    V = np.einsum("nm,mk->nmk", visits.own_var, np.eye(visits.mask.shape[1]))
    for sd, block in zip(f.sds, blocks(visits, land, z, f.spread_slope)):
        V = V + sd**2 * block
    V = V + known_block(visits, land, z)
    V = V + 1e-9 * np.eye(visits.mask.shape[1])
    W = np.linalg.inv(V)
    T = W @ X
    q = np.einsum("nmk,nk->nm", W, y) - T @ f.theta
    return Posterior(X, V, W, np.where(visits.mask, q, 0.0), T, z, f.sd("pace") ** 2 + land.age_sd**2, visits, land, total)


@dataclass(frozen=True)
class Outlook:
    """At T days: [P, T] mean (the middle of what it may be) and variance of the plot mean as if uncut; pieces for joint draws; what was picked."""

    mean: np.ndarray
    var: np.ndarray
    rows: list[Halves]   # X of the days, by zone
    c: np.ndarray        # [P, T, M]
    z: np.ndarray        # [P, T]
    days: np.ndarray
    age: np.ndarray      # [P, T] effective months (with the part of the pace it is linearised about)
    wider: np.ndarray    # [P, T] factor on the sd, already in ``var``
    taken: np.ndarray    # [P, T] share of the plants gone as the ripest
    ready: np.ndarray    # [P, T] share of the standing plants that are capones and ready
    rare_part: np.ndarray  # [P, T] part of ``var`` made by what seldom comes to the whole estate (``rare``)

    def along(self, v: np.ndarray) -> np.ndarray:
        """[P, T] X·v, for one v [p] or one a plot [P, p]."""
        out = np.empty(self.age.shape)
        for part in self.rows:
            out[part.plots] = part.along(v if v.ndim == 1 else v[part.plots])
        return out


def ahead(f: Fit, post: Posterior, days: np.ndarray) -> Outlook:
    """Forecast the plot means at ordinal ``days`` [T] (one list for all plots).

    With d = x − T′c (how the estate's coefficients move a plot) the variance is own − c′Wc + d′Cd, written out so that nothing of
    the size plots × days × coefficients is made.
    """
    land, visits, zones = post.land, post.visits, len(post.land.zones)
    age = (days[None, :] - land.planted[:, None]) / DAYS_PER_MONTH + post.about[:, None]
    z = slope_at(age, f.slope_theta, zones, f.peak_months, land.age_sd)
    c = z[:, :, None] * (post.pace_var[:, None] * post.z)[:, None, :] + f.sd("level") ** 2
    c += f.sd("drift") ** 2 * np.exp(np.abs(days[None, :, None] - visits.day[:, None, :]) / (-7.0 * float(k.DRIFT_WEEKS)))
    c += jumps.between(land.jump_day, land.jump_var, days[None, :], visits.day)
    c *= visits.mask[:, None, :]
    rows_ahead = halves(age, days, land.zone, zones, z, f.peak_months, f.past)
    seen = len(f.theta) - shock.beyond(f.past, float(visits.day.max(initial=f.past[-1])))  # knots beyond every visit weigh nothing
    TC = post.T[..., :seen] @ f.cov[:seen]
    mean = curve.practice(age, f.peak_months) + curve.season(days) @ curve.season_practice() - post.about[:, None] * z + (c @ post.q[:, :, None])[:, :, 0]
    var = f.sd("level") ** 2 + post.pace_var[:, None] * z**2 + f.sd("drift") ** 2 + jumps.since(land.jump_day, land.jump_var, days[None, :]) + ((c @ (TC[..., :seen] @ post.T[..., :seen].transpose(0, 2, 1) - post.W)) * c).sum(axis=2)
    for part in rows_ahead:
        mean[part.plots] += part.along(f.theta)
        var[part.plots] += part.spread(f.cov) - 2 * (c[part.plots] * part.leaning(TC[part.plots])).sum(axis=2)
    wider = np.array([np.interp(days, f.widen_days, row) for row in f.widen]).reshape(mean.shape) * np.sqrt(inflation(f, days))
    stand = land.picked or nothing(len(age))
    var = np.maximum(var, 1e-6)
    out = Outlook(mean, var * wider**2, rows_ahead, c, z, days, age, wider, stand.taken(days[None, :]), stand.ready(days[None, :]), np.zeros(mean.shape))
    moved = shock.rare_var(f.past, days)
    if visits.mask.any() and visits.day[visits.mask].max() > f.past[-1]:  # a visit after the fit has seen part of what was to come then
        moved = (shock.rare_along(shared(f, post, out, np.arange(len(age)))) ** 2).sum(axis=2)
    part = np.minimum(moved / var, rare.MOST)
    return replace(out, mean=out.mean + rare.lean(part) * np.sqrt(out.var), rare_part=part)


def shared(f: Fit, post: Posterior, out: Outlook, at: np.ndarray) -> np.ndarray:
    """[n, T, p] d of some plots: how the estate's coefficients move each."""
    along = np.broadcast_to(shock.along(out.days, shock.knots(f.past)), (len(at), len(out.days), len(f.past) + len(shock.AHEAD_DAYS)))
    x = design(out.age[at], np.broadcast_to(out.days, out.age[at].shape), post.land.zone[at, None], len(post.land.zones), out.z[at], f.peak_months, along)
    return x - out.c[at] @ post.T[at]


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
    first = _first(f, post, out) @ f.cov  # d′C of the first day, which every other day leans on
    C = (f.sd("level") ** 2 + post.pace_var[:, None] * out.z * out.z[:, :1] + f.sd("drift") ** 2 * np.exp(-gap / float(k.DRIFT_WEEKS))
         + jumps.between(post.land.jump_day, post.land.jump_var, out.days[None, :1], out.days[None, :])[:, 0]
         + out.along(first) - (out.c @ (lean + (post.T @ first[:, :, None])[:, :, 0])[:, :, None])[:, :, 0])
    plain = out.var / out.wider**2  # as the closed form would really move; widened again like every answer
    return out.wider * np.sqrt(np.maximum(plain - C**2 / (plain[:, :1] + visit_noise(f, out.age[:, :1], n)), 1e-6))


def _first(f: Fit, post: Posterior, out: Outlook) -> np.ndarray:
    """[P, p] d of the first day."""
    return shared(f, post, replace(out, days=out.days[:1], age=out.age[:, :1], z=out.z[:, :1], c=out.c[:, :1]), np.arange(len(out.age)))[:, 0]


def before_visits(f: Fit, post: Posterior, out: Outlook) -> np.ndarray:
    """[P] variance of the plot mean on the first day had none of the plot's own visits been made (not widened).

    The estate's coefficients without them by a downdate: A₋ᵢ⁻¹ = A⁻¹ + A⁻¹X′(V − XA⁻¹X′)⁻¹XA⁻¹.
    """
    x = _first(f, post, out) + (out.c[:, :1] @ post.T)[:, 0]
    own = f.sd("level") ** 2 + post.pace_var * out.z[:, 0] ** 2 + f.sd("drift") ** 2 + jumps.since(post.land.jump_day, post.land.jump_var, out.days[None, :1])[:, 0]
    XA = post.X @ f.cov
    left = post.V - XA @ post.X.transpose(0, 2, 1)
    along = (XA @ x[:, :, None])[:, :, 0]
    gained = (along * np.linalg.solve(left, along[:, :, None])[:, :, 0]).sum(axis=1)
    return own + ((x @ f.cov) * x).sum(axis=1) + np.maximum(gained, 0.0)


def pace_months(f: Fit, post: Posterior) -> np.ndarray:
    """[P] months each plot is ahead (+) or behind (−) of its zone."""
    return post.pace_var * (post.z * post.q).sum(axis=1)
