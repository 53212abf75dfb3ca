"""The crop: one seed, one set of joint draws, read by cutting, outlook and every page alike."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from .. import answers, clock, settings
from ..answers import Answer
from ..database import Database, path_of
from ..land import service as land
from ..ripeness import picked
from ..ripeness import service as ripeness
from ..survey import service as survey
from ..tonnage import service as tonnage
from ..weeks import monday_of
from . import art, joint, said_service, tie_service
from .joint import Draws

STAGE, SEED, COUNT = "crop", 20261123, 200
FORM = "mostly up"
"""Part of every key: another way of drawing makes plans that rest on older draws stale."""
READ_BEFORE_DAYS = 120
_cache: dict[tuple, Any] = {}
_guard = threading.Lock()


def _parts(db: Database) -> tuple[Answer, Answer]:
    return ripeness.answer(db), tonnage.answer(db)


def key(db: Database) -> str:
    """What the crop rests on: the stored ripeness and tonnage answers."""
    ripe, tonnes = _parts(db)
    return answers.key_of(form=FORM, ripeness=ripe.key.replace(" ", ","), tonnage=tonnes.key.replace(" ", ","))


def stale(a: Answer, db: Database) -> bool:
    return a.key != key(db)


def art_line(db: Database, ripe: Answer | None = None, s: settings.Settings | None = None) -> art.Line:
    """The °Brix→ART line from loads with laboratory sugar whose plot was read within four months before."""
    s = settings.load(db) if s is None else s
    used = art_loads(db, ripe or ripeness.answer(db), s)
    return art.fit(np.array([u["brix_deg"] for u in used]), np.array([u["art_percent"] for u in used]), [u["lab"] for u in used], s["art_per_brix"], s["art_per_brix_sd"], [u["plot"] for u in used])


def art_loads(db: Database, ripe: Answer, s: settings.Settings) -> list[dict[str, Any]]:
    """Loads with laboratory sugar whose plot was read within four months before: {plot, day, lab_day, lab, brix_deg (of the plants cut), readings, art_percent}."""
    usual_sd, residuals = max(ripe.meta["fit"]["plant_deg"], 0.05), ripe.arrays["fit_residuals"]
    plant_sd = {code: float(ripe.arrays["plant_sd_deg"][i, 0]) for i, code in enumerate(ripe.meta["plots"])}
    loads, readings = survey.loads(db), survey.readings(db)
    good = loads[(loads["art_percent"] > 0) & loads["day"].notna()]
    by_plot = {p: (np.array([d.toordinal() for d in part["day"]]), part["brix20_deg"].to_numpy()) for p, part in readings[readings["brix20_deg"].notna()].groupby("plot")}
    out = []
    for row in good.itertuples():
        if row.plot not in by_plot:
            continue
        days, brix = by_plot[row.plot]
        gap = row.day.toordinal() - days
        near = brix[(gap >= 0) & (gap <= READ_BEFORE_DAYS)]
        if len(near) < 5:
            continue
        mean = np.array([float(near.mean())])
        of_cut = float(mean[0]) if row.clearing == 1 else float(art.brix_of_ripe(mean, plant_sd.get(row.plot, usual_sd), residuals, s["target_brix_deg"])[0])
        out.append({"plot": row.plot, "day": row.day, "lab_day": row.lab_day, "lab": row.lab_name or "–", "brix_deg": of_cut, "readings": len(near), "art_percent": float(row.art_percent)})
    return out


def _sweet(ripe: Answer, mean: np.ndarray, plant_sd: np.ndarray, target_brix_deg: float) -> np.ndarray:
    """[n, P, T] mean °Brix of the ripe plants; where passes took the ripest, of those among what is left."""
    residuals, taken = ripe.arrays["fit_residuals"], ripe.arrays["taken"][:, 0]
    out = art.brix_of_ripe(mean, plant_sd, residuals, target_brix_deg)
    for i in np.flatnonzero(taken > 0):
        uncut = mean[:, i] - plant_sd[i] * float(picked.shift(taken[i]))
        points, weights = picked.left(residuals, float(taken[i]))
        out[:, i] = art.brix_of_ripe(uncut, plant_sd[i], points, target_brix_deg, weights)
    return out


def _draw(db: Database, count: int, seed: int, days: list[date] | None, parts: tuple[Answer, Answer] | None = None, s: settings.Settings | None = None) -> Draws:
    ripe, tonnes = parts or _parts(db)
    s = settings.load(db) if s is None else s
    line = art_line(db, ripe, s)
    if days is None:
        mean, share = ripeness.draws(db, ripe, count, seed)
        keep, plant_sd = ripe.arrays["keep_share"], ripe.arrays["plant_sd_deg"]
        at = np.array([monday_of(w).toordinal() + 3 for w in ripe.meta["weeks"]], float)
    else:
        _, mean, share, keep, plant_sd = ripeness.long_draws(db, ripe, count, seed, len(days))
        at = np.array([d.toordinal() for d in days], float)
    plants, kg = tonnage.draws(tonnes, count, seed, at, tie_service.told(ripe, tonnes, at, mean, seed))
    slope = art.draw(line, ripe.meta["plots"], count, np.random.default_rng([seed, 11]))[:, :, None]
    sweet = _sweet(ripe, mean, plant_sd, s["target_brix_deg"])
    mass = plants * kg / 1000  # what is lost past the peak is in the growth curve, which has seen old plots weighed
    return Draws(tuple(ripe.meta["plots"]), tuple(ripe.meta["weeks"]) if days is None else (), share, mass.astype(np.float32), (sweet * slope / 100).astype(np.float32), np.asarray(keep),
                 tuple(days or ()))


def _cached(db: Database, name: str, count: int, seed: int, make) -> Draws:
    where, this = (path_of(db) or id(db), name), (key(db), settings.load(db).version, count, seed)
    with _guard:
        found = _cache.get(where)
    if found is None or found[0] != this:
        found = (this, make())
        with _guard:
            _cache[where] = found
    return found[1]


def draws(db: Database, n: int = COUNT, seed: int = SEED) -> Draws:
    """Joint draws on the weeks of the next two years; the same seed gives the same draws everywhere."""
    return _cached(db, "weeks", n, seed, lambda: _draw(db, n, seed, None))


def proposed(db: Database, ripe: Answer, tonnes: Answer, s: settings.Settings) -> Draws:
    """The same draws under other answers and settings: what-ifs, nothing is stored or kept."""
    return _draw(db, COUNT, SEED, None, (ripe, tonnes), s)


def long(db: Database, n: int = COUNT, seed: int = SEED, quarters: int = 56) -> Draws:
    """Joint draws on a quarterly grid of fourteen years, for the outlook (``quarters`` holds the days)."""
    from datetime import timedelta

    today = clock.of(db).today()
    days = [today + timedelta(days=round(q * ripeness.QUARTER_DAYS)) for q in range(quarters)]
    return _cached(db, "quarters", n, seed, lambda: _draw(db, n, seed, days))


def answer(db: Database, fresh: bool = False) -> Answer:
    """Means and intervals of the draws by plot and week and of the estate's totals (80 %)."""
    found = None if fresh else answers.latest(db, STAGE)
    if found is not None:
        return found
    d, line = draws(db), art_line(db)
    ripe, tonnes = _parts(db)
    joined, moved = tie_service.about(ripe, tonnes)
    meta = {"rests_on": {"ripeness": ripe.key, "tonnage": tonnes.key}, "plots": list(d.plots), "weeks": list(d.weeks), "seed": SEED, "n": int(d.share.shape[0]), "art_percent_per_brix": line.slope, "art_sd": line.sd, "art_loads": line.n,
            "by_lab": {name: list(v) for name, v in line.by_lab.items()}, "art_by_plot": {code: v[0] for code, v in line.by_plot.items()}, "area_ha": float(land.plots(db).loc[list(d.plots), "area_ha"].sum()) if d.plots else 0.0,
            "tie": joined}
    made = answers.put(db, STAGE, key(db), meta, {n: np.asarray(v, np.float32) for n, v in (joint.summary(d) | {"tie_moved": moved}).items()})
    said_service.keep_answer(db, made, tonnes.meta["today"])
    return made


