"""The map in a real Chromium: a step of the weeks asks for nothing, is announced, and picture, list and full table say the same."""

from __future__ import annotations

import re
import shutil
from html import unescape

import pytest

from webapp.commands.seeding import SIGN_INS

from . import axe
from .office import Office
from .test_desk import RULES

pytestmark = pytest.mark.browser
COLOURS_NEAR = """(places) => { const canvas = document.querySelector('.leaflet-pane > canvas'); const box = canvas.getBoundingClientRect(); const times = canvas.width / box.width;
  const all = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
  return places.map(([x, y]) => [[0, 7], [0, -7], [6, 0], [-6, 0]].map(([dx, dy]) => { const at = 4 * (Math.round((y + dy - box.y) * times) * canvas.width + Math.round((x + dx - box.x) * times)); return [...all.slice(at, at + 3)]; })); }"""
PLACE_OF = """(code) => { const { map } = window.pinarioMap; let painter; map.eachLayer((layer) => { if (layer.plotAt) painter = layer; });
  const { codes, cut, shape } = painter._plots; const i = [...codes, ...cut].indexOf(code); const box = map.getContainer().getBoundingClientRect();
  const scale = map.options.crs.scale(map.getZoom()); const from = map.getPixelOrigin(); const pane = map.containerPointToLayerPoint([0, 0]);
  return [box.x + shape.middle[2 * i] * scale - from.x - pane.x, box.y + shape.middle[2 * i + 1] * scale - from.y - pane.y]; }"""


@pytest.fixture(scope="module")
def seat(shared_browser, demo_made, tmp_path_factory):
    folder = tmp_path_factory.mktemp("map")
    office = Office(shutil.copy(demo_made, folder / "demo.db"), folder / "server.log").start()
    context = shared_browser.new_context(viewport={"width": 1280, "height": 1000}, locale="es-MX")
    context.set_default_timeout(15_000)
    page = context.new_page()
    page.complaints, page.office = [], office
    page.on("console", lambda m: page.complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: page.complaints.append(str(e)))
    page.goto(f"{office.address}/sign-in")
    page.fill("input[name=login]", "jefa")
    page.fill("input[name=password]", next(password for _, login, password, _ in SIGN_INS if login == "jefa"))
    page.click("button.act")
    page.wait_for_url("**/today")
    yield page
    context.close()
    office.stop()


def go(page, query: str = "") -> None:
    page.goto(f"{page.office.address}/map?lang=es&{query}")
    page.wait_for_selector(".map-frame[data-figures]", state="attached")


def shown(page) -> dict[str, list[str]]:
    """Code → cells of every plot of the opened years."""
    return dict(page.eval_on_selector_all("#years tr[data-code]", "(rows) => rows.map((row) => [row.dataset.code, [...row.cells].slice(1).map((cell) => cell.textContent)])"))


def open_all(page) -> None:
    for button in page.locator("#years button.year").all():
        button.click()


def test_steps_by_keyboard_ask_for_nothing_and_are_announced(seat):
    go(seat)
    asked = []
    seat.on("request", lambda request: asked.append(request.url))
    seat.locator(".weeks a[aria-current]").focus()
    for key in ("ArrowRight", "ArrowRight", "End", "ArrowRight", "Home", "PageDown", "ArrowLeft"):
        seat.keyboard.press(key)
    week = seat.locator(".weeks a").nth(3).get_attribute("data-week")
    assert seat.evaluate("() => document.activeElement.dataset.week") == week == seat.locator(".weeks a[aria-current]").get_attribute("data-week")
    assert week in seat.inner_text("h1") and seat.locator(".weeks a[tabindex='0']").count() == 1
    seat.wait_for_function("(title) => document.getElementById('told').textContent === title", arg=seat.inner_text("h1"))
    seat.wait_for_url(f"**week={week}*")
    assert asked == [], asked
    for layer in ("mass", "sick", "share"):
        seat.click(f".layers a[data-layer={layer}]")
        seat.keyboard.press("Tab")
    assert asked == [] and seat.complaints == []


