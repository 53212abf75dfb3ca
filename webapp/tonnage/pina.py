"""Mass per piña: a Gompertz curve over age with what the estate's own weighings and loads say of it, on the log scale.

    log W = log G(age) + α + β·(age − 6 years) + γ₅·min(age − 5, 0) + γ₂·min(age − 2½, 0) − φ·max(age − peak, 0)
            + bends(age) + year(day) + what is known of the plot (pruned, fertilised, capón, picked over) + δ_plot

The Gompertz default is from memory, so its level is wide and gives way to data. The bends (straight lines between
knots, a Gaussian process over age) are what no growth curve of a few parameters follows; ``year`` is what good and dry
years do to the whole estate, an Ornstein–Uhlenbeck process over the calendar, so years to come are less sure than the
last. φ is what is lost past the peak: it starts as the settings say and gives way to the old plots' piñas, so that the loss
is not taken off a second time what was weighed with it. A plot of several generations is their mixture, each of its own age.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import constants as k

CENTRE_YEARS, KNOT_YEARS, CALENDAR_YEARS, FIRST_FALL_YEARS = 6.0, 1.0, 0.5, 1.0
KNOTS = np.arange(1.0, 15.0, KNOT_YEARS)
CALENDAR = np.arange(-3.0, 2.51, CALENDAR_YEARS)
"""Years from today; before and after them the estate's movement stays as at the last knot."""
PLAIN, ROWS_AT_ONCE = 6, 40_000
EXTRAS = ("style_long", "style_shaved", "selective", "weighed", "leaf_pruning", "fertilising", "capon")
"""What is known of an observation or a plot beside its age, in the order of ``Seen.extra``."""
FIRST_EXTRA = PLAIN + len(KNOTS) + len(CALENDAR)
SIZE = FIRST_EXTRA + len(EXTRAS)


@dataclass(frozen=True)
class Curve:
    asymptote_kg: float
    shape: float
    rate_per_year: float
    peak_years: float = 7.5
    fall_per_year: float = 0.0


@dataclass(frozen=True)
class Growth:
    """``theta`` [Q] with ``cov`` for all plots; ``effect`` [P], its sd given θ ``effect_sd`` [P], and how it leans on θ [P, Q].

    ``lag``, ``share`` [P, G]: years after the first planting and share of the plants of each generation; ``extra`` [P, E]
    what is known of the plot from today on.
    """

    theta: np.ndarray
    cov: np.ndarray
    effect: np.ndarray
    effect_sd: np.ndarray
    lean: np.ndarray
    plot_sd: float
    curve: Curve
    lag: np.ndarray
    share: np.ndarray
    extra: np.ndarray

    def of(self, at: np.ndarray | slice) -> "Growth":
        """The same of some plots only."""
        return replace(self, **{name: getattr(self, name)[at] for name in ("effect", "effect_sd", "lean", "lag", "share", "extra")})

    def wider(self, factor: float) -> "Growth":
        """The same with every standard deviation ``factor`` times as wide."""
        return replace(self, cov=self.cov * factor**2, effect_sd=self.effect_sd * factor)


def gompertz_kg(age_years: np.ndarray, c: Curve) -> np.ndarray:
    """W(t) = A·exp(−b·exp(−k·t)), kg."""
    return c.asymptote_kg * np.exp(-c.shape * np.exp(-c.rate_per_year * np.maximum(age_years, 0.0)))


def age_variance(age_years: np.ndarray, age_sd_years: np.ndarray, c: Curve) -> np.ndarray:
    """Variance of the log of a mean piña whose plot's age is not known: the chord of the default curve over one sd each way."""
    up, down = (np.log(gompertz_kg(np.maximum(age_years + side * age_sd_years, 0.5), c)) for side in (1, -1))
    return (0.5 * (up - down)) ** 2


def _hats(x: np.ndarray, knots: np.ndarray, step: float) -> np.ndarray:
    return np.maximum(1 - np.abs(np.clip(x, knots[0], knots[-1])[..., None] - knots) / step, 0.0)


def of_age(age_years: np.ndarray, c: Curve) -> np.ndarray:
    """[..., 6 + K] level, tilt, two hinges that free the young ages, where the default curve is least known, the fall of the first year past
    the peak and of those after it (one that shows none says little of the other), and the bends."""
    plain = np.stack([np.ones_like(age_years), age_years - CENTRE_YEARS, np.minimum(age_years - 5.0, 0.0), np.minimum(np.maximum(age_years, 1.0) - k.YOUNGEST_WEIGHED_YEARS, 0.0),
                      -np.clip(age_years - c.peak_years, 0.0, FIRST_FALL_YEARS), -np.maximum(age_years - c.peak_years - FIRST_FALL_YEARS, 0.0)], axis=-1)
    return np.concatenate([plain, _hats(age_years, KNOTS, KNOT_YEARS)], axis=-1)


