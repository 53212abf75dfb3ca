"""Which plants of each plot stand, as land and records tell: generations, events that may have moved their sugar, passes, capones."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from .. import settings
from ..database import Database
from ..land import service as land
from ..survey import service as survey
from . import constants as k
from . import jumps, picked, ripening
from .picked import Picked

DAYS_PER_MONTH = ripening.DAYS_PER_MONTH
FULL_SHARE = 0.10
"""From this share of its plants lost an event counts in full for those it left (assumption); below, its variance in proportion."""
SAME_PASS_DAYS, WORTH_SAYING = 21, 0.005
"""Loads so close are one pass; a step of so few plants is not spoken of."""
EVENTS = {"frost": k.FROST_SD_DEG, "fire": k.FIRE_SD_DEG, "hail": k.HAIL_SD_DEG}


def told(db: Database, plots: list[str], ground: ripening.Land, how: list[str], frame: Any, today: date) -> ripening.Land:
    """The land with its generations, events and passes of up to ``today``, and capones with the day they are ready."""
    planted, spread = _generations(db, plots, ground, how, frame, today)
    day, var = jumps.padded(plots, _events(db, plots, frame, today))
    return replace(ground, planted=planted, age_spread=spread, jump_day=day, jump_var=var, picked=_picked(db, plots, frame, today))


def steps(db: Database, code: str, frame: Any, until: date) -> list[dict[str, Any]]:
    """Where one plot's curve may step, in order of day: {what, day, last, and its size}. ``what`` is a cause of loss or ``leaf_pruning`` (``sd_deg``: by so much its
    level was left open), ``pass`` (``share`` of the plants there were that went as the ripest, from ``day`` to ``last``), ``capon`` (``share`` of the plants
    that count as ripe from then on). ``frame`` of plots by code; what becomes ready after ``until`` is told too."""
    out = [{"what": what, "day": date.fromordinal(day), "last": date.fromordinal(day), "sd_deg": sd} for _, day, sd, what in _moved(db, [code], frame, until) if sd > 0]
    stand, gone = _picked(db, [code], frame, until), 0.0
    for day, share in zip(stand.pass_day[0], stand.pass_share[0]):
        day, part = date.fromordinal(int(day)), 1 - (1 - float(share)) / (1 - gone)
        near = next((one for one in out if one["what"] == "pass" and (day - one["last"]).days <= SAME_PASS_DAYS), None)
        if near:
            near |= {"last": day, "share": 1 - (1 - near["share"]) * (1 - part)}
        else:
            out.append({"what": "pass", "day": day, "last": day, "share": part})
        gone = float(share)
    out += [{"what": "capon", "day": date.fromordinal(int(day)), "last": date.fromordinal(int(day)), "share": float(share)} for day, share in zip(stand.ready_day[0], stand.ready_share[0])]
    return sorted((one for one in out if one.get("share", 1.0) >= WORTH_SAYING), key=lambda one: (one["day"], one["what"]))


def _until(table: Any, plots: list[str], today: date, columns: tuple[str, ...]) -> Any:
    """The rows of these plots up to the day, with these columns even where nothing of the kind was ever noted."""
    table = table.reindex(columns=[*table.columns, *(c for c in ("plot", "day", *columns) if c not in table)])
    mine = table[table["plot"].isin(plots) & table["day"].notna()]
    return mine[np.array([d <= today for d in mine["day"]], bool)]


def _whole(frame: Any, code: str, density_ha: float) -> float:
    """Plants the plot was planted with: as told, else its area at the usual density; 0 when neither is known."""
    told, area = frame.at[code, "planted_plants"], frame.at[code, "area_ha"]
    if told is not None and told == told and told > 0:
        return float(told)
    return float(area) * density_ha if area is not None and area == area else 0.0


def _generations(db: Database, plots: list[str], ground: ripening.Land, how: list[str], frame: Any, today: date) -> tuple[np.ndarray, np.ndarray]:
    """([P] mean planting day of the plants, [P] sd of their ages in months) where first planting and replantings are dated and counted.

    Replantings come from the land's generations; where it has none, from the field work noted.
    """
    planted, spread, place = ground.planted.copy(), np.zeros(len(plots)), {code: i for i, code in enumerate(plots)}
    again = land.cohorts(db)
    again = again[(again["kind"] != "first") & again["plants"].notna() & again["planted_on"].notna() & again["plot"].isin(plots)]
    rows = [(r.plot, r.planted_on, float(r.plants)) for r in again.itertuples() if r.planted_on <= today]
    have = {plot for plot, _, _ in rows}
    labors = _until(survey.labors(db), plots, today, ("labor", "plants"))
    labors = labors[(labors["labor"] == "replanting") & (labors["plants"] > 0)]
    rows += [(r.plot, r.day, float(r.plants)) for r in labors.itertuples() if r.plot not in have]
    by: dict[str, list[tuple[date, float]]] = {}
    for plot, day, plants in rows:
        by.setdefault(plot, []).append((day, plants))
    density = settings.load(db)["planting_density_ha"]
    for code, later in by.items():
        i, first = place[code], _whole(frame, code, density)
        if how[i] != "dated" or not first:
            continue
        newer = sum(n for _, n in later)
        weights = np.array([max(first - newer, 1.0), *(n for _, n in later)])  # the plot's plants count every generation: gaps filled stand where others died
        days = np.array([ground.planted[i], *(d.toordinal() for d, _ in later)])
        weights = weights / weights.sum()
        planted[i] = days @ weights
        spread[i] = float(np.sqrt(((days - planted[i]) ** 2) @ weights)) / DAYS_PER_MONTH
    return planted, spread


def _events(db: Database, plots: list[str], frame: Any, today: date) -> list[tuple[str, int, float]]:
    return [event[:3] for event in _moved(db, plots, frame, today) if event[2] > 0]


def _moved(db: Database, plots: list[str], frame: Any, today: date) -> list[tuple[str, int, float, str]]:
    """(plot, ordinal day, sd °Bx, what it was) of everything that may have moved a plot's sugar for good."""
    out, density = [], settings.load(db)["planting_density_ha"]
    for r in _until(survey.losses(db), plots, today, ("cause", "plants", "area_share")).itertuples():
        if r.cause in EVENTS:
            whole = _whole(frame, r.plot, density)
            share = r.area_share if r.area_share == r.area_share and r.area_share is not None else r.plants / whole if r.plants == r.plants and whole else FULL_SHARE
            out.append((r.plot, r.day.toordinal(), float(EVENTS[r.cause]) * min(1.0, float(share) / FULL_SHARE) ** 0.5, r.cause))
    labors = _until(survey.labors(db), plots, today, ("labor",))
    return out + [(r.plot, r.day.toordinal(), float(k.PRUNING_SD_DEG), "leaf_pruning") for r in labors[labors["labor"] == "leaf_pruning"].itertuples()]