def test_list_and_full_table_say_the_same_for_a_week_and_layer(seat):
    go(seat)
    open_all(seat)
    seat.locator(".weeks a").nth(11).click()
    week = seat.locator(".weeks a").nth(11).get_attribute("data-week")
    seen = {layer: (seat.click(f".layers a[data-layer={layer}]"), shown(seat))[1] for layer in ("share", "chance", "mass", "unvisited", "sick")}
    table = seat.request.get(f"{seat.office.address}/map/table?week={week}&lang=es").text()
    rows = {code: [unescape(re.sub(r"<[^>]+>", " ", cell)) for cell in re.findall(r"<td[^>]*>(.*?)</td>", row, re.S)] for code, row in re.findall(r'<tr data-code="([^"]+)">(.*?)</tr>', table, re.S)}
    assert len(rows) == len(seen["share"]) > 100
    for code, (_, _, condition, share, interval, chance, mass, mass_interval, per_ha, unvisited, sick, _) in rows.items():
        low, high = (part.strip() for part in interval.split("–"))
        assert seen["share"][code] == [condition.split()[0], f"{share} ({low.removesuffix(' %')}–{high.removesuffix(' %')})"]
        assert seen["chance"][code] == [condition.split()[0], chance]
        assert seen["mass"][code] == [f"{mass} ({mass_interval.replace(' – ', '–')})", per_ha]
        assert seen["unvisited"][code][0] == unvisited
        assert seen["sick"][code][0] == sick.split(" (")[0]


def test_a_plot_chosen_on_one_is_lit_on_the_other(seat):
    go(seat)
    code = "VS-04"
    seat.evaluate("() => document.querySelector('.map-frame').scrollIntoView()")
    seat.mouse.click(*seat.evaluate(PLACE_OF, code))
    assert seat.locator(f"#years tr[data-code={code}] button[aria-pressed=true]").count() == 1
    assert code in seat.inner_text("#chosen") and seat.locator("#chosen a").get_attribute("href") == f"/plots/{code}"
    assert seat.locator("path.chosen-edge").count() == 1
    seat.locator("#years tr[data-code] button[aria-pressed=false]").first.click()
    assert code not in seat.inner_text("#chosen") and seat.locator("#years button[aria-pressed=true]").count() == 1
    assert seat.evaluate("() => document.activeElement.getAttribute('aria-pressed')") == "true", "the choice keeps the keyboard where it was"
    other = seat.locator("#years tr.us[data-code]").get_attribute("data-code")
    seat.wait_for_url(f"**plot={other}*")
    seat.reload()
    seat.wait_for_selector(".map-frame[data-figures]", state="attached")
    assert other in seat.inner_text("#chosen"), "a map opened again shows the same plot"


def test_the_colour_drawn_is_that_of_the_share(seat):
    """Every class that occurs in a week is found on the canvas beside its plot's middle, also after steps that repaint only what changed."""
    go(seat)
    seat.evaluate("() => document.querySelector('.map-frame').scrollIntoView()")
    seat.locator(".weeks a").first.focus()
    for _ in range(9):
        seat.keyboard.press("ArrowRight")
    open_all(seat)
    tones = dict(seat.eval_on_selector_all("#years tr[data-code] .letter", "(all) => all.map((one) => [one.closest('tr').dataset.code, getComputedStyle(one).backgroundColor])"))
    wanted = {code: [int(v) for v in re.findall(r"\d+", tone)[:3]] for code, tone in tones.items()}
    some = list(wanted)[::6]
    near = seat.evaluate(COLOURS_NEAR, [seat.evaluate(PLACE_OF, code) for code in some])
    wrong = [code for code, colours in zip(some, near) if wanted[code] not in colours]
    assert len(wrong) <= len(some) // 10, wrong  # beside a letter or in a sliver of a plot the four points may all miss
    assert seat.complaints == []


@pytest.mark.parametrize("size", [{"width": 1280, "height": 800}, {"width": 390, "height": 844}], ids=["desk", "phone"])
def test_an_opened_list_and_the_full_table_are_accessible(seat, size):
    seat.set_viewport_size(size)
    go(seat, "layer=unvisited")
    seat.locator("#years button.year").nth(3).click()
    seat.locator("#years button.plot").first.click()
    assert axe.look(seat, RULES, {"include": [["#years"], ["#chosen"], [".layers"]]}).violations_count == 0  # the page as a whole: test_desk
    assert seat.evaluate("() => document.documentElement.scrollWidth") <= size["width"]
    small = seat.eval_on_selector_all("#years button, .layers a, .leaflet-control a, .weeks a", "(all) => all.map((one) => one.getBoundingClientRect()).filter((box) => box.height < 47.5 || box.width < 40).length")
    assert small == 0
    seat.goto(f"{seat.office.address}/map/table?lang=en")
    assert axe.look(seat, RULES, {"exclude": [["tbody tr:nth-child(n+9)"]]}).violations_count == 0  # rows are alike
    assert seat.evaluate("() => document.documentElement.scrollWidth") <= size["width"]


