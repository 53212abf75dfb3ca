"""An estate without any plot: every page says so in the same words and what to do next, with a link for those who may."""

import html
import json

import html5lib
import pytest

from tests.browser.conftest import PLOTS
from webapp import create_app
from webapp.database import open_estate
from webapp.land import service as land
from webapp.people import service as people

PEOPLE = {"jefa": ("head",), "planea": ("planner",), "agro": ("agronomist",), "cuida": ("keeper",), "cabo": ("crew_lead",), "jimador": ("crew",)}
PAGES = ("/today", "/ripeness", "/estate", "/track", "/land", "/visits", "/cutting", "/outlook")
PASSWORD = "cuatro palabras bien largas"


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    path = tmp_path_factory.mktemp("first") / "estate.db"
    db = open_estate(path, create=True)
    people.setup(db, "Rancho nuevo", "America/Mexico_City")
    for login, roles in PEOPLE.items():
        people.add_person(db, login.title(), login, PASSWORD, roles, by="prueba")
    return create_app(path, testing=True), db


def entered(site, login):
    client = site[0].test_client()
    assert client.post("/sign-in", data={"login": login, "password": PASSWORD}).status_code == 303
    return client


@pytest.mark.parametrize("language, none, ask", [("es", "El rancho todavía no tiene tablas", "Pide a la jefatura"), ("en", "The estate has no plots yet", "Ask the head")])
@pytest.mark.parametrize("login", PEOPLE)
def test_every_page_says_what_to_do_next(site, login, language, none, ask):
    client, opened = entered(site, login), 0
    for path in PAGES:
        reply = client.get(f"{path}?lang={language}")
        if reply.status_code == 403:
            continue
        opened += 1
        page = reply.get_data(as_text=True)
        parser = html5lib.HTMLParser(strict=False)
        parser.parse(page)
        main = html.unescape(page.split("<main")[1].split("</main>")[0])
        assert reply.status_code == 200 and not parser.errors and main.count('id="first"') == 1, path
        assert none in main or path == "/outlook", path
        may_load = login in ("jefa", "planea", "agro")
        assert ('href="/land"' in main or (path == "/land" and 'type="file"' in main)) == may_load, path
        assert ('href="/people"' in main) == (login in ("jefa", "cuida")), path
        assert (ask in main) == (not may_load), path
        assert " 0 de 0" not in main and " 0 of 0" not in main and "<table" not in main, path
    assert opened >= (1 if login == "jimador" else 5)


def test_they_fall_silent_with_the_first_plot(site):
    app, db = site
    land.load(db, land.read(json.dumps(PLOTS).encode(), "plots.geojson"), "prueba")
    client = entered(site, "jefa")
    for path in PAGES:
        assert 'id="first"' not in client.get(path).get_data(as_text=True), path
