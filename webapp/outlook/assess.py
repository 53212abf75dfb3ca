"""The whole question asked of the futures: sample, solve, weigh rules and cases, and collect what was found.

Pure: the service hands in plain arrays and values; the same input gives the same answer to the last bit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from ..problems import Problem
from ..solver import Progress, no_progress
from . import demand, rules, scenario, supply
from .distilling import least_kg_per_l
from .futures import Futures, calendar, cohort_luck, stream
from .need import Need, Spirit, need
from .planting import Terms, first_stage, program

FLAT_SHARE = 0.001   # of the value of the need met over the horizon: a loss nobody could tell from chance


@dataclass(frozen=True)
class Land:
    """Standing plots [P]: ripening zone, decimal planting year, hectares, plants, last year they may be cut (NaN: none)."""

    zone: list[str]
    planted: np.ndarray
    area_ha: np.ndarray
    plants: np.ndarray
    last_year: np.ndarray


@dataclass(frozen=True)
class Draws:
    """Sampled futures of those plots: ``days`` [Q]; share, mass_t, art [S, P, Q]."""

    days: list[date]
    share: np.ndarray
    mass_t: np.ndarray
    art: np.ndarray


@dataclass(frozen=True)
class Ask:
    """Everything the outlook rests on."""

    today: date
    season_passed: bool                # this year's planting season lies behind
    values: Mapping[str, Any]
    land: Land
    draws: Draws
    past: demand.History
    stock: dict[tuple[str, str], np.ndarray] | None
    own_classes: dict[str, float]
    own_paths: list[demand.Path]
    last_planted_ha: float
    haul_km: float
    seed: int
    need_in_own_tonnes: bool = False   # the factory's need stands in for sales: it is told in the estate's own tonnes


@dataclass(frozen=True)
class Case:
    """A case asked about: its own best hectares [N], its best plan and this plan summed up in it, money lost by following this plan."""

    name: str
    own: rules.Summary
    this: rules.Summary

    @property
    def regret_mxn(self) -> float:
        return self.own.value_mxn - self.this.value_mxn


@dataclass(frozen=True)
class Found:
    """What :func:`assess` brings; ``sugar_ratio`` turns standard tonnes into the estate's own (own = standard / ratio)."""

    futures: Futures
    terms: Terms
    trend: demand.Trend
    paths: list[demand.Path]
    needed: Need
    plan: rules.Summary
    follow: list[rules.Summary]
    cases: list[Case]
    markets: list[Case]
    flat_ha: tuple[float, float]
    flat_tolerance_mxn: float
    vss_mxn: float
    evpi_mxn: float
    sugar_ratio: float
    own_offsets: float


def assess(ask: Ask, progress: Progress = no_progress) -> Found:
    """Sample the futures, plan, and weigh. Raises Problem ``stopped`` when progress says so."""
    def step(done: float, code: str) -> None:
        if not progress(done, code):
            raise Problem("outlook_stopped", where="outlook")

    v = ask.values
    count = len(ask.draws.share)
    years, length, first = timetable(ask)
    step(0.02, "outlook.step.sample")
    standing, curve = supply_of(ask, years)
    ratio = sugar_ratio(standing, curve)
    terms = terms_of(ask, ratio)
    trend = demand.fit(ask.past, v["trend_damping"])
    paths = demand.paths_of(v["case_grow"], v["case_fall"], ask.own_paths)
    which = demand.assign(paths, count)
    spirit = Spirit(v["bottle_abv"], v["agave_kg_per_l_40"], v["agave_kg_per_l_40_sd"], v["mixed_agave_share"], v["evaporation_per_year"], least_kg_per_l(v["art_reference"]),
                    v["stock_drawn_years"])

    def need_for(chosen: list[demand.Path], walk: np.ndarray, stopped: tuple[str, ...] = ()) -> Need:
        got = need(ask.past, trend, chosen, walk, years, length, ask.seed, spirit, ask.stock, ask.own_classes,
                   damping=v["trend_damping"], growth_doubt=v["growth_doubt"], stopped=stopped)
        return replace(got, tonnes=got.tonnes * ratio) if ask.need_in_own_tonnes else got

    needed = need_for(paths, which)
    f = Futures(years, length, first, needed.tonnes, standing, curve, cohort_luck(count, len(years), v["cohort_log_sd"], ask.seed))
    step(0.06, "outlook.step.plan")
    built, lay = program(f, terms)
    solved = scenario.Repeated(built, terms.risk_weight)
    best = solved.best
    plan = rules.sum_up("plan", f, terms, lay, best)
    step(0.20, "outlook.step.rules")
    follow = [rules.follow(rule, built, lay, f, terms, ask.last_planted_ha) for rule in rules.RULES]
    perfect = scenario.wait_and_see(built)
    mean_plan = scenario.at(built, scenario.mean_value(built).x)
    step(0.32, "outlook.step.cases")
    flat_walk = np.zeros(count, int)
    asked = [(path.name, [path], flat_walk, ()) for path in paths]
    markets = sorted({line[0] for line in ask.past.lines})
    asked += [(market, paths, which, (market,)) for market in markets] if len(markets) > 1 else []
    cases: list[Case] = []
    for i, (name, chosen, walk, stopped) in enumerate(asked):
        cases.append(_case(name, f.with_need(need_for(chosen, walk, stopped).tonnes), terms, plan.hectares, solved if stopped else None))
        step(0.32 + 0.38 * (i + 1) / len(asked), "outlook.step.cases")
    worth = float((f.need_t.mean(axis=0) * (1 + terms.discount) ** -(np.arange(len(years)) - first)).sum() * terms.own_value_mxn_t)
    tolerance = FLAT_SHARE * worth
    plain = solved if terms.risk_weight == 0 else scenario.Repeated(built)
    flat = rules.flat_range(built, plain, tolerance / 1e6, terms.land_limit_ha)
    flat = (min(flat[0], float(plan.hectares[0])), max(flat[1], float(plan.hectares[0])))
    step(0.98, "outlook.step.tell")
    age = years[first] + 0.45 - ask.land.planted
    own_offsets = supply.offsets(ask.land.plants, age, v["offsets_per_mother_year"])
    return Found(f, terms, trend, paths, needed, plan, follow, cases[:len(paths)], cases[len(paths):], flat, tolerance,
                 max(0.0, (mean_plan.cost - best.cost) * 1e6), max(0.0, (best.cost - perfect.cost) * 1e6), ratio, own_offsets)