def test_a_map_that_cannot_be_read_says_so(seat):
    seat.route("**/map/weeks.bin", lambda route: route.fulfill(status=503, body=b""))
    seat.goto(f"{seat.office.address}/map?lang=es")
    seat.wait_for_function("() => document.getElementById('chosen').textContent.startsWith('No se pudo dibujar')")
    seat.unroute("**/map/weeks.bin")
    seat.complaints.clear()


UNREAD = """() => { const { map } = window.pinarioMap; let painter; map.eachLayer((layer) => { if (layer.plotAt) painter = layer; });
  const { codes, cut, shape } = painter._plots; const size = map.getSize(); const from = map.getPixelBounds().min; const scale = map.options.crs.scale(map.getZoom());
  const seen = painter._seen.filter((i) => { const x = shape.middle[2 * i] * scale - from.x, y = shape.middle[2 * i + 1] * scale - from.y; return x > 0 && y > 0 && x < size.x && y < size.y; });
  return [seen.length, seen.filter((i) => !painter._marks[i]).map((i) => [...codes, ...cut][i])]; }"""


@pytest.mark.parametrize("layer", ["share", "chance", "mass", "unvisited", "sick"])
@pytest.mark.parametrize("size", [{"width": 1280, "height": 900}, {"width": 390, "height": 844}], ids=["desk", "phone"])
def test_colour_is_never_alone_at_first_sight(seat, size, layer):
    """Every plot in view bears its letter or figure as the page opens: the whole estate on the desk, on a phone the zone with most ripe plots."""
    seat.set_viewport_size(size)
    go(seat, f"layer={layer}")
    seen, bare = seat.evaluate(UNREAD)
    assert seen >= (180 if size["width"] > 1000 else 30)
    assert len(bare) <= (2 if layer == "sick" else 0), bare  # a grade and a cause need the room of two letters
    assert (seat.input_value("#zone") == "") == (size["width"] > 1000)
    if bare:
        seat.click("#nearer")
    seat.wait_for_function("() => document.getElementById('nearer').hidden")


WRITTEN = """() => { const { map } = window.pinarioMap; let painter; map.eachLayer((layer) => { if (layer.plotAt) painter = layer; });
  const pen = document.createElement('canvas').getContext('2d'); const out = [];
  for (const i of painter._seen) { const mark = painter._marks[i]; if (!/[0-9]/.test(mark)) continue; const place = painter.places.place(i, mark, painter._scale);
    pen.font = painter._look.font(place.px); out.push([mark, place.x * painter._scale, place.y * painter._scale, Math.min(pen.measureText(mark).width, place.most), place.px]); }
  return out; }"""


@pytest.mark.parametrize("layer", ["chance", "mass", "unvisited"])
def test_numbers_of_neighbouring_plots_are_not_read_as_one(seat, layer):
    """On a phone, near and from afar: between two numbers on one line more is free than between the digits of one."""
    seat.set_viewport_size({"width": 390, "height": 844})
    for away in range(2):
        go(seat, f"layer={layer}")
        for _ in range(away):
            seat.locator(".leaflet-control-zoom-out").click()
            seat.wait_for_timeout(600)
        written = seat.evaluate(WRITTEN)
        assert len(written) > 10
        close = [(one[0], other[0]) for k, one in enumerate(written) for other in written[:k]
                 if abs(one[2] - other[2]) < 0.74 * max(one[4], other[4]) and abs(one[1] - other[1]) - (one[3] + other[3]) / 2 < 0.25 * min(one[4], other[4])]
        assert not close, close


def test_no_line_breaks_within_a_weeks_code_in_a_headline(seat):
    """On a narrow phone, as the page comes and after a step of the weeks."""
    seat.set_viewport_size({"width": 320, "height": 720})
    for address in ("/map?lang=es", "/map?lang=es&layer=mass", "/ripeness?lang=es", "/map/table?lang=en", "/cutting?lang=es", "/orders?lang=en", "/plots/VS-04?lang=es"):
        seat.goto(seat.office.address + address)
        for step in range(2 if address.startswith("/map?") else 1):
            if step:
                seat.wait_for_selector(".map-frame[data-figures]", state="attached")
                seat.locator(".weeks a").nth(5).focus()
                seat.keyboard.press("ArrowRight")
            bare, broken = seat.evaluate("""() => [[...document.querySelectorAll('h1, h2, .beside p, .estate')].filter((box) => [...box.childNodes].some((node) => node.nodeType === 3 && /\\d{4}-W\\d\\d/.test(node.textContent))).map((box) => box.textContent),
              [...document.querySelectorAll('.week')].filter((box) => box.getClientRects().length > 1).map((box) => box.textContent)]""")
            assert not bare and not broken, (address, bare, broken)
            assert seat.evaluate("() => document.documentElement.scrollWidth") <= 320, address
    assert seat.locator(".estate .week").count() == 1


