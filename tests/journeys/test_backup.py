"""A whole estate through the command line, from an empty folder; and back from its backup with byte-equal answers."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from webapp import answers, create_app
from webapp.crop import service as crop
from webapp.database import open_estate
from webapp.outlook import service as outlook
from webapp.work import estimates

from tests.browser import standby

DEMO = Path(__file__).resolve().parents[2] / "demo_fields"
STAGES = ("ripeness", "tonnage", "crop", "outlook")


def pinario(path, *words, language: str = "es", code: int = 0):
    """The command in a process of its own; its exit status is checked."""
    done = standby.completed("webapp.cli", ["--estate", str(path), "--lang", language, *map(str, words)])
    assert done.returncode == code, (words, done.returncode, done.stdout[-500:], done.stderr[-1500:])
    assert "Traceback" not in done.stderr
    return done


@pytest.mark.parametrize("words, status", [(("init", "--name", "Rancho Ñ"), 0), (("ripeness",), 1), (("plots", "load"), 2)])
def test_a_command_as_a_person_runs_it_says_the_same(tmp_path, words, status):
    """Started from nothing and forked from the standby, as the tests below do it: status, output and errors are equal."""
    started, forked = tmp_path / "a.db", tmp_path / "b.db"
    one = subprocess.run([sys.executable, "-m", "webapp.cli", "--estate", str(started), "--lang", "es", *words], capture_output=True, text=True, timeout=120, cwd=DEMO.parent)
    other = pinario(forked, *words, code=status)
    same = lambda text: re.sub(r"/owner/\S+", "/owner/…", text.replace("b.db", "a.db"))  # noqa: E731
    assert (one.returncode, same(one.stdout), one.stderr) == (status, same(other.stdout), same(other.stderr))
    assert one.stdout or one.stderr


def in_process(path, *words) -> str:
    from click.testing import CliRunner

    from webapp.cli import main_group

    done = CliRunner().invoke(main_group, ["--estate", str(path), *words], catch_exceptions=False)
    assert done.exit_code == 0
    return done.stdout


def test_backup_and_restore_answer_byte_for_byte(demo_path, tmp_path):
    """Restored, the stored answers are the same bytes; thrown away and made again, they are the same bytes still."""
    first = open_estate(demo_path)
    outlook.made(first, futures=50)
    told = {name: in_process(demo_path, name, "--json") for name in ("ripeness", "tonnage", "outlook")}
    in_process(demo_path, "backup", str(tmp_path / "respaldo.db"))
    back = tmp_path / "otra" / "rancho.db"
    back.parent.mkdir()
    in_process(back, "restore", str(tmp_path / "respaldo.db"))
    assert {name: in_process(back, name, "--json") for name in told} == told
    restored = open_estate(back)
    epochs = [db.conn.execute("SELECT store_epoch FROM estate").fetchone()[0] for db in (first, restored)]
    assert epochs[0] != epochs[1], "phones must learn that this is another store"
    stored = {stage: first.conn.execute("SELECT key, meta, arrays FROM answer WHERE stage = ? ORDER BY rowid DESC LIMIT 1", [stage]).fetchone() for stage in STAGES}
    restored.execute("DELETE FROM answer")
    restored.conn.commit()
    estimates(restored)
    outlook.made(restored, futures=50)
    for stage, (key, meta, arrays) in stored.items():
        again = restored.conn.execute("SELECT key, meta, arrays FROM answer WHERE stage = ? ORDER BY rowid DESC LIMIT 1", [stage]).fetchone()
        assert again[0] == key, stage
        assert again[1] == meta, f"{stage}: its words and numbers"
        old, new = answers.get(first, stage, key).arrays, answers.get(restored, stage, key).arrays
        assert list(old) == list(new) and all(old[n].tobytes() == new[n].tobytes() and old[n].dtype == new[n].dtype for n in old), f"{stage}: its arrays"
    assert crop.draws(first).share.tobytes() == crop.draws(restored).share.tobytes()


def test_a_backup_overwrites_nothing_and_only_an_estate_is_restored(demo_path, tmp_path):
    target = tmp_path / "r.db"
    target.write_bytes(b"de otro")
    assert "problem" not in pinario(demo_path, "backup", target, code=1).stderr and target.read_bytes() == b"de otro"
    assert pinario(tmp_path / "n.db", "restore", target, code=1).stderr and not (tmp_path / "n.db").exists()
    before = Path(demo_path).read_bytes()
    assert pinario(demo_path, "restore", demo_path, code=1).stderr
    assert Path(demo_path).read_bytes() == before


def test_from_an_empty_folder_to_answers(tmp_path):
    """init, owner, plots, records, sales, ripeness, tonnage, export: each link through the command line."""
    path = tmp_path / "rancho.db"
    made = pinario(path, "init", "--name", "Rancho nuevo")
    link = re.search(r"/owner/\S+", made.stdout)[0]
    _owner_once(path, link)
    plots = json.loads(pinario(path, "plots", "load", "--json", DEMO / "plots.geojson").stdout)
    assert len(plots["new"]) == 190 and {f["code"] for f in plots["findings"]} >= {"bow_tie", "overlap", "duplicate_code"} or plots["findings"]
    folder = DEMO / "records"
    reports = json.loads(pinario(path, "records", "load", "--json", folder / "round.csv", folder / "reading.csv", folder / "row_count.csv", folder / "weighing.csv").stdout)
    assert sum(r["kept"] for r in reports) > 9_000 and sum(r["already"] for r in reports) == 0
    again = json.loads(pinario(path, "records", "load", "--json", folder / "weighing.csv").stdout)[0]
    assert again["kept"] == 0 and again["already"] > 0
    assert json.loads(pinario(path, "sales", "load", "--json", DEMO / "sales.csv").stdout)["new"] > 100
    ripe = json.loads(pinario(path, "ripeness", "--json").stdout)
    assert len(ripe["plots"]) > 130 and all(0 <= p["ripe_share"] <= 1 for p in ripe["plots"])
    mass = json.loads(pinario(path, "tonnage", "--json").stdout)
    assert [p["plot"] for p in mass["plots"]] == [p["plot"] for p in ripe["plots"]] and all(p["mass_low80_t"] <= p["mass_t"] <= p["mass_high80_t"] for p in mass["plots"])
    out = tmp_path / "salida.csv"
    pinario(path, "export", "--weeks", 2, out)
    assert len(out.read_text(encoding="utf-8").splitlines()) == 1 + 2 * len(ripe["plots"])


def _owner_once(path, link: str) -> None:
    """The link makes the first person, once; there is no password before."""
    client = create_app(path, testing=True).test_client()
    assert client.get(link).status_code == 200
    words = {"name": "Ana", "login": "ana", "password": "cuatro palabras bien largas", "again": "cuatro palabras bien largas"}
    assert client.post(link, data=words).status_code == 303
    assert client.get("/today").status_code == 200
    stranger = create_app(path, testing=True).test_client()
    assert stranger.post(link, data={**words, "login": "beto"}).status_code in (403, 409, 410) and stranger.get("/today").status_code == 302
    from webapp.people import service as people

    assert [p["login"] for p in people.people(open_estate(path))] == ["ana"]


@pytest.mark.parametrize("language, says", [("es", "No"), ("en", "o")])
def test_refusals_go_to_stderr_in_words_with_status_1(tmp_path, language, says):
    missing = pinario(tmp_path / "nadie.db", "ripeness", language=language, code=1)
    assert missing.stdout == "" and str(tmp_path / "nadie.db") in missing.stderr and says in missing.stderr
    path = tmp_path / "r.db"
    pinario(path, "init", "--name", "R")
    assert pinario(path, "init", "--name", "R", language=language, code=1).stderr
    for command, name, data in (("records", "x.csv", b"a,b\n1,2\n"), ("records", "x.jsonl", b"{no"), ("plots", "x.geojson", b"{}"), ("plots", "x.zip", b"PK\x03\x04"), ("sales", "x.csv", b"\x00\x01")):
        file = tmp_path / name
        file.write_bytes(data)
        refused = pinario(path, command, "load", file, language=language, code=1)
        assert refused.stderr.strip() and refused.stdout == "", (command, name)
    assert pinario(path, "ripeness", "--week", "2040-W01", language=language, code=1).stderr
    nowhere = tmp_path / "no" / "hay" / "x.csv"
    assert str(nowhere) in pinario(path, "export", nowhere, language=language, code=1).stderr


def test_wrong_usage_is_status_2(tmp_path):
    path = tmp_path / "r.db"
    for words in (("nada",), ("ripeness", "--nada"), ("plots", "load"), ("records", "load", tmp_path / "no.csv"), ("init",), ("bench", "todo")):
        done = pinario(path, *words, code=2)
        assert done.stderr and done.stdout == "", words


def test_what_spanish_office_programs_write_is_read_and_said(tmp_path):
    """Latin-1, semicolons, decimal commas: loaded, and each is named, on the command line."""
    path = tmp_path / "r.db"
    pinario(path, "init", "--name", "R")
    pinario(path, "plots", "load", DEMO / "plots.geojson")
    file = tmp_path / "reading.csv"
    file.write_bytes("plot;taken_at;brix_raw_deg;juice_temp_c\nVS-04;2026-11-20T09:12:03-06:00;24,5;20,5\nMT-42;2026-11-20T09:13:03-06:00;25,5;20,5\n".encode("latin-1"))
    loaded = pinario(path, "records", "load", file)
    assert "2" in loaded.stdout and "punto y coma" in loaded.stdout and "coma" in loaded.stdout
    note = tmp_path / "remark.csv"
    note.write_bytes("kind,plot,taken_at,text\nremark,VS-04,2026-11-20T09:12:03-06:00,Cañón\n".encode("latin-1"))
    assert "Latin-1" in pinario(path, "records", "load", note).stdout
