"""What stands in a number's place and is none is told as it came, and nowhere spoils a file's JSON."""

import json
import math

import numpy as np
import pytest

from webapp import valid_json
from webapp.crop import tables
from webapp.survey import service

from .conftest import batch, record
from .test_receive import receive
from .test_records_command import run

CAME = ("nan", "inf", "-inf", "1e400", "NaN", "Infinity")


def strict(text):
    def refuse(word):
        raise AssertionError(f"{word} is no JSON")

    return json.loads(text, parse_constant=refuse)


def test_a_file_and_a_phone_that_send_no_numbers(field, estate_path):
    lines = [f"reading,VS-04,2026-11-{i + 10}T09:00:00-06:00,{text}" for i, text in enumerate(CAME)]
    report = service.load_file(field, "\n".join(["kind,plot,taken_at,brix_raw_deg", *lines]).encode(), "reading.csv", "Ana")
    assert (report.kept, report.held) == (0, len(CAME))
    receive(field, batch(record(1)).replace(b"24.0", b"NaN"))
    held = strict(run(estate_path, "held", "--json", language="en").stdout)
    assert {h["shown"]["brix_raw_deg"] for h in held} == {*CAME, "nan"}
    assert {h["code"] for h in held} == {"not_a_number"} and all("is not a number" in h["what"] for h in held)
    assert sorted(row["came"] for row in service.left_out(field, "VS-04")) == sorted((*CAME, "nan")) and all(row["brix_raw_deg"] is None for row in service.left_out(field, "VS-04"))
    for form in ("csv", "jsonl"):
        for computed in ((), ("--computed",)):
            told = run(estate_path, "export", "--kind", "reading", "--format", form, *computed)
            assert told.exit_code == 0 and all(strict(line) for line in told.stdout.splitlines() if form == "jsonl")


@pytest.mark.parametrize("language", ["es", "en"])
def test_pages_show_it_as_it_came(field, estate_path, language):
    from webapp import create_app
    from webapp.people import service as people
    from webapp.work import estimates

    service.load_file(field, b"kind,plot,taken_at,brix_raw_deg\nreading,VS-04,2026-11-12T09:00:00-06:00,1e400\nreading,VS-04,2026-11-13T09:00:00-06:00,nan", "reading.csv", "Ana")
    receive(field, batch(record(1)).replace(b"24.0", b"NaN"))
    estimates(field)
    people.add_person(field, "Ana", "ana", "cuatro palabras bien largas", ["head"], by="prueba")
    client = create_app(estate_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "ana", "password": "cuatro palabras bien largas"})
    body = client.get(f"/plots/VS-04?lang={language}").get_data(as_text=True)
    quoted = "«{}»" if language == "es" else "“{}”"
    assert "nan °Bx" not in body and "inf °Bx" not in body and quoted.format("1e400") in body and body.count(quoted.format("nan")) == 2
    for held in service.held(field):
        told = client.get(f"/records/{held['id']}?lang={language}").get_data(as_text=True)
        assert quoted.format(held["shown"]["brix_raw_deg"]) in told and "nan °Bx" not in told and "1e400 °Bx" not in told


def test_one_writer_gives_what_any_reader_takes():
    told = {"a": math.nan, "b": [np.float64("inf"), np.array([1.0, np.nan])], "c": ("x", None, True, 3), "d": {"e": -math.inf, "f": np.int64(4)}}
    assert strict(valid_json.text(told)) == {"a": None, "b": [None, [1.0, None]], "c": ["x", None, True, 3], "d": {"e": None, "f": 4}}
    assert strict(tables.as_file([{"plot": "A", "mass_t": math.nan}], "json")[0].decode()) == [{"plot": "A", "mass_t": None}]


@pytest.mark.parametrize("language", ["es", "en"])
def test_a_limit_without_a_unit_leaves_no_blank(field, language):
    receive(field, batch(record(1, row=9000), record(2, brix_raw_deg=99.0)))
    told = {h["shown"].get("row"): h["what"].text(language) for h in service.held(field)}
    assert told[9000].endswith("(5000).") and told[None].endswith("(60 °Bx).")
