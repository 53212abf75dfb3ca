"""What the quick readers take is what the exact way keeps, to the byte of the log; and they take ordinary work."""

from __future__ import annotations

import json
from datetime import datetime, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from webapp import dictionary
from webapp.survey import ordinary
from webapp.survey import record as rec
from webapp.survey import taking_service as taking

from .conftest import record

NOW = datetime.fromisoformat("2026-11-23T12:00:00-06:00")
ODD = st.sampled_from([None, "", 0, 1, -1, 2.0, 0.2, 1e9, -3.5, True, False, "x", "ñ\U0001f335", "x\n", "\ud800", "a" * 2001, [1], {"a": 1}, "VS-04", "2026-11-20T10:00:00-06:00", "2026-11-20T10:00:00",
                       "2026-11-23T12:20:00-06:00", "2001-01-01", "9999-12-31T23:59:59-14:00", {"lat": 20}, {"lat": 91, "lon": 1}, {"lat": True}, {"lat": 20.5, "lon": -103, "altitude_m": 3}])


def _value(f: dictionary.Field):
    if f.type in ("number", "whole"):
        numbers = st.integers(-2, 90) if f.type == "whole" else st.one_of(st.integers(-2, 90), st.floats(-2, 90), st.sampled_from([f.low, f.high]))
        return numbers
    return {"choice": st.sampled_from([*f.choices, "otro"]), "yes_no": st.sampled_from([True, False, 0, 1])}.get(f.type, st.sampled_from(["a", "é \\ \"", "texto"]))


@st.composite
def records(draw) -> str:
    kind = draw(st.sampled_from([*dictionary.kinds(), "reading", "reading", "row_count", "nada"]))
    own = {f.name: draw(_value(f)) for f in (dictionary.fields(kind) if kind in dictionary.kinds() else ()) if f.required or draw(st.booleans())}
    made = {name: value for name, value in record(draw(st.integers(1, 9))).items() if name in dictionary.ENVELOPE or name == "position"} | {"kind": kind} | own
    made |= draw(st.dictionaries(st.sampled_from([*made, "novel", "taken_at", "plot", "position"]), ODD, max_size=2))
    return json.dumps(made, ensure_ascii=draw(st.booleans()), separators=draw(st.sampled_from([(",", ":"), (", ", ": ")])))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(texts=st.lists(records(), min_size=1, max_size=12), late_s=st.sampled_from([0, 60, 7200]))
def test_both_ways_say_the_same(field, texts, late_s):
    texts = [text.encode("utf-8", "backslashreplace") for text in texts]
    error = timedelta(seconds=late_s)
    found = [ordinary.read(text) for text in texts]
    quick, exact = (taking.judged(field, ways, texts, rec.SCHEMA, NOW, error, "phone", "s") for ways in ([one or json.loads(text) for one, text in zip(found, texts)], [json.loads(text) for text in texts]))
    assert [tuple(row) for row in quick.rows] == [tuple(row) for row in exact.rows]
    assert [[type(value) for value in row] for row in quick.rows] == [[type(value) for value in row] for row in exact.rows]
    told = [[(d.index, d.id, d.given, d.status, d.bytes, d.digest, d.install, d.seq, d.code, str(d.params), str(d.proposal)) for d in one.decisions] for one in (quick, exact)]
    assert told[0] == told[1]


def test_ordinary_work_is_taken_by_the_quick_readers():
    for made in (record(1), record(2, kind="row_count", plants_standing=90, brix_raw_deg=None), record(3, kind="round", instrument="Refractómetro 1", atc="no")):
        made = {name: value for name, value in made.items() if value is not None and (name in dictionary.ENVELOPE or name == "position" or name in {f.name for f in dictionary.fields(made["kind"])})}
        assert ordinary.read(json.dumps(made, ensure_ascii=False).encode()) is not None, made["kind"]
        assert ordinary.read(json.dumps(made).encode()) is not None, "an escaped letter is nothing odd"
    assert ordinary.read(json.dumps(record(1, brix_raw_deg=61)).encode()) is None and ordinary.read(json.dumps(record(1, id=record(1)["id"] + "\n")).encode()) is None
