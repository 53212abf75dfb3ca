"""Between phone and office at the protocol's edge: enrolling, cookies, receipts, pack, photos."""

from __future__ import annotations

import gzip
import json
from hashlib import sha256

import pytest

from webapp import create_app
from webapp.database import rows
from webapp.land import service as land
from webapp.pages import phone_pack
from webapp.people import service as people

from tests.browser.conftest import PLOTS, put_order, square

ID = "01900000-0000-7000-8000-{:012x}"
JPEG = b"\xff\xd8\xff\xe0" + bytes(2000)


@pytest.fixture()
def office(db, estate_path):
    land.load(db, land.read(json.dumps(PLOTS).encode(), "plots.geojson"), "prueba")
    return create_app(estate_path, testing=True)


@pytest.fixture()
def phone(db, office):
    """A client that was enrolled for crew 2."""
    client = office.test_client()
    reply = client.post("/field/enrol", json={"code": people.new_device(db, "Teléfono 1", "Cuadrilla 2", "prueba")[1]})
    assert reply.status_code == 200, reply.text
    client.enrolled = reply
    return client


def remark(n, text="Agua en la brecha", **more):
    return {"id": ID.format(n), "install": ID.format(999), "seq": n, "round": None, "kind": "remark", "plot": "VS-01", "taken_at": "2026-11-23T08:00:00-06:00",
            "position": None, "confirmed": False, "replaces": None, "text": text, **more}


def batch(*records):
    return {"schema": 1, "sent_at": "2026-11-23T09:00:00-06:00", "records": list(records)}


def test_the_cookie_of_an_enrolment_is_closed_to_scripts_and_other_sites(phone):
    cookie = phone.enrolled.headers["Set-Cookie"]
    assert cookie.startswith("device=") and "HttpOnly" in cookie and "SameSite=Strict" in cookie and "Max-Age=34560000" in cookie and "Path=/" in cookie
    assert phone.enrolled.json["device"]["crew"] == "Cuadrilla 2"


def test_over_tls_the_cookie_is_bound_to_the_host(db, office):
    code = people.new_device(db, "Teléfono 2", "", "prueba")[1]
    cookie = office.test_client().post("/field/enrol", json={"code": code}, base_url="https://rancho.example").headers["Set-Cookie"]
    assert cookie.startswith("__Host-device=") and "Secure" in cookie and "Domain" not in cookie


@pytest.mark.parametrize("sent, status", [({"json": {"code": "NO-EXISTE"}}, 403), ({"json": ["x"]}, 400), ({"json": {}}, 400), ({"data": "code=X"}, 415), ({"data": b"\xff{", "content_type": "application/json"}, 400)])
def test_a_wrong_code_is_refused_in_words(office, sent, status):
    reply = office.test_client().post("/field/enrol", **sent)
    assert reply.status_code == status and reply.content_type == "application/problem+json" and reply.json["do"]
    assert "Set-Cookie" not in reply.headers


def test_a_code_works_once(db, office):
    code = people.new_device(db, "Teléfono 3", "", "prueba")[1]
    client = office.test_client()
    assert client.post("/field/enrol", json={"code": code}).status_code == 200
    assert client.post("/field/enrol", json={"code": code}).status_code == 403


def test_receipts_once_and_again(phone, db):
    first, again = phone.post("/field/records", json=batch(remark(1), remark(2))), phone.post("/field/records", json=batch(remark(1), remark(2)))
    assert [r["status"] for r in first.json["results"]] == ["kept", "kept"]
    assert [r["status"] for r in again.json["results"]] == ["already", "already"]
    assert {"server_time", "store_epoch", "seq_high", "seq_count"} <= set(first.json) and first.json["seq_high"] == 2
    assert rows(db, "SELECT count(*) AS n FROM record")[0]["n"] == 2


def test_a_held_record_says_why_in_the_phones_language(phone):
    for language, words in (("es", "tabla"), ("en", "plot")):
        reply = phone.post("/field/records", json=batch(remark(40 if language == "es" else 41, plot="NO-1")), headers={"Accept-Language": language})
        assert reply.json["results"][0]["status"] == "held" and words in reply.json["results"][0]["problem"]["title"].lower()


