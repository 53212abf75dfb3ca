"""A plot to be planted in some weeks, on the map in a real Chromium: its own mark and word in every layer until then, and a young plot's from then on."""

from __future__ import annotations

import pytest

from tests.ripeness.thin_estates import load, plots, round_of, scattered
from webapp.database import open_estate
from webapp.people import service as people
from webapp.work import estimates

from .office import Office

pytestmark = pytest.mark.browser
MARK = """() => { const { map } = window.pinarioMap; let painter; map.eachLayer((layer) => { if (layer.plotAt) painter = layer; });
  const i = painter._plots.codes.indexOf('F'); return [painter.markFor(i), painter._kind(i)]; }"""


@pytest.fixture(scope="module")
def seat(shared_browser, tmp_path_factory):
    folder = tmp_path_factory.mktemp("come")
    db = open_estate(folder / "estate.db", create=True)
    db["estate"].insert({"id": 1, "name": "Rancho de prueba", "time_zone": "America/Mexico_City", "frozen_today": "2026-11-23", "created_at": "2026-11-23T12:00:00Z", "store_epoch": "prueba"})
    plots(db, {"A": ("2020-07-01", "Vado", "azul"), "F": ("2027-03-01", "Vado", "azul")})
    load(db, [line for days in (5, 200) for line in round_of("A", days, scattered(22, 12, days))])
    estimates(db)
    people.add_person(db, "Ana", "ana", "cuatro palabras bien largas", ["head"], by="prueba")
    db.conn.close()
    office = Office(folder / "estate.db", folder / "server.log").start()
    context = shared_browser.new_context(viewport={"width": 1280, "height": 1000}, locale="es-MX")
    context.set_default_timeout(15_000)
    page = context.new_page()
    page.office, page.complaints = office, []
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.goto(f"{office.address}/sign-in")
    page.fill("input[name=login]", "ana")
    page.fill("input[name=password]", "cuatro palabras bien largas")
    page.click("button.act")
    page.wait_for_url("**/today")
    yield page
    context.close()
    office.stop()


@pytest.mark.parametrize("language, letter, word, young", [("es", "S", "todavía no plantada", "T"), ("en", "U", "not planted yet", "Y")])
def test_until_its_planting_every_layer_says_so_and_then_it_is_young(seat, language, letter, word, young):
    seat.goto(f"{seat.office.address}/map?lang={language}&plot=F")
    seat.wait_for_selector(".map-frame[data-figures]", state="attached")
    assert seat.inner_text("#key-to-come") == f"{letter} {word}"
    for layer in ("chance", "mass", "unvisited", "sick", "share"):
        seat.click(f"a[data-layer={layer}]")
        assert seat.evaluate(MARK) == [letter, 0], layer
        assert seat.locator('#years tr[data-code="F"] td').all_inner_texts() == [word, "–"], layer
        told = seat.inner_text("#chosen")
        assert told.count(word) == 1 and "%" not in told, (layer, told)
    cell = seat.locator('#years tr[data-code="F"] td').first
    seat.click('.weeks a[data-week="2027-W12"]')
    assert seat.evaluate(MARK)[0] == young and cell.inner_text() == young and cell.locator("span.letter").count() == 1 and word not in seat.inner_text("#chosen")
    seat.click('.weeks a[data-week="2026-W50"]')
    assert seat.evaluate(MARK) == [letter, 0] and cell.inner_text() == word and cell.locator("span").count() == 0
    assert seat.complaints == []
