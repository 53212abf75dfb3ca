"""Invented plots and their luck, for tests of the outlook that need no estate file."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from webapp.outlook import futures, planting, supply

TODAY = date(2026, 11, 23)
TERMS = planting.Terms(planting_mxn_ha=95_000, care_mxn_ha_year=18_000, cut_mxn_t=460, bought_mxn_t=14_000, bought_limit_t=1_500,
                       surplus_mxn_t=3_000, shortage_mxn_t=26_000, own_value_mxn_t=9_000, land_limit_ha=200, discount=0.08, change_mxn_ha=10_000)


def plots(count: int = 40, seed: int = 1) -> dict:
    """Plots planted over ten years: zone, decimal planting year, hectares."""
    rng = np.random.default_rng(seed)
    return {"zone": [("high", "low")[i] for i in rng.integers(0, 2, count)], "planted": rng.choice(np.arange(2017, 2027), count) + 0.45, "area_ha": rng.uniform(4, 16, count)}


def draws(land: dict, count: int, seed: int = 1) -> dict:
    """Share ripe, tonnes and sugar [S, P, Q] of those plots on 56 quarters."""
    rng = np.random.default_rng(seed)
    days = [TODAY + timedelta(days=91.3125 * q) for q in range(56)]
    when = np.array([d.year + d.timetuple().tm_yday / 365.25 for d in days])
    age = when[None] - land["planted"][:, None]
    late = np.array([1.0 if z == "high" else 0.0 for z in land["zone"]])
    shape = (count, len(late), 1)
    pace = rng.normal(0, 0.4, (count, 1, 1)) + rng.normal(0, 0.4, shape)
    share = 1 / (1 + np.exp(-(age[None] - late[None, :, None] + pace - 6.5) / 0.6))
    size = np.exp(rng.normal(0, 0.10, (count, 1, 1)) + rng.normal(0, 0.15, shape))
    mass_t = land["area_ha"][None, :, None] * 2900 * 0.97**age[None] * 50 * np.exp(-7 * np.exp(-0.42 * age[None])) / 1000 * size * supply.keep(age, 7.5, 0.015, 20.0)[None]
    art = np.broadcast_to(np.clip(0.24 + 0.01 * rng.standard_normal(shape), 0.15, 0.3), share.shape)
    return {"days": days, "share": share, "mass_t": mass_t, "art": art}


def standing(land: dict, d: dict, years: np.ndarray) -> supply.Standing:
    return supply.standing(zone=land["zone"], planted_year=land["planted"], area_ha=land["area_ha"], share=d["share"], mass_t=d["mass_t"], art=d["art"],
                           days=d["days"], years=years, art_reference=0.24, clearing_years=8.0)


def curve(land: dict, d: dict) -> supply.Curve:
    return supply.curve(count=len(d["share"]), clearing_years=8.0, density_ha=2900, mortality=0.03, gompertz_kg=(50, 7, 0.42), pina_log_sd=0.25, art_mean=0.24, art_reference=0.24,
                        peak_years=7.5, loss_per_month=0.015, rng=futures.stream(1, "curve"), age_months=(2026.9 - land["planted"]) * 12, area_ha=land["area_ha"],
                        density_now=np.full(len(land["planted"]), 2900.0), share=d["share"], mass_t=d["mass_t"], art=d["art"],
                        quarter_months=np.array([(x - TODAY).days / 30.4375 for x in d["days"]]))


def sampled(count: int = 30, seed: int = 1, need_t: float = 3_000.0, plots_count: int = 40, growth: float = 0.01) -> futures.Futures:
    land = plots(plots_count, seed)
    d = draws(land, count, seed)
    years, length, first = futures.calendar(2026, 326 / 365, True, 15)
    rng = np.random.default_rng(seed + 100)
    path = np.exp(rng.normal(growth, 0.03, (count, 1)) * np.arange(len(years)) + rng.normal(0, 0.05, (count, len(years))))
    return futures.Futures(years, length, first, need_t * path * length, standing(land, d, years), curve(land, d), futures.cohort_luck(count, len(years), 0.15, seed))