def _case(name: str, f: Futures, terms: Terms, hectares: np.ndarray, solved: scenario.Repeated | None) -> Case:
    built, lay = program(f, terms)
    # another need moves bounds only; a near case is quickest from the solved corner, a far one (another path for all) anew
    best = solved.again(built) if solved else scenario.recourse(built, terms.risk_weight, method="ipm")
    own = rules.sum_up(name, f, terms, lay, best)
    return Case(name, own, rules.sum_up(name, f, terms, lay, scenario.at(built, first_stage(hectares))))


def timetable(ask: Ask) -> tuple[np.ndarray, np.ndarray, int]:
    """Years, shares of them still ahead, index of the first planting season."""
    start = date(ask.today.year, 1, 1)
    gone = (ask.today - start).days / (date(ask.today.year + 1, 1, 1) - start).days
    return calendar(ask.today.year, gone, ask.season_passed, int(ask.values["horizon_years"]))


def supply_of(ask: Ask, years: np.ndarray) -> tuple[supply.Standing, supply.Curve]:
    """Standing cohorts and the curve of a planting, from the crop's draws."""
    v, land, d = ask.values, ask.land, ask.draws
    peak = v["peak_age_months"] / 12.0
    standing = supply.standing(zone=land.zone, planted_year=land.planted, area_ha=land.area_ha, share=d.share, mass_t=d.mass_t, art=d.art, days=d.days, years=years,
                               art_reference=v["art_reference"], clearing_years=v["clearing_age_years"], last_year=land.last_year)
    now = ask.today.year + (ask.today - date(ask.today.year, 1, 1)).days / 365.25
    months = np.array([(day - ask.today).days / (365.25 / 12) for day in d.days])
    density = np.divide(land.plants, land.area_ha, out=np.full(len(land.area_ha), float(v["planting_density_ha"])), where=(land.area_ha > 0) & (land.plants > 0))
    curve = supply.curve(count=len(d.share), clearing_years=v["clearing_age_years"], density_ha=v["planting_density_ha"], mortality=v["annual_mortality"],
                         gompertz_kg=(v["pina_asymptote_kg"], v["pina_shape"], v["pina_rate_per_year"]), pina_log_sd=v["pina_log_sd"],
                         art_mean=v["art_per_brix"] * v["target_brix_deg"] / 100.0, art_reference=v["art_reference"], peak_years=peak, loss_per_month=v["loss_per_month"],
                         rng=stream(ask.seed, "curve"), age_months=(now - land.planted) * 12.0, area_ha=land.area_ha, density_now=density,
                         share=d.share, mass_t=d.mass_t, art=d.art, quarter_months=months)
    return standing, curve


def terms_of(ask: Ask, ratio: float) -> Terms:
    """Prices per standard tonne: the user's are per tonne of the estate's own sugar."""
    v = ask.values
    return Terms(
        planting_mxn_ha=v["planting_cost_mxn_ha"], care_mxn_ha_year=v["care_cost_mxn_ha_year"],
        cut_mxn_t=(v["cut_cost_mxn_t"] + v["haul_cost_mxn_t_km"] * ask.haul_km) / ratio, bought_mxn_t=v["bought_agave_mxn_t"] / ratio,
        bought_limit_t=v["bought_agave_limit_t"] * ratio, surplus_mxn_t=v["surplus_agave_mxn_t"] / ratio, shortage_mxn_t=v["shortage_cost_outlook_mxn_t"] / ratio,
        own_value_mxn_t=v["own_agave_value_mxn_t"] / ratio, land_limit_ha=v["land_limit_ha_year"], discount=v["discount_per_year"],
        change_mxn_ha=v["uneven_planting_mxn_ha"], risk_weight=v["risk_weight"])


def sugar_ratio(standing: supply.Standing, curve: supply.Curve) -> float:
    """Standard tonnes per tonne of the estate's own agave, over all it will cut."""
    ripe_t = (standing.ripe * standing.mass_t).sum()
    if ripe_t > 0:
        return float((standing.ripe * standing.standard_t).sum() / ripe_t)
    return float(curve.standard_t_ha.sum() / max(curve.mass_t_ha.sum(), 1e-9))
