"""Every page of the office, in both languages, on a desk and on a telephone: axe finds nothing, nothing overflows, the keyboard reaches it."""

from __future__ import annotations

import json
import shutil

import pytest

from webapp.commands.seeding import SIGN_INS
from webapp.database import open_estate
from webapp.survey import service as survey

from . import axe
from .office import Office

pytestmark = pytest.mark.browser
PAGES = ("/today", "/estate", "/track", "/map", "/ripeness", "/plots/VS-04", "/held", "RECORD", "/cutting", "/orders", "/outlook", "/sales", "/land", "PREVIEW", "/people", "PHONE", "/settings", "/method", "/trail",
         "/plots/NO-99", "/sign-in")
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}, "resultTypes": ["violations"]}
DESK, PHONE, NARROW = {"width": 1360, "height": 900}, {"width": 412, "height": 823}, {"width": 320, "height": 640}
BOW_TIE = {"type": "FeatureCollection", "features": [
    {"type": "Feature", "properties": {"code": "MO-01", "name": "El Moño"}, "geometry": {"type": "Polygon", "coordinates": [[[-102.4, 20.7], [-102.39, 20.71], [-102.39, 20.7], [-102.4, 20.71], [-102.4, 20.7]]]}}]}
"""A plot drawn across itself, which the preview must name."""

WIDER_THAN_THE_PAGE = """() => [...document.querySelectorAll('main *, header *, footer *')].filter((node) => node.getBoundingClientRect().right > document.documentElement.clientWidth + 1 && !node.closest('.scroll, .map-frame'))
  .slice(0, 4).map((node) => `${node.tagName}.${node.className.baseVal ?? node.className} ${node.innerText?.slice(0, 40) ?? ''}`)"""
UNSEEN_FOCUS = """() => { const style = getComputedStyle(document.activeElement); return style.outlineStyle === 'none' || parseFloat(style.outlineWidth) < 2; }"""
ALIKE = "() => { for (const body of document.querySelectorAll('tbody')) [...body.rows].slice(24, -4).forEach((row) => row.remove()); }"
"""Of a long table axe sees the first rows and the last: a hundred and forty of one kind took it ten seconds a page."""
WITHOUT_LABEL = """() => [...document.querySelectorAll('input:not([type=hidden]), select, textarea')].filter((node) => !node.labels?.length && !node.ariaLabel).map((node) => node.name)"""


@pytest.fixture(scope="module")
def desk(demo_made, tmp_path_factory):
    """The demo with a plan, this week's orders and an outlook, served."""
    from webapp.crop import track_service as track
    from webapp.cutting import service as cutting
    from webapp.outlook import service as outlook

    folder = tmp_path_factory.mktemp("desk")
    db = open_estate(shutil.copy(demo_made, folder / "demo.db"))
    plan = cutting.make_plan(db, seconds=5, who="Tomás Barragán")
    cutting.publish(db, plan, "Tomás Barragán")
    outlook.make(db, futures=100)
    track.replay(db, count=2)
    opened = Office(folder / "demo.db", folder / "server.log")
    opened.record = survey.held(db)[0]["id"]
    db.conn.close()
    yield opened.start()
    opened.stop()


@pytest.fixture(scope="module")
def seat(shared_browser, desk):
    """A page of someone who signed in as the head, with all that it complained of and all it asked for."""
    context = shared_browser.new_context(viewport=DESK, locale="es-MX")
    context.set_default_timeout(15_000)
    page = context.new_page()
    page.complaints, page.asked = [], []
    page.on("console", lambda m: page.complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: page.complaints.append(str(e)))
    page.on("request", lambda r: page.asked.append(r.url))
    page.goto(f"{desk.address}/sign-in")
    page.fill("input[name=login]", "jefa")
    page.fill("input[name=password]", next(password for _, login, password, _ in SIGN_INS if login == "jefa"))
    page.click("button.act")
    page.wait_for_url("**/today")
    page.desk = desk
    yield page
    context.close()


