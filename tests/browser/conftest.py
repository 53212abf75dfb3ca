"""An estate with three plots, its office on loopback, and a phone in a real Chromium."""

from __future__ import annotations

import json

import pytest

from tests.browsers import ARGS, needed
from webapp import clock
from webapp.database import open_estate, rows
from webapp.land import service as land
from webapp.pages import phone_files
from webapp.people import service as people

from .office import Chromium, Office

PLACE = {"latitude": 20.7015, "longitude": -102.3985, "accuracy": 6}
"""Inside the first plot."""


def square(lon: float, lat: float, size: float = 0.003) -> dict:
    ring = [[lon, lat], [lon + size, lat], [lon + size, lat + size], [lon, lat + size], [lon, lat]]
    return {"type": "Polygon", "coordinates": [ring]}


PLOTS = {"type": "FeatureCollection", "features": [
    {"type": "Feature", "geometry": square(-102.4, 20.7), "properties": {"code": "VS-01", "name": "El Tapia", "zone": "Valle Sur", "parcel": "P-1", "row_spacing_m": 3.2, "plant_spacing_m": 1.1, "planted_on": "2021-06-01"}},
    {"type": "Feature", "geometry": square(-102.39, 20.71), "properties": {"code": "VS-02", "name": "Portón", "zone": "Valle Sur", "parcel": "P-1", "row_spacing_m": 3.2, "plant_spacing_m": 1.1, "planted_on": "2020-07-15"}},
    {"type": "Feature", "geometry": square(-102.41, 20.72), "properties": {"code": "LA-03", "name": "Ñandú", "zone": "Los Altos", "parcel": "P-2", "row_spacing_m": 3.2, "plant_spacing_m": 1.1}},
]}


def settle(path):
    """An estate file with the three plots above."""
    db = open_estate(path, create=True)
    people.setup(db, "Rancho de prueba", "America/Mexico_City")
    people.add_person(db, "Rosa", "rosa", "una clave larga 1", ("head",), by="prueba")
    land.load(db, land.read(json.dumps(PLOTS).encode(), "plots.geojson"), "prueba")
    return db


def put_order(db, week, crew="Cuadrilla 2", plot="VS-01", day="2026-11-24"):
    """A published order as cutting stores it, with the plan it belongs to."""
    values = {"id": f"{week}-{plot}-1", "day": day, "plan": 1, "crew": crew, "week": week, "plot": plot, "pass": 1, "clearing": 0, "mass_t": 49.7, "plants": 1420.0, "pina_kg": 35.0,
              "cut_style": "short", "trucks": '[{"hour": "12:00", "mass_t": 49.7}]', "how_to_tell": '{"code": "cutting.tell.all", "params": {}}',
              "cautions": '[{"code": "caution.coa", "params": {}}, {"code": "caution.heat", "params": {}}]', "published_at": "2026-11-22T12:00:00Z"}
    with db.conn:
        db.execute("INSERT OR IGNORE INTO plan (id, made_at, made_by, how, key, first_week, weeks, outcome, value, meta, inputs) VALUES (1, '', '', 'by_hand', '', ?, 26, 'by_hand', 0, '{}', x'')", [week])
        db.execute(f"INSERT INTO cutting_order ({', '.join(values)}) VALUES ({', '.join('?' * len(values))})", list(values.values()))
    return values["id"]


@pytest.fixture(scope="session")
def chromium_path():
    return needed()


@pytest.fixture()
def office(tmp_path):
    db = settle(tmp_path / "estate.db")
    opened = Office(tmp_path / "estate.db", tmp_path / "server.log")
    opened.db = db
    opened.invite = lambda: people.new_device(db, "Teléfono 1", "Cuadrilla 2", "prueba")[1]
    opened.records = lambda sql="SELECT * FROM record ORDER BY n": rows(db, sql)
    yield opened.start()
    opened.stop()
    db.conn.close()


@pytest.fixture(scope="module")
def standing_office(tmp_path_factory):
    """One office for tests that change nothing another test looks at."""
    folder = tmp_path_factory.mktemp("office")
    db = settle(folder / "estate.db")
    opened = Office(folder / "estate.db", folder / "server.log")
    opened.invite = lambda: people.new_device(db, "Teléfono 1", "Cuadrilla 2", "prueba")[1]
    opened.order = put_order(db, clock.of(db).week())
    yield opened.start()
    opened.stop()
    db.conn.close()


@pytest.fixture()
def phone(playwright, chromium_path, tmp_path):
    """A Chromium that can be killed and opened again on the same profile."""
    browser = Chromium(playwright, chromium_path, tmp_path / "profile")
    yield browser
    browser.forget()


@pytest.fixture(scope="session")
def shared_browser(playwright, chromium_path):
    browser = playwright.chromium.launch(executable_path=chromium_path, args=ARGS)
    yield browser
    browser.close()


@pytest.fixture()
def page(shared_browser):
    """A fresh phone-sized page that knows where it stands."""
    context = shared_browser.new_context(viewport={"width": 412, "height": 823}, locale="es-MX", has_touch=True, geolocation=PLACE, permissions=["geolocation"])
    context.set_default_timeout(15_000)
    yield context.new_page()
    context.close()


@pytest.fixture(scope="module")
def modules(shared_browser, standing_office):
    """A page of the office that can import the phone's modules, and the address they live under."""
    page = shared_browser.new_page()
    page.goto(f"{standing_office.address}/field/manifest.webmanifest")
    yield page, f"{standing_office.address}/s/{phone_files.build().name}"
    page.close()
