"""Land as other rooms see it, and the one atomic step in which a file of plots comes in."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date
from typing import Any

from .. import answers, clock
from ..database import Database, atomic
from ..people import service as people
from ..problems import Problem
from . import listing, naming, shapes, store
from .findings import Finding, long_ago
from .roads_service import add_closure, closures, load_closures, remove_closure  # noqa: F401  (other rooms call them here)

STATUSES = ("standing", "cut", "fallow", "retired")
FORMATS = ("geojson", "gpkg", "shp", "kml", "csv")


@dataclass(frozen=True)
class Preview:
    """What loading would do: lists of plot codes, and every finding of the file."""

    new: tuple[str, ...]
    changed: tuple[str, ...]
    unchanged: tuple[str, ...]
    waiting: tuple[str, ...]
    findings: tuple[Finding, ...]


def version(db: Database) -> int:
    return answers.version(db, "land")


def plots(db: Database):
    """DataFrame by code; see the columns below. Dates are ``datetime.date`` or None; areas geodesic."""
    import pandas as pd

    rows = [_plot_row(row) for row in store.plots(db)]
    columns = ["code", "name", "parcel", "zone", "variety", "row_spacing_m", "plant_spacing_m", "planted_on", "offset_size_cm", "status", "gate",
               "area_ha", "perimeter_m", "lat", "lon", "tenure", "lease_end", "registered_plants", "planted_plants", "altitude_m"]
    frame = pd.DataFrame(rows, columns=columns).set_index("code")
    for column in ("name", "parcel", "zone", "variety", "planted_on", "status", "gate", "tenure", "lease_end"):
        frame[column] = frame[column].astype(object).where(frame[column].notna(), None)
    return frame


def _plot_row(row: dict) -> dict:
    plants = row.pop("cohort_plants")
    if plants is None and row["area_ha"] and row["row_spacing_m"] and row["plant_spacing_m"]:
        plants = row["area_ha"] * 10_000 / (row["row_spacing_m"] * row["plant_spacing_m"])
    day = lambda text: date.fromisoformat(text) if text else None  # noqa: E731
    return {**row, "planted_plants": plants, "planted_on": day(row["planted_on"]), "lease_end": day(row["lease_end"])}


def plot(db: Database, code: str) -> dict:
    found = store.plots(db, code)
    if not found:
        raise Problem("plot_unknown", where=code, status=404)
    return _plot_row(found[0])


def called(db: Database) -> dict[str, str]:
    """Code → how people call the plot: by its name first, the code second (the code alone where it has no name)."""
    return {code: f"{name}, {code}" if name and name != code else code for code, name in plots(db)["name"].items()}


def parcels(db: Database) -> list[dict]:
    return store.parcels(db)


def zones(db: Database):
    import pandas as pd

    return pd.DataFrame(store.zones(db), columns=["name", "altitude_m", "haul_km", "truck_max_t", "wet_road", "note"]).set_index("name")


def cohorts(db: Database):
    import pandas as pd

    frame = pd.DataFrame(store.cohorts(db), columns=["id", "plot", "kind", "planted_on", "plants", "note"])
    frame["planted_on"] = [date.fromisoformat(d) if isinstance(d, str) and d else None for d in frame["planted_on"]]  # an empty date is NaN where others are text
    return frame


def outlines(db: Database, codes: list[str] | None = None) -> dict[str, dict]:
    return store.outlines(db, codes)


def outline_versions(db: Database, code: str) -> list[dict]:
    return store.outline_versions(db, code)


def read(data: bytes, filename: str):
    """Look at a file (see ``intake.read``); nothing is stored."""
    from . import intake

    return intake.read(data, filename)


def _sort(db: Database, found) -> tuple[list, list, list, list, list[Finding]]:
    """Features that are new, changed, unchanged or must wait, and all findings (overlaps with other plots included)."""
    findings = [*found.findings, *long_ago(found.features, clock.of(db).today())]
    there = {row["code"]: row for row in store.plots(db)}
    stored = {f.number for f in found.features if f.code in there}
    findings = [f for f in findings if f.code != "code_unfit" or f.feature not in stored]  # a plot that has long had its code keeps it
    blocked = {f.feature for f in findings if f.blocks}
    old = store.outlines(db)
    coming = {f.code for f in found.features if f.number not in blocked}
    others = [(code, shapes.parse(g)) for code, g in old.items() if code not in coming]
    sound = [f for f in found.features if f.number not in blocked]
    names = called(db)
    pairs = shapes.overlaps([shapes.parse(f.geometry) for f in sound] + [g for _, g in others])
    for i, j, area in pairs:
        if i < len(sound) <= j:
            findings.append(Finding("overlap_existing", sound[i].number, sound[i].subject, {"other": names.get(others[j - len(sound)][0]), "area_ha": area}))
            blocked.add(sound[i].number)
    new, changed, same = [], [], []
    for f in sound:
        if f.number in blocked:
            continue
        if f.code not in there:
            new.append(f)
        elif _differs(f, there[f.code], old.get(f.code)):
            changed.append(f)
        else:
            same.append(f)
    decided = store.known_waiting(db)
    waiting = [f for f in found.features if f.number in blocked and not decided.get(_waiting_key(f))]
    same += [f for f in found.features if f.number in blocked and decided.get(_waiting_key(f))]  # a person has settled exactly this one before
    return new, changed, same, waiting, findings + list(found.notes)


def _waiting_key(feature) -> tuple[str, str]:
    return feature.code, json.dumps(feature.geometry) if feature.geometry else ""


def _differs(feature, row: dict, outline: dict | None) -> bool:
    if outline is None or json.dumps(shapes.as_geojson(shapes.parse(feature.geometry))) != json.dumps(outline):
        return True
    return any(feature.attributes.get(name) is not None and feature.attributes[name] != row.get(name) for name in store.PLOT_FIELDS)


def preview(db: Database, found) -> Preview:
    new, changed, same, waiting, findings = _sort(db, found)
    return Preview(*(tuple(f.code or f.subject for f in part) for part in (new, changed, same, waiting)), tuple(findings))


def load(db: Database, found, who: str) -> Preview:
    """Everything sound in one atomic step; what blocks waits for a person, as it came."""
    at = clock.of(db).stamp()
    with atomic(db):
        new, changed, same, waiting, findings = _sort(db, found)
        for feature in (*new, *changed):
            _put(db, feature, found.file, at, who)
        there = store.known_waiting(db)
        for feature in (f for f in waiting if _waiting_key(f) not in there):
            mine = [f.as_dict() for f in findings if f.feature == feature.number]
            store.add_waiting(db, {"file": found.file, "feature": feature.number, "code": feature.code, "attributes": json.dumps(feature.attributes, ensure_ascii=False),
                                   "geometry": json.dumps(feature.geometry) if feature.geometry else None, "findings": json.dumps(mine, ensure_ascii=False), "at": at, "by": who})
        if new or changed:
            answers.bump(db, "land")
        people.note(db, who, "load_plots", found.file, after={"new": len(new), "changed": len(changed), "waiting": len(waiting)})
    return Preview(*(tuple(f.code or f.subject for f in part) for part in (new, changed, same, waiting)), tuple(findings))


def _put(db: Database, feature, source: str, at: str, who: str) -> None:
    a = {name: value for name, value in feature.attributes.items() if value is not None}
    if a.get("zone"):
        store.put_zone(db, a["zone"], {name: a[name] for name in store.ZONE_FIELDS if name in a})
    if a.get("parcel"):
        store.put_parcel(db, a["parcel"], {column: a[name] for name, column in store.PARCEL_FIELDS.items() if name in a})
    store.put_plot(db, feature.code, {name: a[name] for name in store.PLOT_FIELDS if name in a})
    if a.get("planted_on") or a.get("planted_plants") is not None:
        store.set_first_cohort(db, feature.code, a.get("planted_on"), a.get("planted_plants"))
    geometry = shapes.as_geojson(shapes.parse(feature.geometry))
    if store.outlines(db, [feature.code]).get(feature.code) != geometry:
        store.add_outline(db, feature.code, geometry, shapes.measure(shapes.parse(geometry)), source, at, who)


def waiting(db: Database) -> list[dict]:
    """Outlines of files that wait, with their findings (``what`` and ``do`` as stored sentences)."""
    found = store.waiting(db)
    for part in (f[name] for row in found for f in row["findings"] for name in ("what", "do")):
        if isinstance(part["params"].get("reason"), str):  # kept before such faults had words of their own
            part["params"]["reason"] = shapes.fault_told(part["params"]["reason"])
    return found


def settle_waiting(db: Database, waiting_id: int, who: str, action: str, code: str = "") -> None:
    """``take`` a waiting outline (mended where its ring is invalid) under a new code, ``replace`` that of a plot, or ``drop`` it.

    Problems: ``waiting_unknown``, ``waiting_no_outline``, ``plot_code_missing``, ``plot_code_taken``, ``plot_code_unfit``.
    """
    from . import intake

    found = next((w for w in store.waiting(db) if w["id"] == waiting_id), None)
    if found is None:
        raise Problem("waiting_unknown", where=str(waiting_id), status=404)
    with atomic(db):
        if action in ("take", "replace"):
            geometry = shapes.parse(found["geometry"])
            if geometry is None or geometry.geom_type not in ("Polygon", "MultiPolygon"):
                raise Problem("waiting_no_outline", where=found["code"] or str(found["feature"]))
            code = code.strip() or found["code"]
            if not code:
                raise Problem("plot_code_missing", where="code")
            if not store.plots(db, code):
                naming.fit(code)
            if action == "take" and store.plots(db, code):
                raise Problem("plot_code_taken", where=code, status=409)
            sound = shapes.mended(geometry) if shapes.why_invalid(geometry) else geometry
            _put(db, intake.Feature(found["feature"], {**found["attributes"], "code": code}, shapes.as_plain(sound)), found["file"], clock.of(db).stamp(), who)
            answers.bump(db, "land")
        elif action != "drop":
            raise Problem("waiting_unknown", where=action, status=404)
        store.settle_waiting(db, waiting_id, clock.of(db).stamp(), who)
        people.note(db, who, "replace_outline_by" if action == "replace" else f"{action}_outline", code or found["code"] or found["file"])


def export_plots(db: Database, kind: str) -> tuple[bytes, str, str]:
    """(bytes, file name, media type) of all plots. Problems ``format_unknown``, ``no_plots_to_export``."""
    from . import intake

    if kind not in FORMATS:
        raise Problem("format_unknown", where=kind, formats=", ".join(FORMATS))
    known = store.outlines(db)
    extra, places = {p["code"]: p for p in store.parcels(db)}, {z["name"]: z for z in store.zones(db)}
    rows = [listing.flat(row, extra.get(row["parcel"], {}), places.get(row["zone"], {}), store.PLOT_FIELDS, store.PARCEL_FIELDS, store.ZONE_FIELDS)
            for row in store.plots(db)]
    if not rows and kind != "csv":
        raise Problem("no_plots_to_export", where="plots", status=404)
    if kind == "csv":
        return listing.as_csv(rows), "plots.csv", "text/csv; charset=utf-8"
    shown = [row | {"geometry": known[row["code"]]} for row in rows if row["code"] in known]
    if not shown:
        raise Problem("no_features", where="plots")
    return intake.write(shown, kind), {"shp": "plots.zip"}.get(kind, f"plots.{kind}"), intake.MEDIA[kind]


def _change_plot(db: Database, code: str, who: str, act: str, **values: Any) -> None:
    before = plot(db, code)
    with atomic(db):
        store.put_plot(db, code, values)
        answers.bump(db, "land")
        people.note(db, who, act, code, before={n: before.get(n) for n in values}, after=values)


def set_planting(db: Database, code: str, planted_on: date, who: str) -> None:
    with atomic(db):
        _change_plot(db, code, who, "set_planting", planted_on=planted_on.isoformat())
        store.set_first_cohort(db, code, planted_on.isoformat(), None)


def set_status(db: Database, code: str, status: str, who: str) -> None:
    if status not in STATUSES:
        raise Problem("setting_choice", where="status", value=status, choices=", ".join(STATUSES))
    _change_plot(db, code, who, "set_status", status=status)


def add_cohort(db: Database, code: str, kind: str, planted_on: date | None, plants: int | None, who: str) -> None:
    plot(db, code)
    with atomic(db):
        store.add_cohort(db, code, kind, planted_on.isoformat() if planted_on else None, plants)
        answers.bump(db, "land")
        people.note(db, who, "add_cohort", code, after={"kind": kind, "plants": plants})


def add_plot(db: Database, code: str, geometry: dict, source: str, who: str) -> None:
    """A plot that came with nothing but its outline; the rest is filled in later. Problems ``plot_code_missing``, ``plot_code_taken``, ``plot_code_unfit``, ``outline_invalid``."""
    if not code.strip():
        raise Problem("plot_code_missing", where="code")
    if store.plots(db, code):
        raise Problem("plot_code_taken", where=code, status=409)
    naming.fit(code)
    with atomic(db):
        store.put_plot(db, code, {})
        people.note(db, who, "add_plot", code, after=source)
        replace_outline(db, code, geometry, source, who)


def replace_outline(db: Database, code: str, geometry: dict, source: str, who: str) -> None:
    """A new version of a plot's outline; the old ones stay. Problem ``outline_invalid``."""
    plot(db, code)
    found = shapes.parse(geometry)
    if found is None or found.geom_type not in ("Polygon", "MultiPolygon") or shapes.why_invalid(found) or not shapes.within_degrees(found):
        raise Problem("outline_invalid", where=code, reason=shapes.fault_told(shapes.why_invalid(found) if found is not None else ""))
    with atomic(db):
        store.add_outline(db, code, shapes.as_geojson(found), shapes.measure(found), source, clock.of(db).stamp(), who)
        answers.bump(db, "land")
        people.note(db, who, "replace_outline", code, after=source)
