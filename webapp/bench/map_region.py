"""A synthetic region to draw: 5,000 walked-looking plots of twenty corners, with answers such as a sampled estate has.

The answers are stored, not fitted: the fit of an estate without records gives their form, and a simple law of
growth with plots ahead and behind, visited seldom or often, gives their figures.
"""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from .. import answers, clock
from ..crop import service as crops
from ..database import Database, open_estate
from ..land import service as land
from ..people import service as people
from ..ripeness import readiness
from ..ripeness import service as ripeness
from ..survey import service as survey
from ..tonnage import service as tonnage

PLOTS, PIECES, STEP_M, SHRUNK = 5000, 5, 205.0, 0.97
SOUTH_WEST, METRES_PER_DEGREE = (-103.2, 20.2), (104_200.0, 110_700.0)
ZONES = ("Valle Sur", "Los Altos", "Laderas", "Llano Hondo", "Mesa Larga", "El Bajío", "Barranca", "La Ciénega")
WORDS = ("Tapia", "Aguaje", "Mezquites", "Portón", "Tepetate", "Garambullo", "Pitayo", "Corral Viejo", "Huizache", "La Noria", "Palo Dulce", "Tecolote", "El Mirador", "Las Ánimas", "Potrero", "Arroyo Seco")
TODAY = date(2026, 11, 23)
COUNTED = 1500
"""Plots with a counted row."""


def build(path: Path, count: int = PLOTS, seed: int = 7) -> Database:
    """An estate file with ``count`` standing plots and stored answers of ripeness, tonnage and crop."""
    rng = np.random.default_rng(seed)
    db = open_estate(path, create=True)
    people.setup(db, "Una región", "America/Mexico_City", TODAY.isoformat())
    rings = outlines(count, rng)
    planted = [TODAY - timedelta(days=int(d)) for d in rng.triangular(60, 700, 4400, count)]
    features = [{"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [ring]}, "properties": {
        "code": f"R{i % len(ZONES)}-{i:04d}", "name": f"{WORDS[int(rng.integers(len(WORDS)))]} {i // 16 + 1}", "zone": ZONES[i % len(ZONES)], "planted_on": day.isoformat(),
        "row_spacing_m": 3.2, "plant_spacing_m": 1.1}} for i, (ring, day) in enumerate(zip(rings, planted))]
    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "region.geojson"), "bench")
    codes = [f["properties"]["code"] for f in features]
    _count_rows(db, codes, rng)
    ripeness.fit(db)
    store_answers(db, rng)
    return db


