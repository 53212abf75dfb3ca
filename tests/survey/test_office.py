"""What the office does with held records: the one that came stays, another stands in its place."""

import json

import pytest

from webapp.problems import Problem
from webapp.survey import held_groups, held_service
from webapp.survey import record as rec
from webapp.survey import service

from .conftest import batch, record
from .test_quality import visit
from .test_receive import receive


def values(db):
    return sorted(service.readings(db)["brix_raw_deg"])


def test_a_mended_correction_replaces_what_the_held_one_would_have(field):
    receive(field, batch(record(1), record(2, brix_raw_deg=260, replaces=record(1)["id"])))
    service.mend(field, record(2)["id"], {"brix_raw_deg": "26"}, "Ana")
    assert values(field) == [26.0]
    assert [s["step"] for s in service.record_history(field, record(2)["id"])] == ["came", "came_held", "mended", "replaced"]


def test_setting_a_correction_aside_leaves_the_first(field):
    receive(field, batch(record(1), record(2, brix_raw_deg=260, replaces=record(1)["id"])))
    service.set_aside(field, record(2)["id"], "Ana", "dedazo")
    assert values(field) == [24.0]


def test_a_whole_round_with_a_clock_a_year_ahead(field):
    receive(field, batch(*(record(n, round=record(1)["id"], taken_at=f"2027-07-15T09:{n:02d}:00-06:00") for n in range(1, 6)), record(9, round=record(1)["id"], brix_raw_deg=260)))
    assert {h["proposal"].get("taken_at", "")[:10] for h in service.held(field)} == {"2026-07-15", ""}
    assert sorted(len(g.rows) for g in held_groups.grouped(service.held(field))) == [1, 5] and not any(h["may_accept"] for h in service.held(field))
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


def slow_clock(field, *, after=True):
    """A phone's round with its clock at the factory's day, between two sound readings of its own."""
    odd = [record(n, round=record(2)["id"], taken_at=f"2016-01-01T00:{n:02d}:00-06:00") for n in range(2, 8)]
    sound = [record(1, taken_at="2026-11-16T08:00:00-06:00"), *([record(9, taken_at="2026-11-16T10:05:00-06:00")] if after else [])]
    receive(field, batch(*sound, *odd))
    [group] = held_groups.grouped(service.held(field))
    return group


def test_a_round_from_before_its_plot_is_moved_together_to_when_it_was_taken(field):
    """What the phone noted before and after says when; all keep their distances, or all are used as they came."""
    group = slow_clock(field)
    assert len(group.rows) == 6 and group.may_move and group.may_accept and not group.may_name and not group.proposed
    assert held_service.proposed_begin(field, group).isoformat() == "2026-11-16T09:00:00-06:00"
    with pytest.raises(Problem) as refused:
        held_service.move(field, group.key, "ayer", "Ana")
    assert refused.value.code == "moment_unknown" and refused.value.text("en") and len(service.held(field)) == 6
    with pytest.raises(Problem):
        held_service.move(field, group.key, "2012-11-16T09:00", "Ana")
    assert len(service.held(field)) == 6, "one that can't be used leaves all as they were"
    assert held_service.move(field, group.key, "2026-11-16T09:00", "Ana") == 6 and not service.held(field)
    times = sorted(t.tz_convert("America/Mexico_City").strftime("%m-%d %H:%M") for t in service.readings(field)["taken_at"])
    assert times == ["11-16 08:00", *(f"11-16 09:{n:02d}" for n in range(6)), "11-16 10:05"]


def test_a_group_is_accepted_or_set_aside_for_one_reason(field):
    group = slow_clock(field, after=False)
    assert held_service.proposed_begin(field, group) is None, "one side alone does not tell"
    with pytest.raises(Problem):
        held_service.set_aside(field, group.key, "Ana", " ")
    assert held_service.accept(field, group.key, "Ana") == 6 and len(service.readings(field)) == 7
    with pytest.raises(Problem) as gone:
        held_service.set_aside(field, group.key, "Ana", "dedazo")
    assert gone.value.status == 404


def test_records_of_a_plot_that_is_not_known_are_given_theirs_together(field):
    receive(field, batch(*(record(n, plot="ZZ-9", round=record(20 + n % 2)["id"]) for n in range(1, 5)), record(9, plot=None)))
    named, nameless = sorted(held_groups.grouped(service.held(field)), key=lambda g: -len(g.rows))
    assert len(named.rows) == 4 and named.may_name and nameless.may_name
    with pytest.raises(Problem):
        held_service.name_plot(field, named.key, "ZZ-8", "Ana")
    assert len(service.held(field)) == 5 and held_service.name_plot(field, named.key, "LA-07", "Ana") == 4
    assert held_service.set_aside(field, nameless.key, "Ana", "sin tabla") == 1 and set(service.readings(field)["plot"]) == {"LA-07"}


def test_doubts_of_a_kind_are_settled_together_as_far_as_they_were_shown(field):
    receive(field, batch(*(one for day in (1, 2, 3) for one in visit(day, day=day, values=[56.0, 55.0, 57.0]))))
    shown = [d["id"] for d in service.doubts(field)]
    assert held_service.settle_doubts(field, "brix_too_high", "take", shown[0], shown[1], "Ana") == (2, [])
    assert [d["id"] for d in service.doubts(field)] == shown[2:] and len(service.readings(field)) == 3
    assert held_service.settle_doubts(field, "brix_too_high", "leave", shown[0], shown[2], "Ana") == (1, []) and not service.doubts(field)


@pytest.mark.parametrize("language,words", [("es", "El Tapia, VS-04, 1 de noviembre de 2026"), ("en", "El Tapia, VS-04, November 1, 2026")])
def test_plots_are_called_by_their_names_in_doubts_and_lists(field, language, words):
    receive(field, batch(*visit(1, values=[56.0, 55.0, 57.0]), record(90, brix_raw_deg=260)))
    [doubt], [held] = service.doubts(field), service.held(field)
    assert words in doubt["what"].text(language) and doubt["params"]["plot"] == "VS-04" and held["plot_name"] == "El Tapia, VS-04"
