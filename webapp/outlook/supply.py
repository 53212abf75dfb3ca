"""Agave by year: what stands today, by cohort, and what a hectare planted tomorrow will give.

Standing cohorts come as sampled futures from the crop (share ripe, tonnes, sugar by plot and quarter), so
the same luck hits a plot everywhere. Plots are pooled into cohorts of one ripening zone and planting
year. A cohort may be cut over several years; what waits past the peak loses mass, and at the last age
what is left is lost. Tonnes are *standard*: weighted by their sugar against ``art_reference``, since
sugar, not mass, becomes spirit.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from ..quantity import COMMON_PRACTICE, FROM_MEMORY, Constant

LAST_AGE = Constant("age at which a planting is cleared", 10.0, "years", 2.0, "10–14 years from planting to the last cut, cultivation guides", COMMON_PRACTICE)
PACE_SD = Constant("spread of ripening pace between futures when no plot teaches it", 0.5, "years", 0.2, "from memory", FROM_MEMORY)
RIPE_MIDDLE = Constant("age at which half the plants of a planting are ripe", 6.6, "years", 0.6, "SAGARPA 2017, Planeación Agrícola Nacional: 6–8 years; trials 6 y 7 mo (Zúñiga-Estrada et al. 2018)", COMMON_PRACTICE)
RIPE_SPREAD = Constant("years per logit of the ripening of a planting", 0.55, "years", 0.2, "passes of 30–60 %, 25–40 % and the rest, 6–12 months apart; from memory", FROM_MEMORY)
LAST_SEASON = 0.75       # a planting is cut through the year in which it reaches its last age
CLOSED_AGE = LAST_AGE.value + LAST_SEASON
TEMPLATE_MONTHS = 48.0   # plots younger than this stand whole (nothing was cut yet), so they show what a planting does
LEAST_TEMPLATES = 3
AGES = 12                # ages 0…11 years


@dataclass(frozen=True)
class Standing:
    """Cohorts standing today: ``zones``, ``planted`` [G]; area_ha, plants [G]; over futures and periods [S, G, T]:
    ripe (cumulative share that can be cut, monotone), mass_t (fresh tonnes if whole), standard (their standard tonnes); open [G, T]."""

    zones: tuple[str, ...]
    planted: np.ndarray
    area_ha: np.ndarray
    ripe: np.ndarray
    mass_t: np.ndarray
    standard_t: np.ndarray
    open: np.ndarray


@dataclass(frozen=True)
class Curve:
    """A hectare planted: ripe [S, A] cumulative share by age in years, mass_t_ha and standard_t_ha [S, A]; open [A]."""

    ripe: np.ndarray
    mass_t_ha: np.ndarray
    standard_t_ha: np.ndarray
    open: np.ndarray
    taught_by: int


def keep(age_years: np.ndarray, peak_years: float, loss_per_month: float, last_age: float = LAST_AGE.value) -> np.ndarray:
    """Share of mass and sugar left at an age: whole to the peak, then falling by ``loss_per_month``, nothing past the last age."""
    age = np.asarray(age_years, float)
    past = np.maximum(0.0, age - peak_years) * 12.0
    return np.where(age <= last_age + LAST_SEASON, (1.0 - loss_per_month) ** past, 0.0)


def periods_of(days: list[date], years: np.ndarray) -> np.ndarray:
    """Index into ``years`` of each day (−1 outside)."""
    return np.array([int(np.flatnonzero(years == d.year)[0]) if (years == d.year).any() else -1 for d in days])


def standing(*, zone: list[str], planted_year: np.ndarray, area_ha: np.ndarray, share: np.ndarray, mass_t: np.ndarray, art: np.ndarray,
             days: list[date], years: np.ndarray, art_reference: float, clearing_years: float, last_year: np.ndarray | None = None) -> Standing:
    """Pool plots [P] with draws [S, P, Q] at ``days`` [Q] into cohorts over ``years`` [T].

    ``planted_year`` [P] is a decimal year (NaN unknown: left out by the caller); ``last_year`` [P] the last
    calendar year in which the plot may be cut (lease end), NaN for none. The draws' tonnes already carry
    the loss past the peak; here a cohort is closed at its last age. From
    ``clearing_years`` on a clearing pass may take what stands, ripe or not.
    """
    period = periods_of(days, years)
    keys = sorted({(z, int(np.floor(y))) for z, y in zip(zone, planted_year)})
    member = np.array([[key == (z, int(np.floor(y))) for z, y in zip(zone, planted_year)] for key in keys], float).reshape(len(keys), len(zone))
    count, spans = share.shape[0], len(years)
    age = years[None, :] + 0.5 - np.asarray(planted_year)[:, None]
    kept = (age <= CLOSED_AGE).astype(float)
    kept[(kept <= 0).all(axis=1), :2] = 1.0  # overdue today: it can still be cleared now
    if last_year is not None:
        kept = np.where(years[None, :] > np.where(np.isnan(last_year), 9999, last_year)[:, None], 0.0, kept)
    shape = (count, len(keys), spans)
    mass, ripe_mass, standard = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for t in range(spans):
        quarters = np.flatnonzero(period == t)
        if not len(quarters):
            mass[:, :, t], ripe_mass[:, :, t], standard[:, :, t] = (a[:, :, max(t - 1, 0)] for a in (mass, ripe_mass, standard))
            continue
        whole = mass_t[:, :, quarters].astype(float).mean(axis=2) * kept[None, :, t]
        best = share[:, :, quarters].max(axis=2).astype(float)
        sugar = _sugar(share[:, :, quarters], mass_t[:, :, quarters], art[:, :, quarters])
        mass[:, :, t], ripe_mass[:, :, t], standard[:, :, t] = (a @ member.T for a in (whole, whole * best, whole * sugar / art_reference))
    with np.errstate(divide="ignore", invalid="ignore"):
        ripe = np.where(mass > 0, ripe_mass / np.where(mass > 0, mass, 1.0), 0.0)
    cleared = np.array([[year - planted >= clearing_years for year in years] for _, planted in keys], bool).reshape(len(keys), spans)
    ripe = np.maximum.accumulate(np.clip(np.where(cleared[None] & (mass > 0), 1.0, ripe), 0.0, 1.0), axis=2)
    return Standing(tuple(k[0] for k in keys), np.array([k[1] for k in keys], int), member @ np.asarray(area_ha, float), ripe, mass, standard,
                    mass.mean(axis=0) > 1e-6)


def _sugar(share: np.ndarray, mass_t: np.ndarray, art: np.ndarray) -> np.ndarray:
    """ART [S, P] of what would be cut in a year: quarters weighted by their ripe mass (plain mean when nothing is ripe)."""
    weight = share.astype(float) * mass_t + 1e-9
    return (art * weight).sum(axis=2) / weight.sum(axis=2)


def curve(*, count: int, clearing_years: float, density_ha: float, mortality: float, gompertz_kg: tuple[float, float, float], pina_log_sd: float, art_mean: float, art_reference: float,
          peak_years: float, loss_per_month: float, rng: np.random.Generator, age_months: np.ndarray | None = None, area_ha: np.ndarray | None = None,
          density_now: np.ndarray | None = None, share: np.ndarray | None = None, mass_t: np.ndarray | None = None, art: np.ndarray | None = None, quarter_months: np.ndarray | None = None) -> Curve:
    """What a hectare gives by age, in every future.

    Taught by the standing plots under four years old (nothing of them was cut, so they are no biased
    sample) where there are at least three; ages they never reach, and estates without them, use the
    planning defaults (Gompertz mass, logistic ripening), marked as assumptions.
    """
    age = np.arange(AGES, dtype=float)
    asymptote, shape, rate = gompertz_kg
    pace = rng.standard_normal(count)[:, None] * PACE_SD.value
    size = np.exp(rng.standard_normal(count) * pina_log_sd - pina_log_sd**2 / 2)[:, None]
    ripe = 1.0 / (1.0 + np.exp(-(age[None] + pace - RIPE_MIDDLE.value) / RIPE_SPREAD.value))
    kept = keep(age, peak_years, loss_per_month)
    mass = density_ha * (1 - mortality) ** age[None] * asymptote * np.exp(-shape * np.exp(-rate * age[None])) / 1000.0 * size * kept[None]
    sugar = np.full((count, AGES), art_mean)
    taught = 0
    if share is not None and age_months is not None and area_ha is not None:
        young = np.flatnonzero((age_months < TEMPLATE_MONTHS) & (area_ha > 0))
        if len(young) >= LEAST_TEMPLATES:
            taught = len(young)
            months = (age_months[young, None] + quarter_months[None, :]) / 12.0
            bin_of = np.rint(months).astype(int)
            share_of, art_of = (np.asarray(d[:, young], float).reshape(count, -1) for d in (share, art))
            mass_ha = (mass_t[:, young] / area_ha[young][None, :, None] * (density_ha / density_now[young])[None, :, None]).reshape(count, -1)
            for a in range(AGES):
                at = bin_of == a
                if not at.any():
                    continue
                weight = (at * area_ha[young, None]).ravel()
                weight = weight / weight.sum()
                ripe[:, a], mass[:, a], sugar[:, a] = share_of @ weight, mass_ha @ weight, art_of @ weight
    ripe = np.maximum.accumulate(np.clip(np.where(age[None] >= clearing_years, 1.0, ripe), 0, 1), axis=1)
    mass = mass * (kept > 0)[None]  # taught ages carry the draws' own loss past the peak
    return Curve(ripe, mass, mass * sugar / art_reference, (kept > 0) & (ripe.mean(axis=0) > 0.02), taught)


def offsets(plants: np.ndarray, age_years: np.ndarray, per_mother_year: float) -> float:
    """Usable offsets a year from own mothers aged 2 to 4 (1–3 each: from memory, a setting)."""
    mothers = (np.asarray(age_years) >= 2.0) & (np.asarray(age_years) < 5.0)
    return float(np.sum(np.asarray(plants, float)[mothers]) * per_mother_year)
