"""Files of records: read as people's programs write them, said what was understood, loaded twice without doubling."""

import json
import time

import pytest

from webapp.problems import Problem
from webapp.survey import service

from .conftest import batch, record
from .test_receive import receive

CSV = "kind,plot,taken_at,brix_raw_deg,juice_temp_c,row\nreading,VS-04,2026-11-20T09:12:03-06:00,24.5,20,3\nreading,VS-04,2026-11-20T09:12:03-06:00,24.5,20,3\nreading,LA-07,2026-11-20T10:00:00-06:00,x,,\n"


def test_csv_twice(field):
    report = service.load_file(field, CSV.encode(), "hoja.csv", "Ana")
    assert (report.kept, report.already, report.held, report.notes) == (2, 0, 1, ())
    again = service.load_file(field, CSV.encode(), "hoja.csv", "Ana")
    assert (again.kept, again.already, again.held) == (0, 3, 0) and len(service.readings(field)) == 2
    assert service.readings(field)["row"].tolist() == [3.0, 3.0]


def test_the_office_programs_of_this_country(field):
    """Latin-1, semicolons and decimal commas are read, and each is said."""
    text = "plot;taken_at;brix_raw_deg;instrument\nVS-04;2026-11-20T09:12:03-06:00;24,5;\n".replace(";instrument", "").replace(";\n", "\n")
    report = service.load_file(field, text.encode(), "reading.csv", "Ana")
    assert report.kept == 1 and [n.code for n in report.notes] == ["survey.note.read_semicolons", "survey.note.read_decimal_commas"]
    assert service.readings(field)["brix_raw_deg"].tolist() == [24.5]
    report = service.load_file(field, "kind,plot,taken_at,text\nremark,VS-04,2026-11-20T09:12:03-06:00,picudo en el ruedo de El Cañón\n".encode("latin-1"), "notas.csv", "Ana")
    assert report.kept == 1 and [n.code for n in report.notes] == ["survey.note.read_latin1"]
    assert service.remarks(field)["text"].tolist() == ["picudo en el ruedo de El Cañón"]


def test_jsonl_keeps_each_line_as_it_was(field):
    lines = [json.dumps(record(1), indent=None, separators=(", ", ": ")), batch(record(2), record(3)).decode()]
    report = service.load_file(field, ("\n".join(lines) + "\n\n").encode(), "tel.jsonl", "Ana")
    assert report.kept == 3 and len(service.readings(field)) == 3
    assert field.conn.execute("SELECT bytes FROM record WHERE id = ?", [record(1)["id"]]).fetchone()[0] == lines[0].encode()


@pytest.mark.parametrize("data, name, code", [(b"", "x.csv", "file_empty"), (b" \n", "x.csv", "file_empty"), (b"PK\x03\x04\0\0", "x.csv", "file_not_as_named"), (b"a,b\n1,2\n", "x.csv", "csv_no_kind"),
                                              (b"kind,peso\nreading,2\n", "x.csv", "csv_unknown_columns"), (b'{"id":\n', "x.jsonl", "file_unreadable"), (b"[" * 100_000, "x.jsonl", "file_unreadable")])
def test_files_that_are_none_change_nothing(field, data, name, code):
    with pytest.raises(Problem) as refused:
        service.load_file(field, data, name, "Ana")
    assert refused.value.code == code and field["record"].count == 0 and refused.value.text("es") and refused.value.text("en")


def test_what_goes_out_comes_in_as_already_there(field):
    """Export → load: nothing new, nothing in conflict, for every field type, in both formats."""
    ring = [[-103.0, 20.6], [-102.997, 20.6], [-102.997, 20.603], [-103.0, 20.6]]
    receive(field, batch(record(1, position={"lat": 20.6, "lon": -103.0, "accuracy_m": 5}, wounded=True), record(2, brix_raw_deg=25, confirmed=True), record(3, kind="remark", text="dijo: «ya», y se fue\n;,"),
                         record(4, kind="outline", geometry={"type": "Polygon", "coordinates": [ring]}), record(5, kind="load", ticket="0012", net_kg=20000, plants=450, clearing=False)))
    import csv
    import io

    for kind in ("reading", "remark", "outline", "load"):
        headings, rows = service.export(field, kind)
        out = io.StringIO()
        writer = csv.DictWriter(out, headings)
        writer.writeheader()
        writer.writerows({n: json.dumps(v) if isinstance(v, dict) else v for n, v in row.items()} for row in rows)
        back = service.load_file(field, out.getvalue().encode(), f"{kind}.csv", "Ana")
        assert (back.kept, back.already, back.held) == (0, len(rows), 0), kind
        back = service.load_file(field, "\n".join(json.dumps(service.as_record(row)) for row in rows).encode(), f"{kind}.jsonl", "Ana")
        assert (back.kept, back.already, back.held) == (0, len(rows), 0), kind
    assert service.held(field) == []


def test_fifteen_thousand_rows_in_ten_seconds(field):
    rows = [f"reading,VS-04,2026-11-{1 + i % 20:02d}T{6 + i % 12:02d}:{i % 60:02d}:00-06:00,{18 + i % 90 / 10},{15 + i % 18},{i}" for i in range(1, 4999)] * 3
    started = time.perf_counter()
    report = service.load_file(field, ("kind,plot,taken_at,brix_raw_deg,juice_temp_c,row\n" + "\n".join(rows)).encode(), "todo.csv", "Ana")
    taken = time.perf_counter() - started
    assert report.kept == len(rows) and taken < 10
    version = service.data_version(field)
    service.readings(field)
    started = time.perf_counter()
    assert len(service.readings(field)) == len(rows) and service.data_version(field) == version
    assert time.perf_counter() - started < 0.06