@pytest.mark.parametrize("body, status", [(b"", 400), (b"{", 400), (b"[]", 400), (b'{"schema":1,"records":5}', 400), (b"[" * 100_000, 400), (b'{"schema":1,"records":[],"x":"' + b"a" * 1_048_577 + b'"}', 413)])
def test_what_is_no_batch_is_a_problem_and_changes_nothing(phone, db, body, status):
    reply = phone.post("/field/records", data=body, content_type="application/json")
    assert reply.status_code == status and reply.content_type == "application/problem+json"
    assert rows(db, "SELECT count(*) AS n FROM record")[0]["n"] == 0


def test_nobody_and_revoked_phones_are_asked_to_enrol(db, office, phone):
    assert office.test_client().post("/field/records", json=batch()).status_code == 401
    assert office.test_client().get("/field/pack").status_code == 401
    people.revoke_device(db, people.devices(db)[0]["id"], "prueba")
    assert phone.post("/field/records", json=batch(remark(3))).status_code == 401


def test_another_site_cannot_send_with_the_phones_cookie(phone):
    assert phone.post("/field/records", json=batch(remark(4)), headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    assert phone.post("/field/records", data=json.dumps(batch(remark(4))), content_type="text/plain").status_code == 415


def test_pack_has_an_etag_and_answers_304(phone):
    first = phone.get("/field/pack")
    assert first.status_code == 200 and {p["code"] for p in first.json["plots"]} == {"VS-01", "VS-02", "LA-03"}
    assert phone.get("/field/pack", headers={"If-None-Match": first.headers["ETag"]}).status_code == 304
    assert first.json["frozen"] is True and first.json["today"] == "2026-11-23"


def test_pack_brings_own_orders_only_and_no_money(phone, db):
    put_order(db, "2026-W48")
    put_order(db, "2026-W48", crew="Cuadrilla 9", plot="VS-02")
    put_order(db, "2026-W49", day="2026-12-01")
    pack = phone.get("/field/pack").json
    assert [o["id"] for o in pack["orders"]] == ["2026-W48-VS-01-1"]
    assert pack["orders"][0]["trucks"] == [{"day": "2026-11-24", "hour": "12:00"}] and pack["orders"][0]["beware"]
    assert all(set(words) == {"es", "en"} for words in pack["cautions"])
    text = json.dumps(pack)
    assert "mxn" not in text.lower() and "Cuadrilla 9" not in text


def test_pack_says_how_many_other_crews_cut_the_same_plot_and_who_ended_an_order(phone, db):
    first = put_order(db, "2026-W48")
    put_order(db, "2026-W48", crew="Cuadrilla 9", plot="VS-02")
    found = phone.get("/field/pack").json["orders"][0]
    assert (found["crew"], found["others"], found["finished"], found["finished_by"]) == ("Cuadrilla 2", 0, False, [])
    with db.conn:
        db.execute("UPDATE cutting_order SET plot = 'VS-01', published_at = '2026-11-22T13:00:00Z' WHERE crew = 'Cuadrilla 9'")
    end = {**remark(60), "kind": "order_done", "order": first, "finished": 1}
    end.pop("text", None)
    assert phone.post("/field/records", json=batch(end)).status_code == 200
    found = phone.get("/field/pack").json["orders"][0]
    assert (found["others"], found["finished"], found["finished_by"]) == (1, True, [end["id"]]) and "Cuadrilla 9" not in json.dumps(found)


def test_pack_of_200_plots_is_at_most_60_kb(db, office, phone):
    many = {"type": "FeatureCollection", "features": [
        {"type": "Feature", "geometry": rough(-103 + 0.01 * (i % 20), 20 + 0.01 * (i // 20), i), "properties": {"code": f"X-{i:03d}", "name": f"Tabla número {i}", "zone": f"Zona {i % 4}", "planted_on": f"20{15 + i % 10}-06-01"}} for i in range(200)]}
    land.load(db, land.read(json.dumps(many).encode(), "many.geojson"), "prueba")
    reply = phone.get("/field/pack", headers={"Accept-Encoding": "gzip"})
    assert len(json.loads(gzip.decompress(reply.data))["plots"]) == 203
    assert len(reply.data) <= 60 * 1024


def rough(lon, lat, seed):
    """An outline of 24 corners, as a walked one is."""
    from math import cos, pi, sin

    ring = [[lon + 0.003 * (1 + 0.08 * sin(5 * t + seed)) * cos(t), lat + 0.003 * sin(t)] for t in (2 * pi * k / 24 for k in range(24))]
    return {**square(lon, lat), "coordinates": [[*ring, ring[0]]]}


def test_photo_goes_under_its_digest_and_only_a_picture_does(phone, db):
    digest = sha256(JPEG).hexdigest()
    address = f"/field/photos/{ID.format(7)}/{digest}"
    for _ in range(2):
        assert phone.post(address, data=JPEG, content_type="image/jpeg").json == {"status": "kept"}
    assert rows(db, "SELECT count(*) AS n FROM photo")[0]["n"] == 1
    assert phone.post(address, data=b"GIF89a", content_type="image/jpeg").status_code == 422
    assert phone.post(f"/field/photos/{ID.format(7)}/{'0' * 64}", data=JPEG, content_type="image/jpeg").status_code == 422
    assert phone.post(address, data=JPEG + bytes(300_000), content_type="image/jpeg").status_code == 413


def test_pack_bytes_do_not_depend_on_the_moment(db, phone):
    assert phone.get("/field/pack").data == phone.get("/field/pack").data
    assert phone_pack.SCHEMA == phone.get("/field/pack").json["schema"]


def test_the_pack_is_made_anew_when_anything_it_is_made_of_changes_and_only_then(phone, db, monkeypatch):
    from webapp import settings
    from webapp.pages import phone_pack

    made, real = [], phone_pack.make
    monkeypatch.setattr(phone_pack, "make", lambda *given: made.append(1) or real(*given))
    tags = []

    def ask():
        tags.append(phone.get("/field/pack").headers["ETag"])
        return tags[-1]

    assert ask() == ask() and len(made) == 1
    put_order(db, "2026-W48")
    ask()
    phone.post("/field/records", json=batch(remark(1)))
    ask()
    phone.post("/field/records", json=batch({**remark(2), "kind": "row_count", "text": None, "plants_standing": 80, "rows_in_plot": 57}))
    ask()
    settings.change(db, {"target_brix_deg": 25.0}, "prueba")
    ask()
    people.revoke_device(db, people.devices(db)[0]["id"], "prueba")
    assert phone.get("/field/pack").status_code == 401, "what is kept is not for a revoked phone"
    assert len(set(tags[1:])) == 5 and len(made) == 5


def test_a_large_estate_without_answers_gets_its_pack_at_once_and_the_rest_later(phone, db, monkeypatch):
    """Nobody in the field waits for a fit: land and orders come, the worker is asked once, and the tag changes with the answers."""
    from webapp import jobs
    from webapp.pages import resting
    from webapp.work import KINDS

    monkeypatch.setattr(resting, "MOST_AT_ONCE", 2)
    put_order(db, "2026-W48")
    first = phone.get("/field/pack")
    assert first.status_code == 200 and first.json["reckoning"] is True and first.json["visits"] == []
    assert {p["code"] for p in first.json["plots"]} == {"VS-01", "VS-02", "LA-03"} and not any("prior" in p for p in first.json["plots"]) and len(first.json["orders"]) == 1
    assert not rows(db, "SELECT * FROM answer") and [job["kind"] for job in jobs.pending(db)] == ["estimates"]
    assert phone.get("/field/pack", headers={"If-None-Match": first.headers["ETag"]}).status_code == 304 and len(jobs.pending(db)) == 1
    jobs.run_next(db, KINDS)
    later = phone.get("/field/pack", headers={"If-None-Match": first.headers["ETag"]})
    assert later.status_code == 200 and later.headers["ETag"] != first.headers["ETag"]
    assert "reckoning" not in later.json and all("prior" in p for p in later.json["plots"]) and later.json["visits"]