def test_what_cannot_be_read_from_afar_is_one_tap_away(seat):
    seat.set_viewport_size({"width": 390, "height": 844})
    go(seat)
    seat.select_option("#zone", "")
    seat.wait_for_selector("#nearer:not([hidden])")
    seen, bare = seat.evaluate(UNREAD)
    assert seen > 180 and f"{len(bare)} tablas" in seat.inner_text("#nearer")
    seat.click("#nearer")
    seat.wait_for_function(f"() => {{ const [seen, bare] = ({UNREAD})(); return seen > 5 && bare.length <= seen / 10; }}")
    assert seat.input_value("#zone") == "elsewhere"
    seat.select_option("#zone", index=1)
    seat.wait_for_function(f"() => ({UNREAD})()[0] > 20")
    zone = seat.input_value("#zone")
    seat.locator(".weeks a").nth(2).click()
    seat.wait_for_url("**zone=*")
    seat.reload()
    seat.wait_for_selector(".map-frame[data-figures]", state="attached")
    assert seat.input_value("#zone") == zone, "a map opened again looks at the same zone"


@pytest.mark.parametrize("by", ["button", "key"])
def test_nearer_never_ends_on_empty_ground(seat, by):
    """The estate's middle lies between its zones: + goes towards the plots that are nearest to it."""
    seat.set_viewport_size({"width": 1280, "height": 900})
    go(seat, "zone=")
    for least in (40, 20, 10, 1):
        before = seat.evaluate("() => window.pinarioMap.map.getZoom()")
        if by == "button":
            seat.click(".leaflet-control-zoom-in")
        else:
            seat.locator(".map-frame .leaflet-container").focus()
            seat.keyboard.press("+")
        seat.wait_for_function("(before) => window.pinarioMap.map.getZoom() > before + 0.9 && !window.pinarioMap.map._animatingZoom", arg=before)
        seat.wait_for_function(f"() => ({UNREAD})()[0] >= {least}")


def test_the_list_bears_the_hatching_of_the_map(seat):
    """Of a week and layer, the rows with the hatched box are the plots hatched on the canvas, and the line under the map takes one to them."""
    seat.set_viewport_size({"width": 1280, "height": 900})
    go(seat)
    open_all(seat)
    drawn = "() => { const { map } = window.pinarioMap; let painter; map.eachLayer((layer) => { if (layer.plotAt) painter = layer; }); return painter._plots.codes.filter((_, i) => painter._kinds[i] & 16).sort(); }"
    boxed = "() => [...document.querySelectorAll('#years tr[data-code]')].filter((row) => !row.querySelector('.hatch').hidden).map((row) => row.dataset.code).sort()"
    for layer in ("share", "mass", "unvisited", "sick", "chance", "share"):
        seat.click(f".layers a[data-layer={layer}]")
        for week in (0, 15, 25):
            seat.locator(".weeks a").nth(week).click()
            codes = seat.evaluate(drawn)
            assert seat.evaluate(boxed) == codes, (layer, week)
            assert seat.is_visible("#hatched") == bool(codes)
            assert [code in codes for code in seat.eval_on_selector_all("#hatched a[data-plot]", "(all) => all.map((one) => one.dataset.plot)")] == [True] * min(len(codes), 6) or not codes
    code = seat.locator("#hatched a[data-plot]").first.get_attribute("data-plot")
    seat.locator("#hatched a[data-plot]").first.click()
    assert code in seat.inner_text("#chosen")
    assert seat.complaints == []


def test_the_visits_follow_the_week_and_say_what_the_page_of_that_week_says(seat):
    seat.set_viewport_size({"width": 1280, "height": 900})
    go(seat)
    shown = "() => document.querySelector('#visits').innerText"
    first = seat.evaluate(shown)
    asked = []
    seat.on("request", lambda request: asked.append(request.url))
    seat.locator(".weeks a").nth(18).click()
    week, stepped = seat.locator(".weeks a").nth(18).get_attribute("data-week"), seat.evaluate(shown)
    assert asked == [] and stepped != first and week in stepped
    go(seat, f"week={week}")
    assert seat.evaluate(shown) == stepped
    assert seat.complaints == []
