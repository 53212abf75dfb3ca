"""The product's own findings on the demo against the list of planted faults: misses and false alarms."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from webapp.database import open_estate
from webapp.land import service as land
from webapp.survey import service as survey

FOLDER = Path(__file__).resolve().parents[2] / "demo_fields"
LAND = ("bow_tie_outline", "overlapping_outlines", "duplicate_code")


@pytest.fixture(scope="module")
def faults() -> list[dict]:
    with (FOLDER / "faults.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def estate(tmp_path_factory):
    """An estate with the demo's land and records: (db, preview, reports by kind)."""
    db = open_estate(tmp_path_factory.mktemp("demo") / "estate.db", create=True)
    db["estate"].insert({"id": 1, "name": "Rancho La Garza Dormida", "time_zone": "America/Mexico_City", "frozen_today": "2026-11-23",
                         "created_at": "2026-11-23T12:00:00Z", "store_epoch": "demo"})
    preview = land.load(db, land.read((FOLDER / "plots.geojson").read_bytes(), "plots.geojson"), who="demo")
    paths = sorted((FOLDER / "records").glob("*.csv"), key=lambda p: (p.stem != "round", p.stem))
    reports = {p.stem: survey.load_file(db, p.read_bytes(), p.name, who="demo") for p in paths}
    survey.review(db)
    yield db, preview, reports
    db.conn.close()


def test_the_sound_plots_load_and_the_faulty_ones_wait(estate, faults):
    _, preview, _ = estate
    assert len(preview.new) == 190
    found = {(f.code, code) for f in preview.findings if f.blocks for code in [f.subject.rsplit(", ", 1)[-1]]}
    planted = {(f["finding"], code) for f in faults if f["fault"] in LAND for code in f["subject"].split()}
    assert found == planted


def test_every_fault_of_the_records_is_found(estate, faults):
    """Held or in doubt, under the code the list names."""
    db, _, _ = estate
    told = {(d["code"], d["record"].removeprefix("plot:")) for d in survey.doubts(db)} | {(h["code"], h["id"]) for h in survey.held(db)}
    missed = [f for f in faults if f["fault"] not in LAND and (f["finding"], f["subject"]) not in told]
    assert missed == []


def test_no_false_alarms(estate, faults):
    """Nothing else is held or doubted but what hangs on a faulty round: its readings and rows."""
    db, _, _ = estate
    subjects = {f["subject"] for f in faults}
    of_round = {row["id"]: row["round"] for row in db.query("SELECT id, round FROM record")}
    named = [d["record"].removeprefix("plot:") for d in survey.doubts(db)] + [h["id"] for h in survey.held(db)]
    assert [name for name in named if name not in subjects and of_round.get(name) not in subjects] == []


def test_what_people_put_right_counts(estate):
    """The corrected readings and loads stand for the wrong ones; a reading taken back is gone."""
    db, _, reports = estate
    assert sum(r.kept for r in reports.values()) > 12_000
    with (FOLDER / "records" / "reading.csv").open(encoding="utf-8") as file:
        corrections = {r["replaces"]: float(r["brix_raw_deg"]) for r in csv.DictReader(file) if r["replaces"]}
    with (FOLDER / "records" / "void.csv").open(encoding="utf-8") as file:
        voided = {r["replaces"] for r in csv.DictReader(file)}
    ids = set(survey.readings(db)["id"])
    assert len(corrections) == 8 and voided and not ids & (corrections.keys() | voided)
    loads = survey.loads(db)
    assert (loads["gross_kg"] - loads["tare_kg"] - loads["net_kg"]).abs().max() < 1
    assert loads["ticket"].dropna().is_unique


def test_loading_twice_doubles_nothing(estate):
    db, _, reports = estate
    again = survey.load_file(db, (FOLDER / "records" / "weighing.csv").read_bytes(), "weighing.csv", who="demo")
    assert again.kept == 0 and again.already == reports["weighing"].kept + reports["weighing"].held
