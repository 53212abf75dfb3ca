"""A batch gets a receipt for each record; nothing is dropped, nothing is doubled, nothing is rewritten."""

import json
from datetime import datetime, timedelta, timezone

import pytest

from webapp.land import service as land
from webapp.problems import Problem
from webapp.survey import service

from .conftest import batch, record

NOON = datetime(2026, 11, 23, 18, 0, tzinfo=timezone.utc)


def receive(db, body, at=NOON):
    return service.receive(db, body, "tel-1", at)


def statuses(reply):
    return [r["status"] for r in reply["results"]]


def test_kept_already_held(field):
    body = batch(record(1), record(2, brix_raw_deg=260.0), record(3, plot="VS-40"))
    reply = receive(field, body)
    assert statuses(reply) == ["kept", "held", "held"] and reply["seq_high"] == 3 and reply["seq_count"] == 3 and reply["store_epoch"] == "prueba"
    assert reply["results"][1]["problem"]["code"] == "above" and "260" in reply["results"][1]["problem"]["detail"]
    assert statuses(receive(field, body)) == ["already"] * 3
    assert len(service.readings(field)) == 1
    proposals = {h["code"]: h["proposal"] for h in service.held(field)}
    assert proposals == {"above": {"brix_raw_deg": 26.0}, "unknown_plot": {"plot": "VS-04"}}


def test_stored_equals_sent(field):
    one = record(1, wounded=0)
    receive(field, batch(one))
    stored = field.conn.execute("SELECT bytes FROM record").fetchone()[0]
    assert json.loads(stored) == one


@pytest.mark.parametrize("change, code", [
    ({"brix_raw_deg": "veinte"}, "wrong_type"), ({"brix_raw_deg": None}, "field_missing"), ({"brix_raw_deg": -3}, "below"), ({"kind": "dance"}, "unknown_kind"),
    ({"taken_at": "ayer"}, "no_time"), ({"taken_at": "2027-03-01T09:00:00-06:00"}, "future"), ({"plot": None}, "no_plot"), ({"seq": "x"}, "wrong_type"),
    ({"taken_at": "2019-01-01T09:00:00-06:00"}, "before_planting"), ({"kind": "weighing", "mass_kg": -40}, "below"), ({"plot": "el tapiá"}, "unknown_plot"),
    ({"kind": "load", "plants": 4000000, "net_kg": 20000}, "above"), ({"kind": "load", "gross_kg": 30000, "tare_kg": 9000, "net_kg": 20000}, "net_not_gross_less_tare"),
    ({"kind": "age_check", "planting_year": 1985}, "age_impossible"), ({"kind": "void"}, "void_of_nothing"), ({"id": "{0193AAAA}"}, "id_not_canonical")])
def test_held_not_refused(field, change, code):
    reply = receive(field, batch(record(1, **change), record(2)))
    assert statuses(reply) == ["held", "kept"]
    assert reply["results"][0]["problem"]["code"] == code
    [held] = service.held(field)
    assert held["what"].text("es") and held["do"].text("en")


def test_a_time_to_come_is_told_by_the_estates_clock(field):
    """09:00 in the field is 15:00 UTC: both the receipt and the office's list say 09:00."""
    reply = receive(field, batch(record(1, taken_at="2027-03-01T09:00:00-06:00")))
    [held] = service.held(field)
    for told, words in ((reply["results"][0]["problem"]["title"], "1 de marzo de 2027, 09:00"), (held["what"].text("es"), "1 de marzo de 2027, 09:00"), (held["what"].text("en"), "March 1, 2027, 09:00")):
        assert words in told and "15:00" not in told


def test_load_beyond_the_registered_plants_is_held(field):
    from webapp import database

    with database.atomic(field):
        field["parcel"].update("P1", {"registered_plants": 900})
        field.execute("UPDATE version_count SET n = n + 1 WHERE domain = 'land'")
    reply = receive(field, batch(record(1, kind="load", plants=1200, net_kg=20000.0)))
    assert reply["results"][0]["problem"]["code"] == "beyond_registered"


def test_nan_and_broken_text_are_held_with_their_bytes(field):
    body = batch(record(1)).replace(b"24.0", b"NaN")
    assert statuses(receive(field, body)) == ["held"]
    body = batch(record(2, kind="remark", text="x")).replace(b'"x"', b'"\\ud800 roto"')
    assert statuses(receive(field, body)) == ["held"]
    assert {h["code"] for h in service.held(field)} == {"not_a_number", "broken_text"}
    assert statuses(receive(field, body)) == ["already"]


