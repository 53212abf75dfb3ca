"""SQL of zones, parcels, plots, outlines, cohorts, closures and outlines that wait."""

from __future__ import annotations

import json

from ..database import Database, rows

PLOT_FIELDS = ("name", "parcel", "zone", "variety", "row_spacing_m", "plant_spacing_m", "planted_on", "offset_size_cm", "status", "gate")
PARCEL_FIELDS = {"parcel_name": "name", "registry_number": "registry_number", "tenure": "tenure", "lease_end": "lease_end",
                 "registered_plants": "registered_plants", "share": "share"}
ZONE_FIELDS = ("altitude_m", "haul_km", "truck_max_t", "wet_road")
FEW_PLOTS = 500
"""As many codes may stand in a statement; for more all outlines are read."""

_PLOTS = """
SELECT p.code, p.name, p.parcel, p.zone, p.variety, p.row_spacing_m, p.plant_spacing_m, p.planted_on, p.offset_size_cm, p.status, p.gate,
  o.area_ha, o.perimeter_m, o.lat, o.lon, a.tenure, a.lease_end, a.registered_plants, z.altitude_m, c.plants AS cohort_plants
FROM plot p
LEFT JOIN (SELECT plot, max(id) AS id FROM outline GROUP BY plot) newest ON newest.plot = p.code
LEFT JOIN outline o ON o.id = newest.id
LEFT JOIN parcel a ON a.code = p.parcel
LEFT JOIN zone z ON z.name = p.zone
LEFT JOIN (SELECT plot, sum(plants) AS plants FROM cohort GROUP BY plot) c ON c.plot = p.code
"""


def plots(db: Database, code: str | None = None) -> list[dict]:
    return rows(db, _PLOTS + ("WHERE p.code = ?" if code else "ORDER BY p.code"), [code] if code else [])


def put_zone(db: Database, name: str, values: dict) -> None:
    db.execute("INSERT OR IGNORE INTO zone (name) VALUES (?)", [name])
    if values:
        db["zone"].update(name, values)


def put_parcel(db: Database, code: str, values: dict) -> None:
    db.execute("INSERT OR IGNORE INTO parcel (code, name) VALUES (?, ?)", [code, values.get("name") or code])
    if values:
        db["parcel"].update(code, values)


def put_plot(db: Database, code: str, values: dict) -> None:
    db.execute("INSERT OR IGNORE INTO plot (code, name) VALUES (?, ?)", [code, values.get("name") or code])
    if values:
        db["plot"].update(code, values)


def add_outline(db: Database, plot: str, geometry: dict, measure, source: str, since: str, by: str) -> None:
    db["outline"].insert({"plot": plot, "geometry": json.dumps(geometry, separators=(",", ":")), "area_ha": measure.area_ha,
                          "perimeter_m": measure.perimeter_m, "lat": measure.lat, "lon": measure.lon, "source": source, "since": since, "by": by})


def outlines(db: Database, codes: list[str] | None = None) -> dict[str, dict]:
    few = codes if codes is not None and len(codes) <= FEW_PLOTS else []  # a file of thousands asks for one after the other
    where = f" WHERE plot IN ({', '.join('?' * len(few))})" if few else ""
    found = rows(db, f"SELECT plot, geometry FROM outline WHERE id IN (SELECT max(id) FROM outline{where} GROUP BY plot) ORDER BY plot", list(few))
    wanted = None if codes is None else set(codes)
    return {row["plot"]: json.loads(row["geometry"]) for row in found if wanted is None or row["plot"] in wanted}


def outline_versions(db: Database, plot: str) -> list[dict]:
    found = rows(db, "SELECT id, geometry, area_ha, perimeter_m, source, since, by FROM outline WHERE plot = ? ORDER BY id DESC", [plot])
    return [{**row, "geometry": json.loads(row["geometry"])} for row in found]


def cohorts(db: Database) -> list[dict]:
    return rows(db, "SELECT id, plot, kind, planted_on, plants, note FROM cohort ORDER BY plot, planted_on, id")


def add_cohort(db: Database, plot: str, kind: str, planted_on: str | None, plants: int | None, note: str = "") -> None:
    db["cohort"].insert({"plot": plot, "kind": kind, "planted_on": planted_on, "plants": plants, "note": note})


def set_first_cohort(db: Database, plot: str, planted_on: str | None, plants: int | None) -> None:
    found = db.conn.execute("SELECT id, planted_on, plants FROM cohort WHERE plot = ? AND kind = 'first' ORDER BY id LIMIT 1", [plot]).fetchone()
    if found is None:
        add_cohort(db, plot, "first", planted_on, plants)
    else:
        db["cohort"].update(found[0], {"planted_on": planted_on or found[1], "plants": plants if plants is not None else found[2]})


def drop_cohorts_after(db: Database, day: str) -> None:
    db.execute("DELETE FROM cohort WHERE planted_on > ?", [day])


def parcels(db: Database) -> list[dict]:
    return rows(db, "SELECT * FROM parcel ORDER BY code")


def zones(db: Database) -> list[dict]:
    return rows(db, "SELECT * FROM zone ORDER BY name")


def closures(db: Database) -> list[dict]:
    return rows(db, "SELECT * FROM closure ORDER BY from_week, id")


def add_closure(db: Database, values: dict) -> int:
    return db["closure"].insert(values).last_pk


def remove_closure(db: Database, closure: int) -> dict | None:
    found = rows(db, "SELECT * FROM closure WHERE id = ?", [closure])
    db.execute("DELETE FROM closure WHERE id = ?", [closure])
    return found[0] if found else None


def add_waiting(db: Database, values: dict) -> None:
    db["waiting_plot"].insert(values)


def waiting(db: Database) -> list[dict]:
    found = rows(db, "SELECT * FROM waiting_plot WHERE settled_at IS NULL ORDER BY id")
    return [{**row, "geometry": json.loads(row["geometry"]) if row["geometry"] else None, "attributes": json.loads(row["attributes"]),
             "findings": json.loads(row["findings"])} for row in found]


def known_waiting(db: Database) -> dict[tuple[str, str], bool]:
    """(code, outline as text) of every outline that waits or waited → whether a person has decided on it."""
    return {(row["code"], row["geometry"] or ""): row["settled_at"] is not None for row in rows(db, "SELECT code, geometry, settled_at FROM waiting_plot ORDER BY id")}


def settle_waiting(db: Database, waiting_id: int, at: str, by: str) -> None:
    db["waiting_plot"].update(waiting_id, {"settled_at": at, "settled_by": by})
