"""Seeded invented problems: a whole estate of 190 plots, and cases small enough to list every plan."""

from __future__ import annotations

from datetime import date

import numpy as np

from webapp.cutting.problem import OPEN, RAIN, STOP, Costs, CuttingProblem, Rules
from webapp.weeks import monday_of, weeks_from


def estate(seed: int = 7, plots: int = 190, weeks: int = 26, today: date = date(2026, 11, 23), need: float = 280.0) -> CuttingProblem:
    """About 10 ha a plot, planted over ten years; highlands ripen a year later; the season dips in the rains."""
    rng = np.random.default_rng(seed)
    names = weeks_from(today, 105)
    monday = [monday_of(w) for w in names]
    age = rng.uniform(4, 118, plots)
    zone = rng.integers(0, 4, plots)
    late = np.array([0.0, 4.0, 8.0, 13.0])[zone]
    month = np.arange(105) * 7 / (365.25 / 12)
    ages = age[:, None] + month[None, :] - late[:, None]
    season = np.array([0.9 * np.cos(2 * np.pi * ((d - date(d.year, 4, 10)).days / 365.25)) for d in monday])
    level = rng.normal(0, 1.0, plots)[:, None]
    mean = 12 + 14.0 / (1 + np.exp(-(ages - 62) / 11)) + level - 0.08 * np.maximum(ages - 92, 0) + season[None, :]
    share = 1 / (1 + np.exp(-(mean - 24) / (2.2 * 0.551)))
    mass_now = rng.lognormal(np.log(600), 0.45, plots) * np.clip(1.25 * np.exp(-7 * np.exp(-0.42 * age / 12)), 0.02, 1.3)
    growth = np.exp(-7 * np.exp(-0.42 * (age[:, None] + month) / 12)) / np.exp(-7 * np.exp(-0.42 * age[:, None] / 12))
    loss = np.exp(-0.015 * np.maximum(ages - 90, 0)) / np.exp(-0.015 * np.maximum(ages[:, :1] - 90, 0))
    keep = growth * loss * np.exp(-0.03 * month / 12)
    sugar = 0.009 * np.clip(mean + 1.0, 12, 32)
    haul = np.array([12.0, 25.0, 38.0, 50.0])[zone] + rng.uniform(0, 6, plots)
    value = sugar * 38.0 - 0.35 - 0.0045 * haul[:, None]
    end = 0.97 * (keep * value)[:, weeks:].max(axis=1)
    closed = np.full((plots, weeks), OPEN, np.int8)
    stop = np.array([w[5:] in ("W52", "W53", "W01", "W27") for w in names[:weeks]])
    closed[:, stop] = STOP
    rain = np.array([d.month in (6, 7, 8, 9, 10) for d in monday[:weeks]])
    closed[np.ix_(zone == 3, rain)] = RAIN
    W = slice(0, weeks)
    return CuttingProblem(
        tuple(f"T-{i:03d}" for i in range(plots)), tuple(f"Tabla {i}" for i in range(plots)), ("Bajío", "Ladera", "Loma", "Altos"), tuple(names[W]),
        zone, mass_now, share[:, W], keep[:, W], sugar[:, W], value[:, W], end, closed,
        np.where(stop, 0.0, need), np.where(stop, 0.0, need * 1.1), np.full(weeks, 600.0) * np.where(rain, 0.8, 1.0), np.full(weeks, 20.0),
        np.full(plots, 1 / 20.0), 12, age, mean[:, W], haul, np.full(plots, weeks), np.zeros(plots, int), np.zeros(plots, int))


def tiny(seed: int, plots: int = 3, weeks: int = 6, idle: int = 1, longest: int = 2) -> CuttingProblem:
    """A problem whose plans can all be listed."""
    rng = np.random.default_rng(seed)
    share = np.clip(np.sort(rng.uniform(0.1, 1.0, (plots, weeks)), axis=1) + rng.normal(0, 0.05, (plots, weeks)), 0.02, 1)
    keep = np.cumprod(rng.uniform(0.96, 1.01, (plots, weeks)), axis=1)
    sugar = rng.uniform(0.19, 0.29, (plots, weeks))
    value = sugar * 38 - 0.5
    closed = np.where(rng.uniform(size=(plots, weeks)) < 0.12, STOP, OPEN).astype(np.int8)
    stand = rng.uniform(40, 120, plots)
    end = rng.uniform(0.80, 1.0, plots) * (keep * value).max(axis=1)
    return CuttingProblem(
        tuple(f"P{i}" for i in range(plots)), tuple(f"P{i}" for i in range(plots)), ("A", "B"), tuple(weeks_from(date(2026, 11, 23), weeks)),
        rng.integers(0, 2, plots), stand, share, keep, sugar, value, end, closed,
        rng.uniform(10, 35, weeks), rng.uniform(36, 60, weeks), rng.uniform(25, 70, weeks), rng.integers(1, 4, weeks).astype(float),
        rng.uniform(0.04, 0.06, plots), 2, rng.uniform(50, 110, plots), rng.uniform(20, 28, (plots, weeks)), rng.uniform(5, 50, plots),
        np.full(plots, weeks), np.zeros(plots, int), np.zeros(plots, int),
        Rules(idle_weeks=idle, longest_pass_weeks=longest), Costs(move_in=6.0, plot_week=2.0, zone_week=3.0))
