"""The office sees a walked outline over the present one, decides, and finds the old version on the plot's page."""

import json
import re
import shutil

import html5lib
import pytest

from webapp.database import open_estate, rows
from webapp.land import service as land
from webapp.survey import service as survey


@pytest.fixture()
def desk(demo_made, tmp_path):
    """A sign-in on a fresh copy of the demo with two walks come in: a plot's and new land's."""
    from webapp import create_app
    from webapp.commands.seeding import SIGN_INS

    path = shutil.copy(demo_made, tmp_path / "demo.db")
    db = open_estate(path)
    old = land.outlines(db)["VS-04"]
    shift = lambda v, by: [[shift(p, by) for p in v] if isinstance(v[0], list) else [v[0] + by, v[1]]][0]  # noqa: E731
    moved = {"type": old["type"], "coordinates": shift(old["coordinates"], 0.0003)}
    new = {"type": "Polygon", "coordinates": [[[-103.9, 20.9], [-103.897, 20.9], [-103.897, 20.903], [-103.9, 20.903], [-103.9, 20.9]]]}
    made = [{"id": f"0193bbbb-0000-7000-8000-00000000000{n}", "install": "0193bbbb-0000-7000-8000-0000000000ff", "seq": n, "kind": "outline", "plot": plot, "taken_at": "2026-11-20T09:12:03-06:00",
             "geometry": geometry, "walk_minutes": 12.0, "walk_mode": "corners", "gps_accuracy_m": 4.0} for n, plot, geometry in ((1, "VS-04", moved), (2, "NUEVA-1", new))]
    survey.receive(db, json.dumps({"schema": 1, "sent_at": "2026-11-23T08:00:00-06:00", "records": made}).encode(), "Teléfono 7")
    app = create_app(path, testing=True)

    def enter(login):
        client = app.test_client()
        password = next(p for _, name, p, _ in SIGN_INS if name == login)
        client.post("/sign-in", data={"login": login, "password": password})
        return client

    yield enter, db, [r["id"] for r in made]
    db.conn.close()


def page(client, path):
    reply = client.get(path)
    assert reply.status_code == 200
    body = reply.get_data(as_text=True)
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(body)
    assert not parser.errors, parser.errors[:3]
    return body


@pytest.mark.parametrize("language, words", [("es", ("Reemplazar el lindero de", "En común", "Teléfono 7", "Esquina por esquina", "Dar de alta la tabla")), ("en", ("Replace the outline of", "In common", "Teléfono 7", "Corner by corner", "Add the plot"))])
def test_both_outlines_are_drawn_with_areas_and_two_answers(desk, language, words):
    enter, _, (first, second) = desk
    body = page(enter("jefa"), f"/held?lang={language}")
    case = re.search(rf'<article[^>]*id="walk-{first}".*?</article>', body, re.S)[0]
    assert len(re.findall('class="walked"', case)) == 1 and len(re.findall('class="before"', case)) == 1 and "style=" not in case
    assert case.count("<form") == 2 and all(word in body for word in words)
    assert f'id="walk-{second}"' in body and re.search(r"\d\.\d\d ha \(", case)


def test_replacing_makes_a_version_asks_for_estimates_and_is_in_the_trail(desk):
    enter, db, (first, _) = desk
    client, before = enter("jefa"), len(land.outline_versions(db, "VS-04"))
    jobs = len(rows(db, "SELECT * FROM job"))
    assert client.post(f"/walked/{first}/replace").status_code == 303
    assert len(land.outline_versions(db, "VS-04")) == before + 1 and len(rows(db, "SELECT * FROM job")) == jobs + 1
    assert f'id="walk-{first}"' not in page(client, "/held")
    body = page(client, "/plots/VS-04?lang=es")
    listed = re.search(r"<h2>Linderos.*?</ul>", body, re.S)
    assert "caminado con teléfono" in body and "el de hoy" in body and listed is not None and listed[0].count("<li>") == before + 1
    assert "caminado" in page(client, "/trail?lang=es")
    assert client.post(f"/walked/{first}/replace").status_code == 404


def test_aside_needs_a_why_and_new_land_a_code(desk):
    enter, db, (first, second) = desk
    client = enter("jefa")
    assert client.post(f"/walked/{first}/aside", data={"why": ""}).status_code in (400, 422)
    assert client.post(f"/walked/{first}/aside", data={"why": "otra tabla"}).status_code == 303
    assert client.post(f"/walked/{second}/new", data={"code": "VS-04"}).status_code == 409
    assert client.post(f"/walked/{second}/new", data={"code": "NUEVA-1"}).status_code == 303
    assert "NUEVA-1" in land.plots(db).index
    page(client, "/plots/NUEVA-1")


def test_who_may_not_load_land_sees_no_button_and_is_refused(desk):
    enter, _, (first, _) = desk
    from webapp.commands.seeding import SIGN_INS
    from webapp.people import permissions

    for _, login, _, roles in SIGN_INS:
        if not permissions.allowed(roles, "load_land"):
            assert enter(login).post(f"/walked/{first}/replace").status_code == 403