def outlines(count: int, rng: np.random.Generator) -> list[list[list[float]]]:
    """Closed rings [lon, lat] of ``4 * PIECES`` corners: a crooked mosaic with lanes between, one cell in ten left out."""
    across = int(np.ceil(np.sqrt(count / 0.9)))
    corner = np.stack(np.meshgrid(np.arange(across + 1.0), np.arange(across + 1.0), indexing="ij"), axis=-1) * STEP_M + rng.normal(0, 22, (across + 1, across + 1, 2))
    part = np.arange(PIECES)[:, None] / PIECES
    bent = rng.normal(0, 4, (2, across + 1, across + 1, PIECES, 2)) * (part > 0)
    side = lambda a, b, bend: a + (b - a) * part + bend  # noqa: E731
    rings = []
    kept = np.sort(rng.permutation(across * across)[:count])
    for c, r in zip(kept // across, kept % across):
        south, north = (side(corner[c, k], corner[c + 1, k], bent[0, c, k]) for k in (r, r + 1))
        west, east = (side(corner[k, r], corner[k, r + 1], bent[1, k, r]) for k in (c, c + 1))
        back = lambda edge, end: np.concatenate([end[None], edge[:0:-1]])  # noqa: E731
        ring = np.concatenate([south, east, back(north, corner[c + 1, r + 1]), back(west, corner[c, r + 1])])
        ring = ring.mean(axis=0) + SHRUNK * (ring - ring.mean(axis=0))
        points = (np.array(SOUTH_WEST) + ring / METRES_PER_DEGREE).tolist()
        rings.append([*points, points[0]])
    return rings


def _count_rows(db: Database, codes: list[str], rng: np.random.Generator) -> None:
    lines = ["plot,taken_at,row,plants_standing,gaps,sick_wilt,sick_bud_rot,sick_weevil,sick_grade,rows_in_plot,row_length_m"]
    for code in rng.permutation(codes)[:COUNTED]:
        sick = rng.poisson(rng.gamma(0.5, 6.0))
        lines.append(f"{code},{TODAY - timedelta(days=int(rng.integers(5, 300)))}T10:00:00-06:00,7,{260 + rng.integers(60)},{rng.integers(40)},{sick},{rng.poisson(0.6)},0,{min(5, int(np.ceil(sick / 6)))},60,200")
    survey.load_file(db, "\n".join(lines).encode(), "row_count.csv", "bench")


def store_answers(db: Database, rng: np.random.Generator) -> None:
    """Overwrite the fit's figures by those of a made-up law, and put tonnage and crop beside them."""
    a = ripeness.answer(db)
    codes, weeks, n = a.meta["plots"], a.meta["weeks"], len(a.meta["plots"])
    lim, day = ripeness.limits_of(a), np.arange(len(weeks)) * 7.0
    age = (TODAY.toordinal() - a.arrays["land_planted"])[:, None] / 30.4375 + day / 30.4375 + rng.normal(0, 5, (n, 1))
    mean = 5 + 19.5 / (1 + np.exp(-(age - 42) / 11)) + rng.normal(0, 1.2, (n, 1)) + 1.1 * np.cos(2 * np.pi * (day - 140) / 365.25)
    visits = rng.integers(0, 7, n)
    sd = np.sqrt(0.3**2 + rng.uniform(0.7, 1.3, n) ** 2 / (0.35 + visits))[:, None] * (1 + day / 700)
    plant = np.full_like(mean, 2.2)
    share, low, high = readiness.share(mean, sd, plant, rng.normal(0, 1, 400), lim.target_brix_deg)
    keep = readiness.keep_share(age, lim)
    told = {"mean_deg": mean, "sd_deg": sd, "lo80": mean - 1.28 * sd, "hi80": mean + 1.28 * sd, "lo95": mean - 1.96 * sd, "hi95": mean + 1.96 * sd, "share": share, "share_lo": low, "share_hi": high,
            "chance": readiness.chance(mean, sd, lim.target_brix_deg), "keep_share": keep, "plant_sd_deg": plant, "rare_part": np.zeros(mean.shape), "sd_after_visit_deg": sd * 0.8}
    by_plot = {code: a.meta["by_plot"][code] | {"n_visits": int(v), "last_visit": (TODAY - timedelta(days=int(rng.integers(3, 400)))).isoformat() if v else None} for code, v in zip(codes, visits)}
    ours = answers.put(db, "ripeness", a.key, a.meta | {"by_plot": by_plot}, a.arrays | {k: v.astype(np.float32) for k, v in told.items()} | {"condition": readiness.condition(share, keep, age, lim)})
    stood = tonnage.make(db)
    area = land.plots(db).loc[codes, "area_ha"].to_numpy(float)
    tonnes = area[:, None] * 2700 * np.clip(0.045 / (1 + np.exp(-(age - 40) / 12)), 0.001, None) * rng.lognormal(0, 0.15, (n, 1)) * keep
    width = rng.uniform(0.12, 0.3, (n, 1)) * (1 + day / 900)
    crop = {"tonnes": tonnes, "tonnes_lo": tonnes * np.exp(-width), "tonnes_hi": tonnes * np.exp(width), "ripe_tonnes": tonnes * share, "ripe_tonnes_lo": tonnes * low, "ripe_tonnes_hi": tonnes * high}
    totals = {f"{name}_total{end}": value.sum(axis=0) * times for name, value in (("mass", tonnes), ("ripe", tonnes * share)) for end, times in (("", 1.0), ("_lo", 0.93), ("_hi", 1.07))}
    now = tonnes[:, 0] * rng.lognormal(0, 1, (crops.COUNT, 1)) ** width[:, 0]
    line = crops.art_line(db, ours)
    rests = {"ripeness": ours.key, "tonnage": stood.key}
    answers.put(db, "crop", answers.key_of(**{name: key.replace(" ", ",") for name, key in rests.items()}), {"rests_on": rests, "plots": codes, "weeks": weeks, "art_percent_per_brix": line.slope, "art_sd": line.sd, "art_loads": line.n, "area_ha": float(area.sum()), "made": clock.of(db).stamp()},
                {k: v.astype(np.float32) for k, v in (crop | totals | {"now_mass_t": now, "now_ripe_t": now * share[:, 0]}).items()})
