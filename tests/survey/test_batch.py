"""A record's bytes are cut out of the body as they came; nothing a phone could send makes the office fall over."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from webapp.problems import Problem
from webapp.survey import batch as wire
from webapp.survey import service

from .conftest import batch, record
from .test_receive import NOON, receive, statuses


def test_the_bytes_of_each_record_are_those_of_the_body():
    body = '{ "schema":1,\n "records" : [ {"id": "a", "x": 1.50} , {"é":"\\u00f1 \\\\"},7 ] , "sent_at":null}'.encode()
    found = wire.read(body)
    assert found.texts == [b'{"id": "a", "x": 1.50}', '{"é":"\\u00f1 \\\\"}'.encode(), b"7"]
    assert found.records == [{"id": "a", "x": 1.5}, {"é": "ñ \\"}, 7]


JSON = st.recursive(st.none() | st.booleans() | st.integers(-10**17, 10**17) | st.floats(allow_nan=False) | st.text(), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner, max_size=3), max_leaves=12)


@given(st.lists(JSON, max_size=4), st.sampled_from([None, (",", ":"), (" , ", " : ")]), st.booleans())
@settings(max_examples=60, deadline=None)
def test_reads_what_the_standard_library_writes(records, separators, ascii):
    body = json.dumps({"schema": 1, "records": records, "sent_at": "x"}, separators=separators, ensure_ascii=ascii).encode("utf-8", "surrogatepass")
    found = wire.read(body)
    assert found.records == records and [json.loads(text) for text in found.texts] == records


@pytest.mark.parametrize("body", [b'{"schema":1,"records":[1,]}', b'{"schema":1,"records":[1]', b'{"schema":1,}', b'{"schema":1 "records":[]}', b'{"schema":1,"records":[]}x', b"{,}", b"", b"\xff\xfe",
                                  b'{"schema":1,"records":[' + b"[" * 100_000 + b"]" * 100_000 + b"]}"])
def test_no_json_is_said_so(body):
    with pytest.raises(Problem) as refused:
        wire.read(body)
    assert (refused.value.code, refused.value.status) == ("batch_not_json", 400)


@pytest.mark.parametrize("schema", ["true", "0", "-1", "1e9", '"1"', "99999999999999999999"])
def test_a_schema_that_is_none(schema):
    with pytest.raises(Problem) as refused:
        wire.read(f'{{"schema":{schema},"records":[]}}'.encode())
    assert refused.value.code == "batch_shape"


@pytest.mark.parametrize("change, code", [
    ('"taken_at":"0001-01-01T00:00:00+14:00"', "no_time"), ('"taken_at":"9999-12-31T23:59:59-14:00"', "no_time"), ('"brix_raw_deg":1' + "0" * 400, "not_a_number"), ('"brix_raw_deg":1e999', "not_a_number"),
    ('"brix_raw_deg":1' + "0" * 40, "above"), ('"seq":1' + "0" * 30, "wrong_type"), ('"kind":"loss","cause":["x"]', "not_a_choice"), ('"position":"aquí"', "wrong_type"), ('"position":{"lat":95,"lon":1}', "wrong_type"),
    ('"kind":"outline","geometry":{"type":"Polygon","coordinates":"x"}', "wrong_type"), ('"kind":"outline","geometry":{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1],[0,1]]]}', "wrong_type"),
    ('"deep":' + "[" * 60 + "]" * 60, "too_deep"), ('"deep":' + "[" * 400 + "]" * 400, "too_deep"), ('"confirmed":"tal vez"', "wrong_type"), ('"plot":["VS-04"]', "wrong_type"), ('"kind":7', "wrong_type")])
def test_poison_is_held_and_the_rest_goes_on(field, change, code):
    """The last of two equal names counts, so the change stands at the end of the record."""
    text = json.dumps(record(1))[:-1] + "," + change + "}"
    body = f'{{"schema":1,"sent_at":"2026-11-23T12:00:00-06:00","records":[{text},{json.dumps(record(2))}]}}'.encode()
    reply = receive(field, body)
    assert [(r["status"], r.get("problem", {}).get("code")) for r in reply["results"]] == [("held", code), ("kept", None)]
    assert field.conn.execute("SELECT bytes FROM record WHERE id = ?", [record(1)["id"]]).fetchone()[0] == text.encode()
    assert statuses(receive(field, body)) == ["already", "already"] and [h["code"] for h in service.held(field)] == [code]


def test_an_id_that_is_none_is_named_back(field):
    for given in (record(1)["id"].replace("0193", "019A"), record(1)["id"] + "\n", "urn:uuid:" + record(1)["id"], 7, None):
        [result] = receive(field, batch(record(1, id=given)))["results"]
        assert result["status"] == "held" and result["problem"]["code"] == "id_not_canonical" and (result["id"] == given or not isinstance(given, str))
    assert len(service.held(field)) == 5
    service.mend(field, service.held(field)[0]["id"], {}, "Ana")
    assert len(service.readings(field)) == 1


@pytest.mark.parametrize("sent_at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", 5, None, "ayer"])
def test_odd_sending_times_hurt_nobody(field, sent_at):
    assert statuses(receive(field, batch(record(1), sent_at=sent_at)))[0] in ("kept", "held")


def test_held_records_leave_no_hole_in_the_sequence(field):
    reply = receive(field, batch(record(1), record(2), record(3), schema=99))
    assert (reply["seq_high"], reply["seq_count"]) == (3, 3) and [p["missing"] for p in service.phones(field)] == [0]
    assert service.receive(field, batch(record(4)), "tel-1", NOON)["seq_count"] == 4
