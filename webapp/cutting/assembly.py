"""From what the other rooms know to one :class:`CuttingProblem`; plain values in, arrays out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from ..weeks import monday_of
from .constants import RAIN_MONTHS
from .problem import LABOR, LEASE, OPEN, RAIN, ROAD, STOP, Costs, CuttingProblem, Rules

PLAN_WEEKS = 26


@dataclass(frozen=True)
class PlotFacts:
    """What land and survey say of one plot; days are dates, ``cut_days`` those of its loads."""

    code: str
    name: str
    zone: str
    age_months: float
    lease_end: date | None = None
    labors: tuple[tuple[date, float, float], ...] = ()     # day, re-entry hours, harvest interval days
    cut_days: tuple[date, ...] = ()


@dataclass(frozen=True)
class ZoneFacts:
    haul_km: float
    truck_max_t: float | None
    stands_rain: bool


@dataclass(frozen=True)
class Field:
    """[P, V] by week over the crop's horizon V ≥ W: tonnes if nothing is cut, ripe share, ART t/t, °Brix."""

    mass_t: np.ndarray
    share: np.ndarray
    art: np.ndarray
    brix_deg: np.ndarray


@dataclass(frozen=True)
class Orders:
    """Tonnes already ordered {(plot, week): t} in the first ``weeks`` weeks; loads of this week {plot: t}."""

    weeks: int = 0
    tonnes: Mapping[tuple[str, str], float] = field(default_factory=dict)
    loaded: Mapping[str, float] = field(default_factory=dict)


def stop_names(text: str) -> set[str]:
    """Week names of the setting: ``W52 W53`` every year, ``2027-W27`` that one only; commas allowed."""
    return {part.strip().upper() for part in text.replace(",", " ").replace(";", " ").split() if part.strip()}


def rainy(week: str) -> bool:
    return (monday_of(week) + timedelta(days=3)).month in RAIN_MONTHS


def rest_end(day: date, hours: float, days: float) -> date:
    """First day on which work done on ``day`` lets the plot be cut again: its re-entry (hours) and its harvest interval (days) are over."""
    return day + timedelta(days=int(max(np.ceil((hours or 0) / 24), np.ceil(days or 0))))


def closed_weeks(plots: list[PlotFacts], zones: Mapping[str, ZoneFacts], weeks: list[str], stops: set[str], closures: list[dict]) -> np.ndarray:
    """[P, W] why a plot is closed; the first reason in this order counts: lease, factory stop, road, rain, labor.

    A week counts as open for a lease only when its Saturday still falls inside it; a spraying closes every
    week that its re-entry or harvest interval touches.
    """
    P, W = len(plots), len(weeks)
    monday = [monday_of(w) for w in weeks]
    closed = np.full((P, W), OPEN, np.int8)
    rains = np.array([rainy(w) for w in weeks])
    for i, plot in enumerate(plots):
        for day, hours, days in plot.labors:
            until = rest_end(day, hours, days)
            for w, start in enumerate(monday):
                if start < until and start + timedelta(days=6) >= day and until > day:
                    closed[i, w] = LABOR
        zone = zones.get(plot.zone)
        if zone is not None and not zone.stands_rain:
            closed[i, rains] = RAIN
        for closure in closures:
            if closure["subject"] == (plot.zone if closure["scope"] == "zone" else plot.code):
                inside = [monday_of(closure["from_week"]) <= d <= monday_of(closure["to_week"]) for d in monday]
                closed[i, np.array(inside)] = ROAD
    closed[:, [w in stops or w[5:] in stops for w in weeks]] = STOP
    for i, plot in enumerate(plots):
        if plot.lease_end is not None:
            closed[i, [d + timedelta(days=5) > plot.lease_end for d in monday]] = LEASE
    return closed