def say_tonnes(db: Database) -> None:
    """Keep what the newest answers of ripeness and tonnage say of tonnes 4, 12 and 26 weeks ahead, from draws on those weeks alone: a past day is said again without drawing two years."""
    ripe, tonnes = _parts(db)
    weeks = [ripe.meta["weeks"][w] for w in tonnage.SAID_WEEKS]
    days = np.array([monday_of(w).toordinal() + 3 for w in weeks], float)
    mean, _ = ripeness.draws(db, replace(ripe, meta=ripe.meta | {"weeks": weeks}), COUNT, SEED)
    plants, kg = tonnage.draws(tonnes, COUNT, SEED, days, tie_service.told(ripe, tonnes, days, mean, SEED))
    mass = plants * kg / 1000
    low, high = np.quantile(mass, (0.1, 0.9), axis=0)
    said_service.keep(db, key(db), tonnes.meta["today"], ripe.meta["plots"], weeks, mass.mean(axis=0), low, high)


def basis(db: Database, a: Answer) -> tuple[Answer, Answer]:
    """The ripeness and tonnage answers a crop answer was made from: a page that shows all three shows one set.

    While a refit is half done the newest of each stage may speak of different plots.
    """
    return tuple(answers.get(db, stage, a.meta["rests_on"][stage]) or service.answer(db) for stage, service in (("ripeness", ripeness), ("tonnage", tonnage)))


