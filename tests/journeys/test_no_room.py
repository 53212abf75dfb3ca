"""A disk that is full or may not be written: said in words at every edge, and everything as it was (also for root)."""

from __future__ import annotations

import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from webapp import create_app, settings
from webapp.database import open_estate, rows, thread_estate
from webapp.land import service as land
from webapp.outlook import service as outlook
from webapp.people import service as people
from webapp.problems import Problem
from webapp.survey import service as survey

from . import phone

DEMO = Path(__file__).resolve().parents[2] / "demo_fields"
PAGES = ("/today", "/map", "/ripeness", "/plots/VS-04", "/held", "/cutting", "/outlook", "/land", "/settings")


def counts(db) -> dict[str, int]:
    names = ("record", "held", "doubt", "plot", "sales", "setting", "job", "trail")
    return {name: rows(db, f"SELECT count(*) AS n FROM {name}")[0]["n"] for name in names if name in db.table_names()}


def many_remarks() -> bytes:
    log = phone.Log()
    for n in range(400):
        log.add("remark", "VS-04", f"2026-11-20T10:{n // 60:02d}:{n % 60:02d}-06:00", text="x" * 1500)
    return log.body()


@pytest.fixture()
def site(demo_path):
    """(client signed in as head, enrolled phone, the connection that both use)."""
    db = thread_estate(demo_path)
    app = create_app(demo_path, testing=True)
    office, field = app.test_client(), phone.enrolled(app, db)
    assert office.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"}).status_code == 303
    return office, field, db


def test_a_full_file_is_a_507_and_the_phone_keeps_its_batch(site):
    _, field, db = site
    survey.review(db)
    before = counts(db)
    db.execute("VACUUM")
    db.execute(f"PRAGMA max_page_count={db.execute('PRAGMA page_count').fetchone()[0] + 2}")
    reply = field.post("/field/records", data=many_remarks(), content_type="application/json")
    assert reply.status_code == 507 and reply.content_type == "application/problem+json" and reply.json["title"] and reply.json["do"]
    assert counts(db) == before
    db.execute("PRAGMA max_page_count=10000000")
    again = field.post("/field/records", data=many_remarks(), content_type="application/json")
    assert {r["status"] for r in again.json["results"]} == {"kept"}, "with room again, the same bytes go in"


def test_a_file_that_may_not_be_written_still_answers(site):
    """Every page shows what is known; everything that writes says why it can't."""
    office, field, db = site
    log = phone.Log()
    log.round_of_twelve("VS-04", 22.0, "2026-11-21")
    assert field.post("/field/records", data=log.body(), content_type="application/json").status_code == 200
    before = counts(db)
    db.execute("PRAGMA query_only=ON")
    try:
        for page in PAGES:
            assert office.get(page).status_code == 200, page
        more = phone.Log(first_seq=100)
        more.add("remark", "VS-04", "2026-11-21T12:00:00-06:00", text="más")
        assert field.post("/field/records", data=more.body(), content_type="application/json").status_code == 503
        for address, form in (("/settings", {"target_brix_deg": "23"}), ("/phones/add", {"name": "Otro", "crew": ""}), (f"/held/{survey.held(db)[0]['id']}/keep", {}), ("/outlook/make", {}), ("/cutting/make", {})):
            reply = office.post(address, data=form)
            assert reply.status_code == 503 and "solo lectura" in reply.get_data(as_text=True), address
    finally:
        db.execute("PRAGMA query_only=OFF")
    assert counts(db) == before and settings.load(db)["target_brix_deg"] == 24.0


def test_loading_into_a_full_file_loads_nothing(tmp_path):
    db = open_estate(tmp_path / "e.db", create=True)
    people.setup(db, "Lleno", "America/Mexico_City", "2026-11-23")
    before = counts(db)
    db.execute(f"PRAGMA max_page_count={db.execute('PRAGMA page_count').fetchone()[0] + 1}")
    plots = (DEMO / "plots.geojson").read_bytes()
    for attempt in (lambda: land.load(db, land.read(plots, "plots.geojson"), "prueba"), lambda: outlook.load_sales(db, (DEMO / "sales.csv").read_bytes(), "sales.csv", "prueba"),
                    lambda: survey.load_file(db, (DEMO / "records" / "reading.csv").read_bytes(), "reading.csv", "prueba")):
        with pytest.raises(Problem) as refused:
            attempt()
        assert refused.value.code == "database_full" and counts(db) == before


def _small_files(limit_bytes: int):
    def limit():
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    return limit


@pytest.mark.parametrize("words", [("records", "load", str(DEMO / "records" / "reading.csv")), ("plots", "load", str(DEMO / "plots.geojson")), ("sales", "load", str(DEMO / "sales.csv")), ("backup", "{folder}/r.db")])
def test_a_limit_on_file_size_is_told_on_stderr(demo_made, tmp_path, words):
    """The command in a process whose files may not grow: status 1, a problem in words, the estate as it was."""
    import shutil

    path = tmp_path / "e.db"
    if words[0] == "backup":
        shutil.copy(demo_made, path)
    else:
        db = open_estate(path, create=True)
        people.setup(db, "Corto", "America/Mexico_City", "2026-11-23")
        db.conn.close()
    before = counts(open_estate(path))
    done = subprocess.run([sys.executable, "-m", "webapp.cli", "--estate", str(path), "--lang", "es", *(w.format(folder=tmp_path) for w in words)], capture_output=True, text=True, timeout=120,
                          cwd=DEMO.parent, preexec_fn=_small_files(60_000))
    assert done.returncode == 1 and "Traceback" not in done.stderr and done.stderr.strip(), done.stderr[-1500:]
    assert counts(open_estate(path)) == before and not (tmp_path / "r.db").exists()
