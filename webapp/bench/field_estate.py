"""A made-up estate of two hundred standing plots with what a phone's pack is made of: walked outlines, rounds, counts, one crew's week."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta
from pathlib import Path

from .. import clock
from ..database import Database, atomic, open_estate
from ..land import service as land
from ..people import service as people
from ..survey import service as survey
from . import thousand_plots

PLOTS, CREW, ORDERS = 200, "Cuadrilla 1", 12
GATES = ("Portón con candado, llave con el cabo", "Entrada por el arroyo, sólo en secas", "Junto a la bodega vieja", None)


def build(path: Path, count: int = PLOTS) -> Database:
    """Outlines of 24 corners; every plot visited and counted once; twelve orders of this week for one crew."""
    from ..work import estimates

    db = open_estate(path, create=True)
    people.setup(db, "Doscientas tablas", "America/Mexico_City", "2026-11-23")
    features = [{"type": "Feature", "geometry": thousand_plots._outline(i), "properties": {
        "code": f"X-{i:04d}", "name": f"Tabla número {i}", "zone": f"Zona {i % 4}", "planted_on": f"{2016 + i % 10}-07-{1 + i % 28:02d}", "row_spacing_m": 3.2, "plant_spacing_m": 1.1,
        **({"gate": GATES[i % 4]} if GATES[i % 4] else {})}} for i in range(count)]
    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "doscientas.geojson"), "bench")
    survey.load_file(db, "\n".join(json.dumps(one) for i in range(count) for one in _visit(db, i)).encode(), "visitas.jsonl", "bench")
    _orders(db)
    estimates(db)
    return db


def _visit(db: Database, i: int):
    at = (clock.of(db).now() - timedelta(days=20 + i % 90)).isoformat(timespec="seconds")
    names = [str(uuid.UUID(int=(0x0192 << 112) | (7 << 76) | (2 << 62) | (i << 8) | k)) for k in range(5)]
    common = {"plot": f"X-{i:04d}", "taken_at": at}
    yield {"id": names[0], "kind": "round", "round": names[0], "instrument": "R1", "atc": "no", **common}
    for k in range(3):
        yield {"id": names[1 + k], "kind": "reading", "round": names[0], "row": 1 + k, "plant": 5, "brix_raw_deg": 19.5 + (i + k) % 7, "juice_temp_c": 24, **common}
    yield {"id": names[4], "kind": "row_count", "row": 3, "plants_standing": 90 + i % 40, "gaps": i % 9, "rows_in_plot": 60 + i % 50, **common}


def _orders(db: Database) -> None:
    """As publishing stores them, under a plan made by hand."""
    week = clock.of(db).week()
    with atomic(db):
        db.execute("INSERT INTO plan (id, made_at, made_by, how, key, first_week, weeks, outcome, value, meta, inputs) VALUES (1, '', '', 'by_hand', '', ?, 26, 'by_hand', 0, '{}', x'')", [week])
        for i in range(ORDERS):
            values = {"id": f"{week}-X-{i:04d}-1", "day": "2026-11-24", "plan": 1, "crew": CREW, "week": week, "plot": f"X-{i:04d}", "pass": 1, "clearing": 0, "mass_t": 49.7 + i, "plants": 1420.0, "pina_kg": 35.0,
                      "cut_style": "short", "trucks": '[{"hour": "09:00", "mass_t": 24.9}, {"hour": "12:00", "mass_t": 24.8}]', "how_to_tell": '{"code": "cutting.tell.all", "params": {}}',
                      "cautions": '[{"code": "caution.coa", "params": {}}, {"code": "caution.heat", "params": {}}]', "published_at": "2026-11-22T12:00:00Z"}
            db.execute(f"INSERT INTO cutting_order ({', '.join(values)}) VALUES ({', '.join('?' * len(values))})", list(values.values()))