def mixed(age_years: np.ndarray, lag: np.ndarray, share: np.ndarray, curve: Curve) -> tuple[np.ndarray, np.ndarray]:
    """(log of the mean piña by the default curve, rows of ``of_age``) at ages [..., T] of plots whose generations lag
    [..., G] years behind with shares [..., G]; a generation not yet planted counts for nothing."""
    if lag.shape[-1] == 1:
        return np.log(gompertz_kg(age_years, curve)), of_age(age_years, curve)
    own = age_years[..., None] - lag[..., None, :]
    part = np.broadcast_to(share[..., None, :], own.shape) * (own > 0)
    part = np.where(part.sum(axis=-1, keepdims=True) > 0, part, 1.0)
    kilos = gompertz_kg(own, curve) * part
    weight = kilos / kilos.sum(axis=-1, keepdims=True)
    return np.log(kilos.sum(axis=-1) / part.sum(axis=-1)), (of_age(own, curve) * weight[..., None]).sum(axis=-2)


def rows(of_ages: np.ndarray, when_years: np.ndarray, extra: np.ndarray) -> np.ndarray:
    """[..., Q] all coefficients: of the age, of the calendar (years from today), of what else is known."""
    return np.concatenate([of_ages, np.broadcast_to(_hats(when_years, CALENDAR, CALENDAR_YEARS), (*of_ages.shape[:-1], len(CALENDAR))), np.broadcast_to(extra, (*of_ages.shape[:-1], len(EXTRAS)))], axis=-1)


def prior(c: Curve, labor_log: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> tuple[np.ndarray, np.ndarray]:
    """(mean [Q], precision [Q, Q]) of the coefficients; ``labor_log`` of a leaf pruning, a fertilising, a plot all capón."""
    mean, out = np.zeros(SIZE), np.zeros((SIZE, SIZE))
    out[:PLAIN, :PLAIN] = np.diag([float(sd) ** -2 for sd in (k.LEVEL_LOG_SD, k.AGE_LOG_SD, k.YOUNG_LOG_SD, k.NEW_LOG_SD, k.FALL_LOG_SD, k.FALL_LOG_SD)])
    bends = float(k.BEND_LOG_SD) ** 2 * np.exp(-0.5 * ((KNOTS[:, None] - KNOTS[None, :]) / float(k.BEND_YEARS)) ** 2)
    years = float(k.YEAR_LOG_SD) ** 2 * np.exp(-np.abs(CALENDAR[:, None] - CALENDAR[None, :]) / float(k.YEAR_LENGTH))
    for first, block in ((PLAIN, bends), (PLAIN + len(KNOTS), years)):
        out[first: first + len(block), first: first + len(block)] = np.linalg.inv(block + 1e-6 * np.eye(len(block)))
    sds = (k.STYLE_LOG_SD, k.STYLE_LOG_SD, k.SELECTIVE_LOG_SD, k.WEIGHED_LOG_SD, k.LABOR_LOG_SD, k.LABOR_LOG_SD, k.CAPON_LOG_SD)
    out[FIRST_EXTRA:, FIRST_EXTRA:] = np.diag([float(sd) ** -2 for sd in sds])
    mean[PLAIN - 2: PLAIN] = c.fall_per_year
    mean[FIRST_EXTRA:] = (float(k.STYLE_LOG), -float(k.STYLE_LOG), 0.0, 0.0, *labor_log)
    return mean, out


def _middle(g: Growth, age_years: np.ndarray, when_years: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    log_kg, ages = mixed(age_years, g.lag, g.share, g.curve)
    X = rows(ages, when_years, g.extra[:, None, :])
    return log_kg + X @ g.theta + g.effect[:, None], X + g.lean[:, None, :]


def log_mass(g: Growth, age_years: np.ndarray, when_years: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) of log kg of a plot's mean piña at ages [P, T] (``when_years`` from today, [T])."""
    mean, sd = np.zeros(age_years.shape), np.zeros(age_years.shape)
    for at in _parts(age_years):
        part = g.of(at)
        mean[at], shared = _middle(part, age_years[at], when_years)
        sd[at] = np.sqrt(part.effect_sd[:, None] ** 2 + ((shared @ g.cov) * shared).sum(axis=-1))
    return mean, sd


def _parts(age_years: np.ndarray) -> list[slice]:
    """Some plots at a time: rows of all plots, weeks and coefficients at once would be a region's memory."""
    step = max(1, ROWS_AT_ONCE // max(age_years.shape[1], 1))
    return [slice(first, first + step) for first in range(0, len(age_years), step)]


def draw_kg(g: Growth, age_years: np.ndarray, when_years: np.ndarray, n: int, rng: np.random.Generator, shifts: tuple[np.ndarray, np.ndarray] | None = None) -> np.ndarray:
    """[n, P, T] joint draws of the mean piña, kg: what all plots share drawn once for all of them; ``shifts`` of θ [n, Q] and of the effects [n, P]
    in each draw (``tied``)."""
    common = rng.multivariate_normal(np.zeros(len(g.theta)), g.cov, n, method="cholesky")
    own = rng.standard_normal((n, len(g.effect))) * g.effect_sd
    if shifts is not None:
        common, own = common + shifts[0], own + shifts[1]
    common, own = common.astype(np.float32), own.astype(np.float32)
    out = np.empty((n, *age_years.shape), np.float32)
    for at in _parts(age_years):
        middle, shared = _middle(g.of(at), age_years[at], when_years)
        moved = (common @ shared.reshape(-1, shared.shape[-1]).T.astype(np.float32)).reshape(n, *middle.shape)
        moved += middle.astype(np.float32)
        moved += own[:, at, None]
        np.exp(moved, out=out[:, at])
    return out