def _picked(db: Database, plots: list[str], frame: Any, today: date) -> Picked:
    """Passes from loads with plants counted; capones from quiotes cut, ready after the months of the setting, gone with a later selective pass."""
    s = settings.load(db)
    loads = _until(survey.loads(db), plots, today, ("plants", "clearing"))
    loads = {code: part for code, part in loads[loads["plants"] > 0].groupby("plot")}
    quiotes = _until(survey.labors(db), plots, today, ("labor", "plants"))
    quiotes = {code: part for code, part in quiotes[(quiotes["labor"] == "quiote_cutting") & (quiotes["plants"] > 0)].groupby("plot")}
    passes, ready = [[] for _ in plots], [[] for _ in plots]
    for i, code in enumerate(plots):
        if code not in loads and code not in quiotes:
            continue
        whole = _whole(frame, code, s["planting_density_ha"])
        if not whole:
            continue
        first = min(part["day"].min() for part in (loads.get(code), quiotes.get(code)) if part is not None)
        planted = frame.at[code, "planted_on"]
        standing = whole * (1 - s["annual_mortality"]) ** max(((first - planted).days / 365.25) if planted else 5.0, 0.0)
        if code in loads:
            passes[i] = picked.passes(standing, [(r.day.toordinal(), float(r.plants), r.clearing == 1) for r in loads[code].itertuples()])
        last_pass = passes[i][-1][0] if passes[i] else 0
        for r in quiotes[code].itertuples() if code in quiotes else ():
            day = r.day.toordinal() + round(s["capon_months"] * DAYS_PER_MONTH)
            if day > last_pass:
                gone = passes[i][-1][1] if passes[i] else 0.0
                ready[i].append((day, min(float(r.plants) / max(standing * (1 - gone), 1.0), 1.0)))
    return Picked(*picked.padded(passes), *picked.padded(ready))
