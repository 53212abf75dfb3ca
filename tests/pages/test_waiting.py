"""A page of a large estate that is still being reckoned: what, since when, what to do when it takes too long; it opens itself again, politely."""

from __future__ import annotations

from datetime import timedelta

import html5lib
import pytest

from webapp import clock, create_app, jobs
from webapp.database import atomic, open_estate
from webapp.pages import resting


@pytest.fixture()
def large(demo_path, monkeypatch):
    """(client, database) of an estate that counts as large and has no answers yet."""
    monkeypatch.setattr(resting, "MOST_AT_ONCE", 0)
    db = open_estate(demo_path)
    with atomic(db):
        db.execute("UPDATE answer SET stage = 'later-' || stage")
        db.execute("DELETE FROM job")
    client = create_app(demo_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"})
    yield client, db
    db.conn.close()


def shown(client, path: str = "/ripeness?lang=es") -> str:
    reply = client.get(path, headers={"Accept": "text/html"})
    body = reply.get_data(as_text=True)
    assert reply.status_code == 503 and reply.headers["Retry-After"] == str(resting.AGAIN_S)
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(body)
    assert not parser.errors, parser.errors[:3]
    return body


def reckon(db) -> None:
    """What the worker would have made, without its minutes."""
    with atomic(db):
        db.execute("UPDATE answer SET stage = substr(stage, 7)")


def ago(db, column: str, minutes: float) -> None:
    with atomic(db):
        db.execute(f"UPDATE job SET {column} = ?", [(clock.utc_now() - timedelta(minutes=minutes)).isoformat()])


def test_it_says_what_since_when_and_opens_itself_again(large):
    client, db = large
    body = shown(client)
    assert f'<noscript><meta http-equiv="refresh" content="{resting.AGAIN_S}"></noscript>' in body and "desk/waiting.js" in body
    assert "En espera desde las" in body and 'id="trouble"' not in body and 'href="/ripeness?lang=es"' in body
    assert f'data-job="{jobs.pending(db)[0]["id"]}"' in body and 'role="status"' in body
    with atomic(db):
        db.execute("UPDATE job SET state = 'running', note = 'work.tonnage', done = 0.6")
    for column, minutes in (("started_at", 3), ("beat_at", 0)):
        ago(db, column, minutes)
    running = shown(client)
    assert "Estimando plantas y toneladas" in running and "hace 3 min" in running and 'value="0.6"' in running
    assert "3 min ago" in shown(client, "/today?lang=en")
    assert len(jobs.recent(db)) == 1, "a page that opens itself again queues nothing while the work runs"


def test_it_says_what_to_do_when_nobody_works(large):
    client, db = large
    shown(client)
    ago(db, "asked_at", 4)
    assert "Lleva 4 min y nadie lo ha tomado" in shown(client) and "pinario serve" in shown(client, "/map?lang=en")
    with atomic(db):
        db.execute("INSERT INTO job (kind, params, state, asked_at, asked_by, started_at, beat_at) VALUES ('cutting', '{}', 'running', ?, 'x', ?, ?)", [clock.utc_now().isoformat()] * 3)
    behind = shown(client)
    assert "antes va otro cálculo" in behind and 'id="trouble"' not in behind, "another job that runs is a worker that works"
    with atomic(db):
        db.execute("DELETE FROM job WHERE kind = 'cutting'")
        db.execute("UPDATE job SET state = 'running'")
    ago(db, "started_at", 30)
    ago(db, "beat_at", 12)
    assert "No ha dado señas desde las" in shown(client)


def test_work_that_failed_is_told_and_not_hammered(large):
    client, db = large
    shown(client)
    assert jobs.run_next(db, {"estimates": lambda *_: 1 / 0}) is not None
    failed = shown(client)
    assert "El cálculo falló: ZeroDivisionError" in failed and "http-equiv" not in failed and "waiting.js" not in failed
    shown(client)
    assert not jobs.pending(db), "it is not asked for again at once"
    ago(db, "ended_at", 16)
    assert "En espera desde las" in shown(client) and len(jobs.pending(db)) == 1


def test_a_program_gets_the_problem_and_the_page_opens_when_it_is_done(large):
    client, db = large
    reply = client.get("/ripeness", headers={"Accept": "application/json"})
    assert reply.status_code == 503 and reply.get_json(force=True)["code"] == "being_reckoned"
    jobs.run_next(db, {"estimates": lambda db, params, progress: reckon(db)})
    assert client.get("/ripeness").status_code == 200