def under_way(cut_days: tuple[date, ...], first: date, rules: Rules) -> tuple[int, int]:
    """(weeks a pass under way has lasted or 0, first week in which a new pass may begin) from a plot's load days."""
    weeks = sorted({(d - timedelta(days=d.weekday()) - first).days // 7 for d in cut_days if d <= first + timedelta(days=6)})
    if not weeks or weeks[-1] < -rules.idle_weeks:
        return 0, 0
    begun = weeks[-1]
    for week in reversed(weeks):
        if begun - week > rules.idle_weeks:
            break
        begun = week
    lasted = max(1, -begun)
    return (lasted if lasted < rules.longest_pass_weeks else 0), weeks[-1] + rules.idle_weeks + 1


def assemble(plots: list[PlotFacts], zones: Mapping[str, ZoneFacts], weeks: list[str], crop: Field, people: list[int], closures: list[dict],
             settings: Mapping, needs: Mapping[str, float] | None = None, orders: Orders = Orders(), span: int = PLAN_WEEKS) -> CuttingProblem:
    """The problem of the next ``span`` weeks. ``people`` are the active crews' sizes, ``needs`` t asked in single weeks."""
    s, P, W = settings, len(plots), min(span, len(weeks))
    first = monday_of(weeks[0])
    names = tuple(sorted({p.zone for p in plots}))
    rules = Rules(s["least_pass_share"], s["longest_pass_weeks"], s["idle_weeks_between_passes"], 2, s["blend_low"], s["blend_high"])
    costs = Costs(s["move_in_cost_mxn"] / 1e3, s["plot_week_cost_mxn"] / 1e3, s["zone_week_cost_mxn"] / 1e3, s["shortage_cost_mxn_t"] / 1e3, s["blend_cost_mxn_t"] / 1e3)
    known = [zones.get(p.zone, ZoneFacts(0.0, None, True)) for p in plots]
    haul = np.array([z.haul_km for z in known], float)
    truck = np.array([min(s["truck_t"], z.truck_max_t or np.inf) for z in known], float)
    stand = np.maximum(crop.mass_t[:, 0].astype(float), 1e-3)
    keep = crop.mass_t.astype(float) / stand[:, None] * (crop.mass_t[:, :1] > 0)  # of a plot still to be planted nothing stands that could be kept
    value = crop.art * s["sugar_value_mxn_kg"] - (s["cut_cost_mxn_t"] + s["haul_cost_mxn_t_km"] * haul[:, None]) / 1e3
    last = np.array([_last_week(p.lease_end, first, len(weeks)) for p in plots])
    later = np.where(np.arange(len(weeks))[None, :] <= last[:, None], keep * value, 0.0)[:, W:]
    end = s["keep_value_factor"] * (later.max(axis=1) if later.shape[1] else (keep * value)[:, -1])
    stops = stop_names(s["stop_weeks"])
    closed = closed_weeks(plots, zones, weeks[:W], stops, closures)
    low, high = _needs(weeks[:W], s, stops, needs or {}, closed)
    rain = np.array([s["rain_work_factor"] if rainy(w) else 1.0 for w in weeks[:W]])
    crew = sum(people) * s["day_mass_per_person_t"] * s["cutting_days_week"] * rain
    trips = np.full(W, float(s["truck_trips_week"]))
    going = [under_way(p.cut_days, first, rules) for p in plots]
    done = sum(orders.loaded.values())
    if done:   # what was hauled this week already is no longer asked for, nor can it be cut or hauled again
        low[0], high[0], crew[0] = max(low[0] - done, 0.0), max(high[0] - done, 0.0), max(crew[0] - done, 0.0)
        trips[0] = max(trips[0] - sum(t / truck[i] for i, p in enumerate(plots) if (t := orders.loaded.get(p.code, 0.0))), 0.0)
    problem = CuttingProblem(
        tuple(p.code for p in plots), tuple(p.name for p in plots), names, tuple(weeks[:W]), np.array([names.index(p.zone) for p in plots], int), stand,
        np.clip(crop.share[:, :W].astype(float), 0.0, 1.0), keep[:, :W], crop.art[:, :W].astype(float), value[:, :W], np.maximum(end, 0.0), closed,
        low, high, crew, trips, 1.0 / truck, max(1, int(s["plots_per_crew_week"] * len(people))), np.array([p.age_months for p in plots], float),
        crop.brix_deg[:, :W].astype(float), haul, np.minimum(last, W), np.array([g[0] for g in going], int), np.array([g[1] for g in going], int), rules, costs)
    return hold(problem, orders) if orders.weeks else problem


def _last_week(lease_end: date | None, first: date, weeks: int) -> int:
    return weeks if lease_end is None else min(weeks, (lease_end - first - timedelta(days=5)).days // 7)


def _needs(weeks: list[str], s: Mapping, stops: set[str], asked: Mapping[str, float], closed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Soft need and hard most by week; a week's own need keeps the usual room above it."""
    above = max(s["need_high_t_week"] / s["need_t_week"], 1.0) if s["need_t_week"] > 0 else 1.0
    low, high = np.zeros(len(weeks)), np.zeros(len(weeks))
    for i, week in enumerate(weeks):
        if week in stops or week[5:] in stops:
            continue
        low[i] = asked.get(week, s["need_t_week"])
        high[i] = low[i] * above if week in asked else max(s["need_high_t_week"], low[i])
    return low, high


def hold(problem: CuttingProblem, orders: Orders) -> CuttingProblem:
    """Keep published weeks as ordered; where an order can no longer be kept, say which rule gave way and by how much.

    An order on a plot that closed since, or beyond what stands, is cut back (``order``); a week whose
    orders pass a limit keeps them, and the limit gives way.
    """
    (P, W), h = problem.shape, min(orders.weeks, len(problem.weeks))
    held, gave = np.zeros((P, W)), []
    place = {code: i for i, code in enumerate(problem.plots)}
    for (code, week), tonnes in sorted(orders.tonnes.items()):
        if week not in problem.weeks[:h]:
            continue
        i, w = place.get(code), problem.weeks.index(week)
        left = max(tonnes - (orders.loaded.get(code, 0.0) if w == 0 else 0.0), 0.0)
        most = 0.0 if i is None or problem.closed[i, w] != OPEN else max(problem.stand_t[i] - held[i].sum(), 0.0) * problem.keep[i, w]
        if left > most + 1e-6:
            gave.append({"rule": "order", "plot": code, "week": week, "by": left - most, "unit": "t"})
        if i is not None and min(left, most) > 1e-3:
            held[i, w] = min(left, most) / problem.keep[i, w]
    changes = {"held": held, "held_weeks": h}
    for name, rule, per_t, unit in (("need_high", "high", np.ones(P), "t"), ("crew_t", "crew", np.ones(P), "t"), ("trips", "trips", problem.trips_per_t, "trips")):
        used = ((problem.keep * held) * per_t[:, None]).sum(axis=0)[:h]
        limit = getattr(problem, name).copy()
        for w in np.flatnonzero(used > limit[:h] + 1e-6):
            gave.append({"rule": rule, "plot": "", "week": problem.weeks[w], "by": float(used[w] - limit[w]), "unit": unit})
            limit[w] = used[w]
        changes[name] = limit
    busy = int((held[:, :h] > 0).sum(axis=0).max(initial=0))
    if busy > problem.active_plots:
        gave.append({"rule": "plots", "plot": "", "week": problem.weeks[0], "by": busy - problem.active_plots, "unit": "plots"})
        changes["active_plots"] = busy
    return problem.with_changes(**changes, gave_way=(*problem.gave_way, *gave))
