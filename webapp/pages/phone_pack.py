"""What one crew needs without signal, as plain data: plots, priors, this week's own orders, visits worth making.

No prices, no other crew's data, nothing beyond this week: a finder of a lost phone sees no more than
its crew needs to work.
"""

from __future__ import annotations

import json
import threading
from collections import OrderedDict
from datetime import timedelta
from math import sqrt
from typing import Any

from .. import answers, clock, settings
from ..crop import worth_service as worth
from ..cutting import service as cutting
from ..cutting.orders import by_order
from ..database import Database, path_of, rows
from ..land import service as land
from ..people.service import Device
from ..ripeness import service as ripeness
from ..sentences import LANGUAGES, Sentence
from ..survey import service as survey
from . import resting
from .phone_outline import outer_ring, simplified

SCHEMA = 1
VISITS = 12
REMARK_DAYS, REMARKS = 60, 3
SAMPLER_CARE = ("drill", "sap", "spines", "heat", "animals", "alone", "lightning", "codes")
"""Cautions of who walks the rows with drill and refractometer, in the order to say them."""


KEPT = 400
_made: OrderedDict[tuple, tuple[str, bytes]] = OrderedDict()
_same: dict[Any, tuple[str, list[dict]]] = {}
_drawn: dict[Any, tuple[int, dict[str, list]]] = {}
_guard = threading.Lock()


