"""What waits is shown in groups that one answer mends, and every record of a group still has its own form, by links alone."""

from __future__ import annotations

import json
import re

import pytest

from webapp import create_app
from webapp.database import open_estate
from webapp.survey import service as survey


@pytest.fixture()
def office(demo_path):
    client = create_app(demo_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "agronoma", "password": "madurez-de-tabla"})
    db = open_estate(demo_path)
    yield lambda path: client.get(path).get_data(as_text=True), client.post, db
    db.conn.close()


def group_at(body, plot):
    return re.search(rf'id="held-(\w+)">\s*<h3>[^<]*{plot}', body)[1]


@pytest.mark.parametrize("language,name", [("es", "El Llanito, LH-47: 21 registros"), ("en", "El Llanito, LH-47: 21 records")])
def test_the_first_page_is_groups_and_counts(office, language, name):
    get, _, db = office
    body = get(f"/held?lang={language}")
    held, doubts = survey.held(db), survey.doubts(db)
    assert len(held) > 40 and name in body and f"<h1>{len(held) + len(doubts)}" not in body  # outlines count too
    assert len(re.findall(r'action="/held/[^"]+/mend"', body)) == 1, "only what stands alone has its form here"
    assert len(body) < 60_000
    for group in ("LH-47", "MT-44"):
        key = group_at(body, group)
        assert f'href="/held?group={key}"' in body and f"/held/together/{key}/aside" in body and f"/held/together/{key}/move" in body
    assert not re.search(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(?!\")", re.sub(r"<[^>]+>", "", body)), "no day and hour of the machine's"
    for d in doubts:
        assert f'id="doubts-{d["code"]}"' in body and f'action="/doubts/{d["id"]}/leave"' in body


def test_every_record_of_a_group_has_its_form_behind_its_link(office):
    get, _, db = office
    for plot in ("LH-47", "MT-44"):
        mine = {h["id"] for h in survey.held(db) if h["plot"] == plot}
        assert mine == set(re.findall(r'action="/held/([^"/]+)/mend"', get(f"/held?group={group_at(get('/held'), plot)}")))


def test_a_long_group_goes_by_pages(office, monkeypatch):
    from webapp.pages import held_list

    get, post, db = office
    monkeypatch.setattr(held_list, "A_PAGE", 8)
    address = f"/held?group={group_at(get('/held'), 'LH-47')}"
    first, last = get(address), get(f"{address}&page=3")
    assert len(re.findall(r"/mend\"", first)) == 8 and len(re.findall(r"/mend\"", last)) == 5
    assert 'rel="next"' in first and 'rel="prev"' in last and 'rel="next"' not in last
    one = re.search(r'action="/held/([^"/]+)/aside"', last)[1]
    reply = post(f"/held/{one}/aside", data={"why": "dedazo", "group": address[-12:], "page": "3"})
    assert reply.status_code == 303 and reply.headers["Location"] == f"/held?done=aside&group={address[-12:]}&page=3", "back to where one was"


def test_a_clock_of_2016_is_put_right_with_what_its_phone_noted_before_and_after(office):
    get, post, db = office
    body = get("/held")
    key = group_at(body, "LH-47")
    assert "16 de septiembre de 2025, 08:11" in body
    begins = re.search(r'name="begins" value="([^"]+)"', body)[1]
    assert begins.startswith("2025-09-16T08:")
    refused = post(f"/held/together/{key}/move", data={"begins": "2011-01-01T08:00"})
    assert refused.status_code == 422 and 'role="alert"' in refused.get_data(as_text=True)
    n = sum(h["plot"] == "LH-47" for h in survey.held(db))
    reply = post(f"/held/together/{key}/move", data={"begins": begins})
    assert reply.headers["Location"] == f"/held?done=together&n={n}" and not [h for h in survey.held(db) if h["plot"] == "LH-47"]
    found = survey.readings(db)
    assert ((found["plot"] == "LH-47") & (found["day"].astype(str) == "2025-09-16")).sum() == 15
    assert f"Hecho con los {n}" in get(reply.headers["Location"])


def test_proposals_of_a_group_are_taken_together(office):
    get, post, db = office
    body = get("/held")
    key = group_at(body, "MT-44")
    assert "15 de julio de 2026, 11:23" in body and "Aceptar las 22 propuestas" in body
    assert post(f"/held/together/{key}/propose").status_code == 303 and not [h for h in survey.held(db) if h["plot"] == "MT-44"]
    assert post(f"/held/together/{key}/propose").status_code == 404 and post(f"/held/together/{key}/dance").status_code == 404


def test_a_moment_is_mended_as_the_estates_clock_shows_it(office):
    """A field for day and hour holds no offset; what is left as it was mends nothing."""
    get, post, db = office
    body = get(f"/held?group={group_at(get('/held'), 'LH-47')}")
    one, shown = re.search(r'action="/held/([^"/]+)/mend">.*?<input type="datetime-local" step="1" name="f\.taken_at" value="([^"]+)"', body, re.S).groups()
    assert shown.startswith("2016-01-01T00:") and f'name="was.taken_at" value="{shown}"' in body
    assert post(f"/held/{one}/mend", data={"f.taken_at": "2025-09-16T08:45:00", "was.taken_at": shown}).status_code == 303
    [[at]] = db.execute("SELECT taken_fixed FROM record WHERE source = ?", [f"mend:{one}"]).fetchall()
    assert at.startswith("2025-09-16T14:45:00")


def test_doubts_of_a_kind_are_answered_together_or_one_by_one(office):
    get, post, db = office
    codes = [d["code"] for d in survey.doubts(db)]
    code = max(codes, key=codes.count)
    mine = [d["id"] for d in survey.doubts(db) if d["code"] == code]
    body = get(f"/held?doubts={code}")
    assert len(mine) > 1 and [int(n) for n in re.findall(r'action="/doubts/(\d+)/leave"', body)] == mine
    reply = post(f"/doubts/{mine[0]}/leave", data={"open": code})
    assert reply.headers["Location"] == f"/held?done=leave&open={code}#doubts-{code}" and f'id="doubts-{code}" open>' in get(f"/held?open={code}")
    assert post(f"/doubts/{code}/all/leave", data={"first": mine[0], "last": mine[-1], "doubts": code}).status_code == 303
    assert code not in {d["code"] for d in survey.doubts(db)}


def test_what_came_without_a_time_is_given_one_with_the_same_field(demo_path):
    from tests.survey.conftest import record

    client = create_app(demo_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "agronoma", "password": "madurez-de-tabla"})
    db = open_estate(demo_path)
    survey.load_file(db, json.dumps(record(1, taken_at="ayer")).encode(), "a.jsonl", "Ana")
    body = client.get("/held").get_data(as_text=True)
    one = record(1)["id"]
    form = re.search(rf'action="/held/{one}/mend">(.*?)</form>', body, re.S)[1]
    assert '<input type="datetime-local" step="1" name="f.taken_at" value="">' in form and "llegó como ayer" in form
    still = client.post(f"/held/{one}/mend", data={"f.taken_at": "", "was.taken_at": "", "f.plot": "VS-04", "was.plot": "VS-04"})
    assert still.status_code == 422 and "ayer" in still.get_data(as_text=True)
    assert client.post(f"/held/{one}/mend", data={"f.taken_at": "2026-11-20T09:12", "was.taken_at": ""}).status_code == 303
    assert db.execute("SELECT taken_fixed FROM record WHERE source = ?", [f"mend:{one}"]).fetchone()[0].startswith("2026-11-20T15:12")