OF_PLANTS = ("condition", "mean_brix_deg", "low80_brix_deg", "high80_brix_deg", "ripe_share", "ripe_share_low80", "ripe_share_high80", "chance_ripe")
"""Columns of :func:`rows` that speak of plants that stand."""


def rows(db: Database, weeks: int = 26, plot: str | None = None) -> list[dict[str, Any]]:
    """Flat rows by plot and week: ripeness and crop together, for exports. Before a plot is planted what is said of its plants is None."""
    a = answer(db)
    ripe, _ = basis(db, a)
    unplanted = ripeness.unplanted(ripe)
    at = {code: i for i, code in enumerate(a.meta["plots"])}
    out = []
    for i, code in enumerate(ripe.meta["plots"]):
        if plot not in (None, code) or code not in at:
            continue
        j = at[code]
        for w, week in enumerate(ripe.meta["weeks"][:weeks]):
            r, c = ripe.arrays, a.arrays
            out.append({"plot": code, "week": week, "condition": "TECMP"[int(r["condition"][i, w])], "mean_brix_deg": round(float(r["mean_deg"][i, w]), 3), "low80_brix_deg": round(float(r["lo80"][i, w]), 3),
                        "high80_brix_deg": round(float(r["hi80"][i, w]), 3), "ripe_share": round(float(r["share"][i, w]), 4), "ripe_share_low80": round(float(r["share_lo"][i, w]), 4),
                        "ripe_share_high80": round(float(r["share_hi"][i, w]), 4), "chance_ripe": round(float(r["chance"][i, w]), 4), "mass_t": round(float(c["tonnes"][j, w]), 2),
                        "mass_low80_t": round(float(c["tonnes_lo"][j, w]), 2), "mass_high80_t": round(float(c["tonnes_hi"][j, w]), 2), "ripe_mass_t": round(float(c["ripe_tonnes"][j, w]), 2),
                        "sugar_t": round(float(c["sugar_t"][j, w]), 3)})
            if unplanted[i, w]:
                out[-1] |= dict.fromkeys(OF_PLANTS)
    return out