def test_same_id_other_bytes_is_kept_beside(field):
    receive(field, batch(record(1)))
    reply = receive(field, batch(record(1, brix_raw_deg=25.0)))
    assert statuses(reply) == ["held"] and reply["results"][0]["problem"]["code"] == "same_id_other_bytes"
    assert service.readings(field)["brix_raw_deg"].tolist() == [24.0]
    service.mend(field, record(1)["id"], {"brix_raw_deg": "25"}, "Ana")
    assert service.readings(field)["brix_raw_deg"].tolist() == [25.0] and service.held(field) == []


@pytest.mark.parametrize("body, status", [(b"hola", 400), (b"[]", 400), (b'{"schema":1}', 400), (b"[" * 100_000, 400), (b" " * 1_100_000, 413),
                                          (json.dumps({"schema": 1, "records": [{}] * 501}).encode(), 413)])
def test_a_batch_that_is_none_is_a_problem_and_changes_nothing(field, body, status):
    with pytest.raises(Problem) as refused:
        receive(field, body)
    assert refused.value.status == status and field["record"].count == 0


def test_newer_schema_is_kept_for_later(field):
    assert receive(field, batch(record(1), schema=99))["results"][0]["problem"]["code"] == "newer_schema"


def test_the_clock_is_measured_and_both_times_kept(field):
    """A phone three hours slow and one 400 days fast: repaired within a second."""
    for number, shift in ((1, -timedelta(hours=3)), (2, timedelta(days=400))):
        true = NOON - timedelta(hours=2)
        reply = receive(field, batch(record(number, taken_at=(true + shift).isoformat()), sent_at=(NOON + shift).isoformat()))
        assert statuses(reply) == ["kept"]
        row = field.conn.execute("SELECT taken_at, taken_fixed FROM record WHERE seq = ?", [number]).fetchone()
        assert abs(datetime.fromisoformat(row[1]) - true) < timedelta(seconds=1) and datetime.fromisoformat(row[0]) == true + shift


def test_corrections_and_voids(field):
    a, b, c = record(1), record(2, brix_raw_deg=25.0, replaces=record(1)["id"], taken_at="2026-11-20T10:00:00-06:00"), record(3, brix_raw_deg=26.0, replaces=record(1)["id"], taken_at="2026-11-20T11:00:00-06:00")
    receive(field, batch(c, b, a))
    assert service.readings(field)["brix_raw_deg"].tolist() == [26.0], "the later correction counts"
    void = record(4, kind="void", replaces=c["id"])
    receive(field, batch(void))
    assert service.readings(field)["brix_raw_deg"].tolist() == [25.0]
    receive(field, batch(record(5, kind="void", replaces=void["id"])))
    assert service.readings(field)["brix_raw_deg"].tolist() == [26.0], "a void of a void restores"


def test_mend_accept_set_aside(field):
    receive(field, batch(record(1, brix_raw_deg=260.0), record(2, plot="ZZ-99"), record(3, taken_at="2019-01-01T09:00:00-06:00")))
    version = service.data_version(field)
    with pytest.raises(Problem, match="tampoco"):
        service.mend(field, record(1)["id"], {"brix_raw_deg": "300"}, "Ana")
    assert service.data_version(field) == version
    service.mend(field, record(1)["id"], {"brix_raw_deg": "26,0"}, "Ana")
    with pytest.raises(Problem, match="razón"):
        service.set_aside(field, record(2)["id"], "Ana", " ")
    service.set_aside(field, record(2)["id"], "Ana", "no es nuestra")
    service.accept(field, record(3)["id"], "Ana")
    assert service.held(field) == [] and sorted(service.readings(field)["brix_raw_deg"]) == [24.0, 26.0]
    assert service.data_version(field) != version
    steps = [s["step"] for s in service.record_history(field, record(1)["id"])]
    assert steps == ["came_held", "mended", "replaced"]
    original = field.conn.execute("SELECT bytes FROM record WHERE id = ?", [record(1)["id"]]).fetchone()[0]
    assert json.loads(original)["brix_raw_deg"] == 260.0, "what came stays as it came"


def test_land_that_changed_counts_for_the_next_batch(field):
    """Batches are judged by the land as this process last saw it; what is written is held against the land as it is."""
    from .conftest import SQUARE

    assert statuses(receive(field, batch(record(1), record(2, plot="MG-12")))) == ["kept", "held"]
    feature = {"type": "Feature", "properties": {"code": "MG-12", "name": "Magueyera", "planted_on": "2026-10-01"}, "geometry": {"type": "Polygon", "coordinates": [[[x + 0.1, y] for x, y in SQUARE]]}}
    land.load(field, land.read(json.dumps({"type": "FeatureCollection", "features": [feature]}).encode(), "n.geojson"), "Ana")
    reply = receive(field, batch(record(3, plot="MG-12"), record(4, plot="MG-12", taken_at="2026-01-05T09:00:00-06:00"), record(5)))
    assert statuses(reply) == ["kept", "held", "kept"] and reply["results"][1]["problem"]["code"] == "before_planting"