def packed(db: Database, device: Device) -> bytes:
    """The pack's bytes, made anew only when something it is made of has changed: phones ask far more often than that.

    A large estate's first answers are never waited for: until the worker has them the pack goes without.
    """
    now, values = clock.of(db), settings.load(db)
    ready = resting.reckoned()
    rests_on = answers.key_of(survey=survey.data_version(db), settings=values.version, ripeness=ripeness.answer(db).key if ready else "", orders=cutting.orders_mark(db), visits=worth.key(db).replace(" ", ",") if ready else "",
                              today=now.today().isoformat(), name=device.name, crew=device.crew)
    place = (path_of(db), device.id)
    with _guard:
        found = _made.get(place)
    if found is None or found[0] != rests_on:
        found = rests_on, json.dumps(make(db, device, ready), ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()
        with _guard:
            _made[place] = found
            while len(_made) > KEPT:
                _made.popitem(last=False)
    return found[1]


def _everyones(db: Database, ready: bool) -> list[dict]:
    """The plots, which are the same in every phone's pack: in a region each phone would take seconds for them."""
    values, today, where = settings.load(db), clock.of(db).today(), path_of(db) or id(db)
    rests_on = answers.key_of(survey=survey.data_version(db), settings=values.version, ripeness=ripeness.answer(db).key if ready else "", today=today.isoformat())
    with _guard:
        found = _same.get(where)
    if found is None or found[0] != rests_on:
        frame = land.plots(db)
        found = rests_on, _plots(db, frame[frame["status"] == "standing"], ripeness.prior_for_phone(db) if ready else {}, float(values["target_brix_deg"]))
        with _guard:
            _same[where] = found
    return found[1]


def _outlines(db: Database) -> dict[str, list]:
    """Outlines as a phone keeps them; simplified again only when the land changes."""
    version, where = land.version(db), path_of(db) or id(db)
    with _guard:
        found = _drawn.get(where)
    if found is None or found[0] != version:
        found = version, {code: simplified(outer_ring(geometry)) for code, geometry in land.outlines(db).items()}
        with _guard:
            _drawn[where] = found
    return found[1]


def make(db: Database, device: Device, ready: bool = True) -> dict[str, Any]:
    """The pack of one phone; the same estate state gives the same bytes, so its digest is an ETag. Without answers (not ``ready``) it says ``reckoning`` and brings neither what is expected nor where to sample."""
    now = clock.of(db)
    values = settings.load(db)
    orders, cautions = _orders(db, device, now.week())
    return {
        "schema": SCHEMA, "estate": rows(db, "SELECT name FROM estate")[0]["name"], "today": now.today().isoformat(), "week": now.week(),
        "frozen": now.frozen_today is not None, "device": {"id": device.id, "name": device.name, "crew": device.crew},
        "settings": {name: values[name] for name in ("enough_narrowing_deg", "enough_rows_share")},
        "plots": _everyones(db, ready),
        "orders": orders, "cautions": cautions, "care": [_in_words({"code": f"caution.{name}"}) for name in SAMPLER_CARE],
        "visits": [_visit(visit) for visit in worth.listed(db, VISITS)] if ready else [], **({} if ready else {"reckoning": True}),
    }


def _visit(visit: dict) -> dict[str, Any]:
    """Plot, what to do there, minutes of the work and why in both languages; ``stop`` where it belongs to the morning's round."""
    one = {"plot": visit["code"], "work": visit["work"], "minutes": round(visit["work_minutes"]), "stop": visit["stop"], "why": {language: visit["why"].text(language) for language in LANGUAGES}}
    return {name: value for name, value in one.items() if value is not None}


def _plots(db: Database, standing, priors: dict[str, dict], target_deg: float) -> list[dict]:
    outlines = _outlines(db)
    visited = survey.rounds(db).groupby("plot")["day"].max().to_dict()
    counted = survey.row_counts(db).dropna(subset=["rows_in_plot"]).groupby("plot")["rows_in_plot"].last().to_dict()
    found = []
    for code, plot in standing.to_dict("index").items():
        side_m = sqrt(max(plot["area_ha"] or 0, 0) * 10_000)
        one = {
            "code": code, "name": plot["name"], "zone": plot["zone"], "gate": plot["gate"], "target_deg": target_deg,
            "planted_on": plot["planted_on"].isoformat() if plot["planted_on"] else None, "last_visit": _day(visited.get(code)),
            "outline": outlines.get(code, []), "area_ha": _number(plot["area_ha"]), "prior": _prior(priors.get(code)),
            "rows_counted": _whole(counted.get(code)), "rows": _along(side_m, plot["row_spacing_m"]), "plants_per_row": _along(side_m, plot["plant_spacing_m"]), "plant_spacing_m": _number(plot["plant_spacing_m"]),
        }
        found.append({name: value for name, value in one.items() if value is not None or name == "last_visit"})
    return found


def _along(side_m: float, spacing_m: float | None) -> int | None:
    """Rows (or plants) along one side of a square as large as the plot: a guess until somebody counts."""
    return max(1, round(side_m / spacing_m)) if side_m and spacing_m and spacing_m == spacing_m else None


def _number(value: float | None) -> float | None:
    return round(float(value), 2) if value is not None and value == value else None


def _whole(value: float | None) -> int | None:
    return int(value) if value is not None and value == value else None


def _day(value: Any) -> str | None:
    return value.isoformat()[:10] if value is not None and value == value else None


def _prior(prior: dict | None) -> dict | None:
    """Mean and sd of the plot's mean now, and the noise of visits and plants; °Bx, two decimals."""
    names = ("mean_deg", "sd_deg", "visit_sd_deg", "plant_sd_deg")
    return {name: round(float(prior[name]), 3) for name in names} if prior else None


def _orders(db: Database, device: Device, week: str) -> tuple[list[dict], list[dict]]:
    """This week's orders of the phone's own crew and the cautions they point at, in both languages.

    ``others`` is how many other crews cut the same plot that week; ``finished_by`` are the records that say it is done.
    """
    cautions: list[dict] = []
    found = []
    loads, done, said = survey.loads(db), survey.orders_done(db), _remarks(db)
    everybodys = by_order(cutting.orders(db, week=week)) if device.crew else []
    for order in (one for one in everybodys if one["crew"] == device.crew):
        beware = [_in_words(sentence) for sentence in order["cautions"]]
        cautions += [words for words in beware if words not in cautions]
        mine = loads[loads["order"] == order["id"]] if len(loads) else loads
        ends = list(done.loc[(done["order"] == order["id"]) & (done["finished"] == 1), "id"]) if len(done) else []
        found.append({
            "id": order["id"], "plot": order["plot"], "name": order["name"], "plants": round(order["plants"]), "mass_t": round(order["mass_t"], 1),
            "pass": order["kind"], "pass_number": order["pass"], "cut_style": order["cut_style"], "which": _in_words(order["how_to_tell"]), "days": order["days"],
            "trucks": [{"day": truck["day"], "hour": truck["hour"]} for truck in order["trucks"]], "beware": [cautions.index(words) for words in beware],
            "remarks": said.get(order["plot"], []),
            "cut_plants": int(mine["plants"].fillna(0).sum()) if len(mine) else 0,
            "finished": bool(ends), "finished_by": ends, "crew": order["crew"],
            "others": len({one["crew"] for one in everybodys if one["plot"] == order["plot"]} - {order["crew"]}),
        })
    return found, cautions


def _remarks(db: Database) -> dict[str, list[dict[str, str]]]:
    """The latest remarks on each plot, newest first, as {day, text}: the way in, a broken gate, a dog."""
    found: dict[str, list[dict[str, str]]] = {}
    frame = survey.remarks(db)
    if not len(frame):
        return found
    since = clock.of(db).today() - timedelta(days=REMARK_DAYS)
    for plot, day, text in sorted(zip(frame["plot"], frame["day"], frame["text"]), key=lambda row: str(row[1]), reverse=True):
        if _day(day) >= since.isoformat() and len(found.setdefault(plot, [])) < REMARKS:
            found[plot].append({"day": _day(day), "text": str(text)[:300]})
    return found


def _in_words(sentence: dict) -> dict[str, str]:
    return {language: Sentence(sentence["code"], sentence.get("params", {})).text(language) for language in LANGUAGES}
