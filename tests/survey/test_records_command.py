"""The command line of records: load, see, mend, take out."""

import json

from click.testing import CliRunner

from webapp.cli import main_group

from .conftest import record


def run(path, *args, language="es"):
    done = CliRunner().invoke(main_group, ["--estate", str(path), "--lang", language, "records", *map(str, args)])
    return done


def test_load_see_mend_export(field, estate_path, tmp_path):
    file = tmp_path / "tel.jsonl"
    file.write_text("\n".join(json.dumps(r) for r in (record(1), record(2, brix_raw_deg=260), record(3, plot="VS-40"))))
    [report] = json.loads(run(estate_path, "load", "--json", file).stdout)
    assert (report["kept"], report["already"], report["held"]) == (1, 0, 2)
    waiting = {h["id"]: h for h in json.loads(run(estate_path, "held", "--json", language="en").stdout)}
    assert waiting[record(2)["id"]]["proposal"] == {"brix_raw_deg": 26.0} and "°Brix as read" in waiting[record(2)["id"]]["what"]
    lines = {line.split()[0]: line for line in run(estate_path, "held").output.splitlines()}
    assert "  El Tapia, VS-04, Lectura: °Brix leído = 260" in lines[record(2)["id"]] and lines[record(2)["id"]].endswith("→ °Brix leído = 26.0")
    assert lines[record(3)["id"]].endswith("→ Tabla = VS-04") and "T09:" not in "".join(lines.values())
    assert run(estate_path, "mend", record(2)["id"], "brix_raw_deg=26").exit_code == 0
    assert run(estate_path, "mend", record(3)["id"], "--alike").output.strip() == "1 registro compuesto."
    lines = [json.loads(line) for line in run(estate_path, "export", "--kind", "reading", "--format", "jsonl").output.splitlines()]
    assert sorted(line["brix_raw_deg"] for line in lines) == [24.0, 24.0, 26.0] and {line["plot"] for line in lines} == {"VS-04"}
    computed = run(estate_path, "export", "--kind", "reading", "--computed").output.splitlines()
    assert computed[0].endswith("brix20_deg,brix20_sd_deg,brix_tag") and len(computed) == 4
    assert run(estate_path, "mend", record(2)["id"]).exit_code == 2
    assert "brix_raw_deg*" in run(estate_path, "dictionary").output