def test_held_records_are_judged_again_when_the_plot_arrives(field):
    from .conftest import SQUARE

    receive(field, batch(record(1, plot="NV-01")))
    assert len(service.held(field)) == 1
    feature = {"type": "Feature", "properties": {"code": "NV-01", "name": "Nueva"}, "geometry": {"type": "Polygon", "coordinates": [[[x + 0.1, y] for x, y in SQUARE]]}}
    land.load(field, land.read(json.dumps({"type": "FeatureCollection", "features": [feature]}).encode(), "n.geojson"), "Ana")
    assert service.review(field)["freed"] == 1 and service.held(field) == [] and len(service.readings(field)) == 1


def test_position_proposes_the_plot(field):
    receive(field, batch(record(1, plot=None, position={"lat": 20.6015, "lon": -102.9785, "accuracy_m": 6})))
    assert service.held(field)[0]["proposal"] == {"plot": "LA-07"}


def test_phone_with_holes_in_its_sequence(field):
    receive(field, batch(record(1), record(2), record(6)))
    assert [p["missing"] for p in service.phones(field)] == [3]


def test_full_and_read_only_databases_leave_everything_as_it_was(field, tmp_path):
    from webapp.database import open_estate

    receive(field, batch(record(1)))
    pages = field.conn.execute("PRAGMA page_count").fetchone()[0]
    field.conn.execute(f"PRAGMA max_page_count={pages}")
    many = batch(*(record(n, kind="remark", text="x" * 1900) for n in range(10, 300)))
    with pytest.raises(Problem) as full:
        receive(field, many)
    assert full.value.code == "database_full" and full.value.status == 507 and field["record"].count == 1
    field.conn.execute("PRAGMA max_page_count=1000000")
    assert len(statuses(receive(field, many))) == 290
    closed = open_estate(field.conn.execute("PRAGMA database_list").fetchone()[2], read_only=True)
    with pytest.raises(Problem) as refused:
        service.receive(closed, batch(record(900)), "tel", NOON)
    assert refused.value.code == "database_read_only"


def test_a_record_in_use_is_corrected_by_the_office_and_the_original_stays(field):
    receive(field, batch(record(1), record(2, brix_raw_deg=22.0)))
    version = service.data_version(field)
    assert {f["name"]: f["value"] for f in service.editable(field, record(1)["id"])}["brix_raw_deg"] == 24.0
    for changes, code in (({}, "nothing_changed"), ({"brix_raw_deg": "900"}, "still_wrong")):
        with pytest.raises(Problem) as refused:
            service.correct(field, record(1)["id"], changes, "Ana")
        assert refused.value.code == code and service.data_version(field) == version
    service.correct(field, record(1)["id"], {"brix_raw_deg": "25,5"}, "Ana")
    assert sorted(service.readings(field)["brix_raw_deg"]) == [22.0, 25.5] and service.data_version(field) != version
    assert [s["step"] for s in service.record_history(field, record(1)["id"])] == ["came", "replaced"]
    with pytest.raises(Problem) as gone:
        service.correct(field, record(1)["id"], {"brix_raw_deg": "1"}, "Ana")
    assert gone.value.code == "record_not_in_use" and service.editable(field, record(1)["id"]) == []
    service.take_out(field, record(2)["id"], "Ana", "planta de otra tabla")
    assert service.readings(field)["brix_raw_deg"].tolist() == [25.5]


def test_the_office_sees_which_of_a_phones_records_never_came(field):
    receive(field, batch(*(record(n) for n in (1, 2, 4, 8, 9))))
    phone = service.phones(field)[0]
    assert (phone["missing"], phone["holes"]) == (4, [(3, 3), (5, 7)])
    receive(field, batch(*(record(n) for n in (3, 5, 6, 7))))
    assert (service.phones(field)[0]["missing"], service.phones(field)[0]["holes"]) == (0, [])


def test_a_round_is_taken_out_with_what_was_taken_in_it(field):
    head, other = record(1, kind="round", crew="Uno"), record(5)
    receive(field, batch(head, record(2, round=head["id"]), record(3, round=head["id"]), record(4, round=head["id"], brix_raw_deg=2.2), other))
    assert len(service.readings(field)) == 4
    service.take_out(field, head["id"], "Ana", "decimal corrido en todas")
    assert service.readings(field)["id"].tolist() == [other["id"]] and not len(service.rounds(field)[service.rounds(field)["id"] == head["id"]])
    assert [s["step"] for s in service.record_history(field, record(3)["id"])][0] == "came" and service.editable(field, record(3)["id"]) == []
