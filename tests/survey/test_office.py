"""What the office does with held records: the one that came stays, another stands in its place."""

import json

import pytest

from webapp.problems import Problem
from webapp.survey import record as rec
from webapp.survey import service

from .conftest import batch, record
from .test_receive import receive


def values(db):
    return sorted(service.readings(db)["brix_raw_deg"])


def test_a_mended_correction_replaces_what_the_held_one_would_have(field):
    receive(field, batch(record(1), record(2, brix_raw_deg=260, replaces=record(1)["id"])))
    service.mend(field, record(2)["id"], {"brix_raw_deg": "26"}, "Ana")
    assert values(field) == [26.0]
    assert [s["step"] for s in service.record_history(field, record(2)["id"])] == ["before", "came_held", "mended", "replaced"]


def test_setting_a_correction_aside_leaves_the_first(field):
    receive(field, batch(record(1), record(2, brix_raw_deg=260, replaces=record(1)["id"])))
    service.set_aside(field, record(2)["id"], "Ana", "dedazo")
    assert values(field) == [24.0]


def test_a_whole_round_with_a_clock_a_year_ahead(field):
    receive(field, batch(*(record(n, round=record(1)["id"], taken_at=f"2027-07-15T09:{n:02d}:00-06:00") for n in range(1, 6)), record(9, round=record(1)["id"], brix_raw_deg=260)))
    assert {h["proposal"].get("taken_at", "")[:10] for h in service.held(field)} == {"2026-07-15", ""}
    assert sorted(h["alike"] for h in service.held(field)) == [1, 5, 5, 5, 5, 5] and not any(h["may_accept"] for h in service.held(field))
    assert service.mend_alike(field, record(3)["id"], "Ana") == 5
    assert {d.isoformat() for d in service.readings(field)["day"]} == {"2026-07-15"} and [h["code"] for h in service.held(field)] == ["above"]
    with pytest.raises(Problem):
        service.mend_alike(field, record(3)["id"], "Ana")


@pytest.mark.parametrize("change", [{"brix_raw_deg": 260}, {"plot": "ZZ"}, {"taken_at": "ayer"}, {"taken_at": "2027-03-01T09:00:00-06:00"}, {"kind": "dance"}, {"id": "x"}])
def test_what_no_estimate_could_use_is_not_accepted(field, change):
    receive(field, batch(record(1, **change)))
    [held] = service.held(field)
    with pytest.raises(Problem) as refused:
        service.accept(field, held["id"], "Ana")
    assert refused.value.code == "still_wrong" and refused.value.text("en") and len(service.held(field)) == 1


def test_accepting_the_second_of_two_with_one_id(field):
    receive(field, batch(record(1)))
    receive(field, batch(record(1, brix_raw_deg=25.0)))
    service.accept(field, record(1)["id"], "Ana")
    assert values(field) == [25.0] and service.held(field) == []


def test_an_age_older_than_the_papers(field):
    receive(field, batch(record(1, kind="age_check", planting_year=2016), record(2, kind="age_check", planting_year=2016, confirmed=True)))
    [held] = service.held(field)
    assert (held["code"], held["proposal"]) == ("age_before_planting", {"planting_year": 2020}) and "2016" in held["what"].text("es")
    service.accept(field, held["id"], "Ana")
    assert service.age_checks(field)["planting_year"].tolist() == [2016.0, 2016.0]


def test_reasons_name_fields_as_people_do(field):
    receive(field, batch(record(1, brix_raw_deg=260), record(2, kind="loss", cause="rayo")))
    first, second = service.held(field)
    assert "°Brix leído" in first["what"].text("es") and "°Brix as read" in first["what"].text("en")
    assert first["labels"]["brix_raw_deg"].text("es") == "°Brix leído" and first["labels"]["plot"].text("es") == "Tabla"
    assert "helada" in second["do"].text("es") and "frost" in second["do"].text("en")


def test_older_schemas_are_read_in_todays_form_and_stored_as_they_came(field, monkeypatch):
    receive(field, batch(record(1, brix_raw_deg=None, grados=25.0)))
    assert [h["code"] for h in service.held(field)] == ["field_missing"]
    monkeypatch.setattr(rec, "SCHEMA", 2)
    monkeypatch.setitem(rec.UPCASTS, 1, lambda kind, f: {**{n: v for n, v in f.items() if n != "grados"}, "brix_raw_deg": f.get("grados", f.get("brix_raw_deg"))})
    receive(field, batch(record(2, brix_raw_deg=None, grados=24.0)))
    receive(field, batch(record(3, brix_raw_deg=26.0), schema=2))
    assert values(field) == [24.0, 26.0]
    assert json.loads(field.conn.execute("SELECT fields FROM record WHERE id = ?", [record(2)["id"]]).fetchone()[0])["grados"] == 24.0


def test_what_came_from_a_newer_phone_is_used_by_a_newer_office(field, monkeypatch):
    receive(field, batch(record(1), schema=2))
    assert [h["code"] for h in service.held(field)] == ["newer_schema"]
    monkeypatch.setattr(rec, "SCHEMA", 2)
    monkeypatch.setitem(rec.UPCASTS, 1, lambda kind, fields: fields)
    assert service.held(field) == [] and values(field) == [24.0]


def test_a_reader_of_a_file_that_cannot_be_written(field):
    from webapp.database import open_estate

    receive(field, batch(record(1), record(2, plot="NV-01")))
    service.doubts(field)
    field.execute("UPDATE version_count SET n = n + 1 WHERE domain = 'land'")
    field.conn.commit()
    closed = open_estate(field.conn.execute("PRAGMA database_list").fetchone()[2], read_only=True)
    assert values(closed) == [24.0] and len(service.held(closed)) == 1 and service.doubts(closed) == []