def sit(page, place: str, language: str) -> None:
    """Open a page, or what a form answers with, and wait for the map where there is one."""
    base = page.desk.address
    if place == "PREVIEW":
        page.goto(f"{base}/land?lang={language}")
        page.set_input_files("#land-file", {"name": "moño.geojson", "mimeType": "application/geo+json", "buffer": json.dumps(BOW_TIE).encode()})
        page.click("button[formaction$=preview]")
        page.wait_for_selector("#preview")
    elif place == "PHONE":
        page.goto(f"{base}/people?lang={language}")
        page.fill("#phone-name", "Teléfono 7")
        page.click("form[action$='phones/add'] button")
        page.wait_for_selector(".qr svg")
    else:
        page.goto(f"{base}{'/records/' + page.desk.record if place == 'RECORD' else place}?lang={language}")
    if place == "/map":
        page.wait_for_selector(".map-frame[data-ready]")


@pytest.mark.parametrize("language", ["es", "en"])
@pytest.mark.parametrize("place", PAGES)
def test_page(seat, place, language):
    seat.complaints.clear()
    seat.asked.clear()
    seat.set_viewport_size(DESK)
    sit(seat, place, language)
    assert seat.evaluate(WITHOUT_LABEL) == []
    seat.evaluate("() => { document.documentElement.style.fontSize = '32px'; }")
    assert seat.evaluate("() => document.documentElement.scrollWidth") <= DESK["width"], seat.evaluate(WIDER_THAN_THE_PAGE)
    seat.evaluate("() => { document.documentElement.style.fontSize = ''; }")
    seat.set_viewport_size(NARROW)
    assert seat.evaluate("() => document.documentElement.scrollWidth") <= 320, seat.evaluate(WIDER_THAN_THE_PAGE)
    seat.evaluate(ALIKE)
    for size in (DESK, PHONE):
        seat.set_viewport_size(size)
        found = axe.look(seat, RULES)
        assert found.violations_count == 0, found.generate_report()
    complaints = [c for c in seat.complaints if not (place == "/plots/NO-99" and "404" in c)]
    assert complaints == []
    assert [url for url in seat.asked if not url.startswith((seat.desk.address, "data:", "blob:"))] == []


def test_keyboard_reaches_what_matters(seat):
    """Tab: first the skip link, then every entry of the main navigation, each with a ring one can see."""
    seat.set_viewport_size(DESK)
    sit(seat, "/ripeness", "es")
    seat.keyboard.press("Tab")
    assert seat.evaluate("() => document.activeElement.className") == "skip"
    assert seat.evaluate("() => document.activeElement.getBoundingClientRect().left") >= 0
    reached = []
    for _ in range(9):
        seat.keyboard.press("Tab")
        reached.append(seat.evaluate("() => document.activeElement.getAttribute('href')"))
        assert not seat.evaluate(UNSEEN_FOCUS), reached[-1]
    wanted = seat.evaluate("() => [...document.querySelectorAll('header nav a')].map((a) => a.getAttribute('href'))")
    assert len(wanted) == 7 and set(wanted) <= set(reached)
    seat.focus(".skip")
    seat.keyboard.press("Enter")
    seat.keyboard.press("Tab")
    assert seat.evaluate("() => Boolean(document.activeElement.closest('main'))"), "after the skip link Tab goes on in the page"


def test_weeks_of_the_map_are_links_for_the_keyboard(seat):
    seat.set_viewport_size(DESK)
    sit(seat, "/map", "es")
    week = seat.locator(".weeks a").nth(5)
    week.focus()
    wanted = week.get_attribute("data-week")
    seat.keyboard.press("Enter")
    seat.wait_for_url(f"**week={wanted}*")


@pytest.mark.parametrize("place", ["/ripeness", "/plots/VS-04", "/cutting", "/outlook", "/settings"])
def test_dark_surroundings_keep_the_contrast(seat, place):
    seat.set_viewport_size(DESK)
    seat.emulate_media(color_scheme="dark")
    sit(seat, place, "es")
    found = axe.look(seat, RULES)
    seat.emulate_media(color_scheme="light")
    assert found.violations_count == 0, found.generate_report()


def test_orders_print_one_sheet_a_crew(seat):
    """As many printed pages as crews with work, and no control or navigation on them."""
    sit(seat, "/orders", "es")
    crews = seat.locator(".sheet").count()
    assert crews > 1
    printed = seat.pdf(format="Letter")
    assert printed.count(b"/Type /Page\n") == crews
    seat.emulate_media(media="print")
    assert [node for node in seat.locator("header nav, footer, form, .skip").all() if node.is_visible()] == []
    seat.emulate_media(media="screen")
