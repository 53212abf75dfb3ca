"""The short way for batches answers as Flask does, to the byte, and takes in no more than Flask would."""

from __future__ import annotations

import json
import threading

import pytest
from werkzeug.test import Client

from webapp import create_app
from webapp.clock import Clock
from webapp.database import Database, backup, open_estate, rows
from webapp.pages import records_door
from webapp.people import service as people
from webapp.survey import store

from .test_sync import ID, batch, office, phone, remark  # noqa: F401
from .test_wire_digest import told

PHONES = {"Content-Type": "application/json", "Accept": "application/json", "Accept-Language": "es", "Sec-Fetch-Site": "same-origin"}


def body(*records) -> bytes:
    return json.dumps(batch(*records)).encode()


@pytest.fixture()
def both(db, phone, tmp_path, monkeypatch):  # noqa: F811
    """Two copies of one estate with one phone: (its cookie, the application with the door and its database, the one behind it and its)."""
    now = Clock.now
    frozen = now(people.clock.of(db))
    monkeypatch.setattr(Clock, "now", lambda clock: frozen)
    apps = [create_app(backup(db, tmp_path / name)) for name in ("one.db", "two.db")]
    opened = [open_estate(app.config["ESTATE"]) for app in apps]
    yield phone.get_cookie("device").value, (apps[0], opened[0]), (apps[1], opened[1])
    [at.conn.close() for at in opened]


def asked(way, cookie: str, data: bytes, base: str = "http://localhost", method: str = "POST", path: str = "/field/records", **more):
    headers = {**PHONES, "Cookie": f"{'__Host-' if base.startswith('https') else ''}device={cookie}", **{name.replace("_", "-"): value for name, value in more.items()}}
    reply = Client(way, use_cookies=False).open(path, base, method=method, data=data, headers=[(name, value) for name, value in headers.items() if value is not None])
    return reply.status, sorted(reply.headers.items()), reply.data


def stored(db: Database) -> list:
    tables = ("record", "held", "conflict", "install")
    return [rows(db, f"SELECT * FROM {table}") for table in tables]


ORDINARY = [
    dict(data=body(remark(1), remark(2))), dict(data=body(remark(1), remark(3))), dict(data=body()), dict(data=body(remark(4)), base="https://localhost"),
    dict(data=body(remark(1, text="Otra cosa"))), dict(data=body(remark(5, plot="NO-1"))), dict(data=body(remark(6, plot="NO-1")), Accept_Language="en-GB,en;q=0.8"),
    dict(data=body({"kind": "nada"}, 5, "x")), dict(data=body(remark(7)), Accept_Language=None), dict(data=body(remark(8)), Accept_Language="fr;q=x,,"),
    dict(data=body(remark(9)), Content_Digest=told(body(remark(9)))), dict(data=body(remark(10)), Content_Digest="sha-512=:AAAA:"),
]
"""What the door answers itself; held and repeated records are as ordinary as kept ones."""

ONWARD = [
    dict(data=b"{"), dict(data=b""), dict(data=b'{"schema":1,"records":5}'), dict(data=b"[" * 100_000), dict(data=body(*(remark(100 + n) for n in range(501)))),
    dict(data=b'{"schema":1,"records":[],"x":"' + b"a" * 1_048_577 + b'"}'), dict(data=body(remark(20)), Content_Digest=told(b"another")), dict(data=body(remark(20)), Cookie=None),
    dict(data=body(remark(20)), Cookie="device=0123456789abcdef." + "x" * 43), dict(data=body(remark(20)), Cookie="device=nobody"), dict(data=body(remark(20)), Sec_Fetch_Site="cross-site"),
    dict(data=body(remark(20)), Sec_Fetch_Site=None), dict(data=body(remark(20)), Sec_Fetch_Site=None, Origin="http://localhost"), dict(data=body(remark(20)), Content_Type="text/plain"),
    dict(data=body(remark(21)), Content_Type="application/json; charset=utf-8"), dict(data=body(remark(22, plot="NO-1")), path="/field/records?lang=en"), dict(data=b"", method="GET"), dict(data=b"", method="PUT"),
    dict(data=body(remark(23)), path="/field/records/"),
]
"""What Flask answers, good or bad."""


def test_both_ways_answer_and_store_the_same_to_the_byte(both):
    cookie, (door, one), (behind, other) = both
    for case in ORDINARY + ONWARD:
        assert asked(door.wsgi_app, cookie, **case) == asked(behind.wsgi_app.onward, cookie, **case), case
    for more in ("; language=en", "; session=" + "x" * 43, "; other=1"):
        case = dict(data=body(remark(24, plot="NO-1")), Cookie=f"device={cookie}{more}")
        assert asked(door.wsgi_app, cookie, **case) == asked(behind.wsgi_app.onward, cookie, **case), more
    assert stored(one) == stored(other) and len(stored(one)[0]) > 12


def test_a_phones_batch_does_not_come_to_flask_and_all_else_does(both, monkeypatch):
    cookie, (door, _), _ = both
    came = []

    def onward(environ, start):
        came.append(environ)
        start("204 No Content", [])
        return []

    monkeypatch.setattr(door.wsgi_app, "onward", onward)
    assert [asked(door.wsgi_app, cookie, **case)[0] for case in ORDINARY] == ["200 OK"] * len(ORDINARY) and not came
    assert {asked(door.wsgi_app, cookie, **case)[0] for case in ONWARD} == {"204 No Content"}
    assert [environ["wsgi.input"].read() for environ in came] == [case["data"] for case in ONWARD], "what goes on is whole"


def test_a_revoked_phone_is_shut_out_at_once(both):
    cookie, (door, one), (behind, other) = both
    assert asked(door.wsgi_app, cookie, body(remark(1)))[0] == "200 OK"
    for at in (one, other):
        people.revoke_device(at, people.devices(at)[0]["id"], "prueba")
    refused = asked(door.wsgi_app, cookie, body(remark(2)))
    assert refused[0].startswith("401") and refused == asked(behind.wsgi_app.onward, cookie, body(remark(2)))
    assert rows(one, "SELECT count(*) AS n FROM record")[0]["n"] == 1


def test_the_table_of_routes_rules_the_door_too(both, monkeypatch):
    cookie, (door, one), _ = both
    table = records_door.permissions.ROUTES
    monkeypatch.setattr(records_door.permissions, "ROUTES", {name: need for name, need in table.items() if name != "sync.records"})
    assert asked(door.wsgi_app, cookie, body(remark(1)))[0].startswith("401")
    assert not rows(one, "SELECT * FROM record")


@pytest.mark.parametrize("error, status", [(None, "500"), ("full", "507")])
def test_what_breaks_is_said_by_flask_is_tried_once_and_leaves_nothing(both, monkeypatch, error, status):
    cookie, (door, one), (behind, other) = both
    tries = []

    def add(db, records):
        tries.append(threading.get_ident())
        raise RuntimeError("broken") if error is None else db.conn.OperationalError("database or disk is full")

    monkeypatch.setattr(store, "add", add)
    here, there = asked(door.wsgi_app, cookie, body(remark(1))), asked(behind.wsgi_app.onward, cookie, body(remark(1)))
    assert here[0].startswith(status) and here[0] == there[0] and len(tries) == 2
    assert json.loads(here[2])["code"] == json.loads(there[2])["code"] and (error is None or here == (*there[:2], there[2].replace(b"two.db", b"one.db")))
    monkeypatch.undo()
    assert not rows(one, "SELECT * FROM record") and asked(door.wsgi_app, cookie, body(remark(1)))[0] == "200 OK"
