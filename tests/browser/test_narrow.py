"""The estate's page and the list by planting year on a telephone: nothing to scroll sideways, the rest of a row folded under it."""

from __future__ import annotations

import shutil

import pytest

from webapp import create_app
from webapp.database import open_estate
from webapp.pages import planted_list

from .unserved import unserved

pytestmark = pytest.mark.browser
SIDEWAYS = """() => [document.documentElement, ...document.querySelectorAll('.scroll')].filter((node) => node.scrollWidth > node.clientWidth + 1).map((node) => `${node.ariaLabel ?? node.tagName} ${node.scrollWidth} > ${node.clientWidth}`)"""

BUT_PICTURES = SIDEWAYS.replace("'.scroll'", "'.scroll:not(:has(> svg))'")
"""The plan's picture has a column a week and is slid by hand; its tables say the same."""


@pytest.fixture(scope="module")
def narrow(shared_browser, demo_site):
    """A page of somebody who signed in as the agronomist."""
    client = demo_site.test_client()
    client.post("/sign-in", data={"login": "agronoma", "password": "madurez-de-tabla"})
    page = shared_browser.new_page()
    unserved(page, client)
    yield page
    page.close()


@pytest.mark.parametrize("language", ["es", "en"])
@pytest.mark.parametrize("place", ["/estate?show=plants", "/ripeness?open=2019", "/map/table?open=2019"])
def test_nothing_scrolls_sideways(narrow, place, language, monkeypatch):
    monkeypatch.setattr(planted_list, "AT_ONCE", 30)
    monkeypatch.setattr(planted_list, "A_PAGE", 8)
    narrow.set_viewport_size({"width": 320, "height": 640})
    narrow.goto(f"http://rancho.test{place}&lang={language}")
    assert narrow.evaluate(SIDEWAYS) == []
    narrow.evaluate("() => { document.documentElement.style.fontSize = '32px'; for (const fold of document.querySelectorAll('details')) fold.open = true; }")
    assert narrow.evaluate(SIDEWAYS) == []


@pytest.fixture(scope="module")
def worked_out(demo_made, tmp_path_factory):
    """The demo with an outlook and two past days said again: all that its tables can hold."""
    from webapp.crop import track_service as track
    from webapp.cutting import service as cutting
    from webapp.outlook import service as outlook

    path = shutil.copy(demo_made, tmp_path_factory.mktemp("narrow") / "demo.db")
    db = open_estate(path)
    track.replay(db, count=2)
    cutting.publish(db, cutting.make_plan(db, seconds=5, who="Tomás Barragán"), "Tomás Barragán")
    outlook.make(db, futures=100)
    db.conn.close()
    return create_app(path, testing=True)


@pytest.fixture(scope="module")
def head(shared_browser, worked_out):
    """A page of the head of that estate."""
    client = worked_out.test_client()
    assert client.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"}).status_code == 303
    page = shared_browser.new_page()
    unserved(page, client)
    yield page
    page.close()


@pytest.mark.parametrize("language", ["es", "en"])
@pytest.mark.parametrize("place", ["/track?", "/track?from=said", "/settings?", "/outlook?", "/land?", "/visits?", "/visits?from=tapia", "/today?", "/cutting?", "/sales?"])
def test_the_desk_s_tables_fold_on_a_telephone(head, place, language):
    """Nothing scrolls sideways, at double size either; every folded cell says what it is."""
    look = BUT_PICTURES if place.startswith("/cutting") else SIDEWAYS
    for width, height in ((390, 844), (320, 640)):
        head.set_viewport_size({"width": width, "height": height})
        head.goto(f"http://rancho.test{place}&lang={language}")
        head.evaluate("() => { for (const fold of document.querySelectorAll('details')) fold.open = true; }")
        assert head.evaluate(look) == [], width
        head.evaluate("() => { document.documentElement.style.fontSize = '32px'; }")
        assert head.evaluate(look) == [], f"{width} at double size"
    assert head.evaluate("() => [...document.querySelectorAll('.stack > tbody > tr > td.n:not(.stop)')].filter((cell) => cell.offsetParent && !cell.dataset.head && cell.colSpan === 1 && cell.innerText.trim()).map((cell) => cell.innerText)") == []


def test_what_a_change_of_settings_would_do_folds_too(head, worked_out):
    client = worked_out.test_client()
    client.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"})
    body = client.post("/settings/preview?lang=es", data={"target_brix_deg": "25", "loss_per_month": "0.02"}).get_data(as_text=True)
    head.set_viewport_size({"width": 320, "height": 640})
    head.goto("http://rancho.test/settings?lang=es")
    head.evaluate("(body) => { document.querySelector('main').replaceWith(new DOMParser().parseFromString(body, 'text/html').querySelector('main')); for (const fold of document.querySelectorAll('details')) fold.open = true; }", body)
    assert head.locator("#effect table.stack").count() >= 3 and head.evaluate(SIDEWAYS) == []


def test_zones_fold_under_their_year_and_open_by_keyboard(narrow):
    narrow.set_viewport_size({"width": 1280, "height": 800})
    narrow.goto("http://rancho.test/estate?lang=es")
    row = narrow.locator(".cross tbody tr:not(.fold)").nth(2)
    whole = row.locator("td").all_inner_texts()
    assert narrow.locator(".fold:visible").count() == 0 and len(whole) > 2
    narrow.set_viewport_size({"width": 390, "height": 844})
    assert row.locator("td:visible").all_inner_texts() == whole[-1:]
    summary = narrow.locator(".fold summary").nth(2)
    assert summary.bounding_box()["height"] >= 48
    summary.focus()
    narrow.keyboard.press("Enter")
    folded = narrow.locator(".fold").nth(2).locator("dd:visible").all_inner_texts()
    assert [" ".join(t.split()) for t in folded] == [" ".join(t.split()) for t in whole[:-1] if t.strip() != "·"]


def test_an_open_year_fits_a_letter_page(narrow, monkeypatch):
    monkeypatch.setattr(planted_list, "AT_ONCE", 30)
    narrow.set_viewport_size({"width": 720, "height": 960})  # a letter page within its margins
    narrow.goto("http://rancho.test/ripeness?open=2019&lang=es")
    narrow.emulate_media(media="print")
    assert narrow.locator(".years .under tbody tr").count() > 3 and narrow.evaluate("() => document.documentElement.scrollWidth") <= 720
    narrow.emulate_media(media="screen")
