"""The phone knows where it is, says how well, draws the plots, and takes an outline on foot."""

from __future__ import annotations

import json
import random
from math import cos, pi, radians, sin

import pytest
from axe_playwright_python.sync_playwright import Axe
from pyproj import Geod
from shapely.geometry import Polygon, shape

from webapp.pages import phone_files

from . import hand
from .test_screens import CLOSE_TARGETS, RULES, SMALL_TARGETS

pytestmark = pytest.mark.browser
GEOD = Geod(ellps="WGS84")
EAST, NORTH = 1 / 104_647, 1 / 110_704
"""Degrees of one metre at 20.7° N."""
CORNER = (-102.4, 20.7)
SIDES = (310.0, 330.0)


def stand(page, x: float, y: float, accuracy: float = 5.0) -> None:
    """Put the phone ``x`` metres east and ``y`` north of the first plot's corner."""
    page.context.set_geolocation({"latitude": CORNER[1] + y * NORTH, "longitude": CORNER[0] + x * EAST, "accuracy": accuracy})


def shown(page, words: str) -> None:
    page.wait_for_function("(words) => document.querySelector('main').innerText.includes(words)", arg=words)


def until(page, expression: str, arg=None) -> None:
    page.wait_for_function(expression, arg=arg)


# --- which plot -------------------------------------------------------------------------------------

def test_inside_near_between_far_coarse_each_in_words(office, page):
    hand.enrol(page, office)
    shown(page, "Estás en El Tapia, VS-01")
    stand(page, 150, -60)
    shown(page, "Cerca: El Tapia, VS-01, a 60 m")
    stand(page, 700, 700)
    shown(page, "¿En qué tabla estás?")
    stand(page, 150, 150, accuracy=3000)
    shown(page, "±3.0 km")
    assert "Estás en" not in page.locator("main").inner_text(), "a fix of 3 km claims no plot"
    assert "aquí" not in page.locator("main").inner_text() and "a 850 m" not in page.locator("main").inner_text()
    stand(page, 150, 150)
    shown(page, "Estás en El Tapia, VS-01")


def test_on_the_line_between_two_plots_both_are_offered(office, page):
    from webapp.land import service as land

    from .conftest import square

    twin = {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": square(-102.403, 20.7), "properties": {"code": "VS-09", "name": "La Cuchilla", "zone": "Valle Sur", "parcel": "P-1"}}]}
    land.load(office.db, land.read(json.dumps(twin).encode(), "twin.geojson"), "prueba")
    hand.enrol(page, office)
    stand(page, 1, 150, accuracy=8)
    shown(page, "¿En cuál estás?")
    offered = page.locator("main a.first").all_inner_texts()
    assert len(offered) == 2 and {text.split(",")[0] for text in offered} == {"El Tapia", "La Cuchilla"}
    stand(page, 60, 150, accuracy=8)
    shown(page, "Estás en El Tapia")


def test_a_false_place_and_a_jump_are_not_believed(office, page):
    hand.enrol(page, office)
    shown(page, "Estás en El Tapia")
    page.context.set_geolocation({"latitude": 0, "longitude": 0, "accuracy": 5})
    shown(page, "ubicación falsa (0, 0)")
    stand(page, 150, 150)
    shown(page, "Estás en El Tapia")
    stand(page, 40_000, 9_000)
    shown(page, "brincó varios kilómetros")
    assert page.locator("#choose").is_visible()
    page.evaluate("() => { location.hash = '#/note/weighing/VS-01'; }")
    page.fill("#f-mass_kg", "40")
    page.click("#store")
    hand.wait_sent(page)
    assert [row["lat"] for row in office.records()] == [None], "no record gets such a place"
    page.evaluate("() => { location.hash = '#/'; }")
    shown(page, "brincó varios kilómetros")
    for k in range(3):
        stand(page, 40_001 + k, 9_000)
        page.wait_for_timeout(60)
    until(page, "() => !document.querySelector('main').innerText.includes('brincó')")


def test_an_old_fix_is_said_to_be_old(office, page):
    page.clock.install()
    hand.enrol(page, office)
    shown(page, "Estás en El Tapia")
    page.clock.fast_forward(5 * 60_000)
    shown(page, "hace 5 minutos")
    assert "Estás en" not in page.locator("main").inner_text()


def test_the_position_contract_and_where_on_many_plots(modules):
    """Random places and accuracies against shapely: 'in' is said only where the plot really holds most of the circle."""
    rng, plots = random.Random(5), []
    for k in range(60):
        x, y = 200 * (k % 10), 200 * (k // 10)
        ring = [(x, y), (x + 195, y + rng.uniform(-30, 30)), (x + 190, y + 185), (x + 5, y + 190)]
        plots.append({"code": f"P{k}", "name": f"P{k}", "outline": [[CORNER[0] + a * EAST, CORNER[1] + b * NORTH] for a, b in ring], "ring": ring})
    for _ in range(40):
        x, y, accuracy = rng.uniform(0, 2000), rng.uniform(0, 1200), rng.choice([4, 9, 25, 70, 400])
        answer = run(modules, "ground.js", "(m, g) => { Object.assign(m.standing, {state: 'here', doubt: null, lat: g.lat, lon: g.lon, accuracy_m: g.acc, at_ms: Date.now()}); const w = m.where(g.plots); return [w.kind, w.plots.map((p) => p.code), m.position()]; }",
                     {"lat": CORNER[1] + y * NORTH, "lon": CORNER[0] + x * EAST, "acc": accuracy, "plots": plots})
        kind, codes, position = answer
        held = {p["code"]: _share(Polygon(p["ring"]), x, y, accuracy / 1.515) for p in plots}
        best = max(held, key=held.get)
        if kind == "in":
            assert codes == [best] and held[best] > 0.4 and sorted(held.values())[-2] < held[best] / 2
        if accuracy == 400:
            assert kind in ("unknown",) and position is None
        else:
            assert position["accuracy_m"] == accuracy and abs(position["lat"] - CORNER[1] - y * NORTH) < 1e-6
        if accuracy <= 9 and held[best] > 0.9:
            assert kind == "in" and codes == [best]


def _share(polygon, x, y, sd, n=900):
    rng = random.Random(1)
    from shapely import contains_xy

    points = [(rng.gauss(x, sd), rng.gauss(y, sd)) for _ in range(n)]
    return sum(contains_xy(polygon, [p[0] for p in points], [p[1] for p in points])) / n


# --- the map ----------------------------------------------------------------------------------------

def test_the_map_is_moved_and_a_plot_chosen_by_finger_and_by_keyboard(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "map")
    assert page.locator("svg.map a").count() == 3 and page.locator("svg.map .own circle.me").count() == 1
    assert page.locator("svg.map a[aria-label^='El Tapia'] text").text_content() == "El Tapia", "it opens on the land about the phone, named"
    page.click("#whole")
    frame = page.locator("svg.map a[aria-label^='Portón'] path.land").bounding_box()
    page.mouse.click(frame["x"] + frame["width"] / 2, frame["y"] + frame["height"] / 2)
    until(page, "() => document.querySelector('#open')?.innerText === 'Abrir Portón, VS-02'")
    assert page.locator("main").get_attribute("data-screen") == "map", "a touch chooses; the button opens"
    before = page.locator("svg.map a[aria-label^='Portón'] path.land").bounding_box()
    box = page.locator("svg.map").bounding_box()
    page.mouse.move(box["x"] + 200, box["y"] + 200)
    page.mouse.down()
    page.mouse.move(box["x"] + 150, box["y"] + 230, steps=4)
    page.mouse.up()
    after = page.locator("svg.map a[aria-label^='Portón'] path.land").bounding_box()
    assert after["x"] - before["x"] == pytest.approx(-50, abs=9) and after["y"] - before["y"] == pytest.approx(30, abs=9)
    width = lambda: page.locator("svg.map a[aria-label^='Portón'] path.land").evaluate("node => node.getBBox().width")  # noqa: E731
    wide = width()
    page.click("#closer")
    assert width() == pytest.approx(1.6 * wide, rel=0.01)
    page.click("#here")
    me = page.locator("svg.map circle.me").bounding_box()
    assert me["x"] + me["width"] / 2 == pytest.approx(box["x"] + box["width"] / 2, abs=3)
    page.locator("svg.map a[aria-label^='Ñandú']").focus()
    until(page, "() => document.querySelector('#open').innerText === 'Abrir Ñandú, LA-03'")
    page.keyboard.press("Enter")
    page.wait_for_selector("main[data-screen=plot]")
    assert "LA-03" in page.locator("h1").inner_text()
    assert page.locator("svg.ground").count() == 1, "the plot is drawn on its own screen"


def test_the_scale_bar_tells_the_truth(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "map")
    page.click("#whole")
    told, bar, plot = page.evaluate("""() => [document.querySelector('.furniture text').textContent, document.querySelector('.furniture path.ink').getBBox().width,
      document.querySelector("a[aria-label^='El Tapia'] path.land").getBBox().width]""")
    assert told == "500 m"
    assert plot / bar * 500 == pytest.approx(GEOD.inv(-102.4, 20.7, -102.397, 20.7)[2], rel=0.02)


def test_two_hundred_plots_stay_smooth_on_a_slow_phone(office, page):
    hand.enrol(page, office)
    page.evaluate("""async () => {
      const base = document.querySelector('script[type=module]').src.replace('app.js', ''), { write } = await import(base + 'db.js'), pack = await import(base + 'pack.js');
      const plots = Array.from({length: 200}, (_, k) => { const x = -102.5 + 0.004 * (k % 20), y = 20.6 + 0.004 * Math.floor(k / 20);
        return {code: `T-${k}`, name: `Tabla ${k}`, zone: 'Z', outline: Array.from({length: 18}, (_, i) => [x + 0.0017 * Math.cos(i / 18 * 6.283), y + 0.0017 * Math.sin(i / 18 * 6.283)])}; });
      await pack.load();
      await write('pack', {...pack.pack(), plots});
    }""")
    page.reload()
    hand.ready(page)
    session = page.context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    page.evaluate("() => { window.began = performance.now(); location.hash = '#/map'; }")
    page.wait_for_selector("svg.map a")
    opened = page.evaluate("() => performance.now() - window.began")
    box = page.locator("svg.map").bounding_box()
    page.evaluate("() => { window.frames_ms = []; let last = performance.now(); const tick = (now) => { window.frames_ms.push(now - last); last = now; if (window.frames_ms.length < 400) requestAnimationFrame(tick); }; requestAnimationFrame(tick); }")
    page.mouse.move(box["x"] + 200, box["y"] + 200)
    page.mouse.down()
    for k in range(40):
        page.mouse.move(box["x"] + 200 - 2 * k, box["y"] + 200 + k)
    page.mouse.up()
    frames = sorted(page.evaluate("() => window.frames_ms"))
    session.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    print(f"map of 200 plots at 4x CPU: open {opened:.0f} ms, frame median {frames[len(frames) // 2]:.0f} ms, p95 {frames[int(0.95 * len(frames))]:.0f} ms")
    assert page.locator("svg.map a").count() == 200 and page.locator("main .list li").count() <= 12
    assert opened < 3000 and frames[len(frames) // 2] < 150


# --- the walk: pure ---------------------------------------------------------------------------------

@pytest.fixture(scope="module")
def modules(shared_browser, standing_office):
    page = shared_browser.new_page()
    page.goto(f"{standing_office.address}/field/manifest.webmanifest")
    yield page, f"{standing_office.address}/s/{phone_files.build().name}"
    page.close()


def run(modules, file, expression, argument):
    page, base = modules
    return page.evaluate(f"async (given) => {{ const m = await import('{base}/{file}'); return await ({expression})(m, given); }}", argument)


def round_the_edge(s: float, width: float, height: float) -> tuple[float, float]:
    if s < width:
        return s, 0
    if s < width + height:
        return width, s - width
    if s < 2 * width + height:
        return width - (s - width - height), height
    return 0, height - (s - 2 * width - height)


def walk_round(seed: int, width=120.0, height=80.0, n=134, bad=True) -> list[dict]:
    """Fixes with correlated error of sd 1.5 m; every 17th is a 60 m fix, and one in twenty-five jumps 45 m claiming to be good."""
    rng, slips, ex, ey, out = random.Random(seed), random.Random(1000 + seed), 0.0, 0.0, []
    for i in range(n):
        x, y = round_the_edge(2 * (width + height) * i / n, width, height)
        ex, ey = (0.7 * e + (1 - 0.7**2) ** 0.5 * rng.gauss(0, 1.5) for e in (ex, ey))
        accuracy, dx, dy, turn = rng.uniform(4, 7), ex, ey, slips.uniform(0, 2 * pi)
        if bad and i % 17 == 16:
            accuracy, dx, dy = 60.0, slips.gauss(0, 40), slips.gauss(0, 40)
        elif bad and slips.random() < 0.04:
            dx, dy = 45 * cos(turn), 45 * sin(turn)
        out.append({"fix": {"lon": CORNER[0] + (x + dx) * EAST, "lat": CORNER[1] + (y + dy) * NORTH, "accuracy_m": accuracy}})
    return out


RING = "(m, events) => { const walk = m.replay(events), ring = m.closed(walk); return {geometry: m.geometryOf(walk, ring), problems: m.problemsOf(ring), stand: m.standOf(walk), doubt_m2: m.areaDoubt(ring, m.accuracyOf(walk), false), kept: walk.points.length, starts: walk.starts, told: walk.told}; }"


def hectares(geometry: dict) -> float:
    return abs(GEOD.geometry_area_perimeter(shape(geometry))[0]) / 10_000


@pytest.mark.parametrize("seed", range(1, 11))
def test_a_walk_with_bad_fixes_gives_a_valid_outline_of_the_right_size(modules, seed):
    found = run(modules, "trace.js", RING, walk_round(seed))
    outline = shape(found["geometry"])
    assert outline.is_valid and found["problems"] == [] and outline.exterior.is_ccw
    assert abs(hectares(found["geometry"]) / 0.96 - 1) <= 0.03
    assert abs(hectares(found["geometry"]) - 0.96) * 10_000 <= found["doubt_m2"], "the interval holds the truth"
    assert len(outline.exterior.coords) < 60, "far fewer than the 134 fixes"
    without = run(modules, "trace.js", RING, walk_round(seed, bad=False))
    assert abs(hectares(found["geometry"]) / hectares(without["geometry"]) - 1) <= 0.02, "the filter adds little of its own"


def test_a_bad_first_fix_is_left_behind_when_five_agree(modules):
    good = walk_round(3, bad=False)
    slip = {"fix": {"lon": CORNER[0] - 300 * EAST, "lat": CORNER[1] - 200 * NORTH, "accuracy_m": 5}}
    stuck = run(modules, "trace.js", RING, [slip, *good[:4]])
    assert stuck["kept"] == 1 and stuck["told"] == "jump"
    freed = run(modules, "trace.js", RING, [slip, *good[:5]])
    assert freed["told"] == "restart" and freed["kept"] >= 3
    whole = run(modules, "trace.js", RING, [slip, *good])
    assert whole["starts"] == [0] and abs(hectares(whole["geometry"]) / 0.96 - 1) <= 0.03


def test_a_long_stretch_before_a_gap_stays(modules):
    good = walk_round(4, bad=False)
    asleep = run(modules, "trace.js", RING, good[:60] + good[70:])
    assert len(asleep["starts"]) == 2 and asleep["starts"][1] > 30, "what was walked before the phone slept is kept"
    assert abs(hectares(asleep["geometry"]) / 0.96 - 1) <= 0.05


def test_a_phone_that_tells_its_place_every_quarter_minute_is_believed(modules):
    slow = [{"fix": {**event["fix"], "t_ms": 1_000_000 + 2_500 * i}} for i, event in enumerate(walk_round(5, bad=False))][::6]
    found = run(modules, "trace.js", RING, slow)
    assert found["kept"] == len(slow) and abs(hectares(found["geometry"]) / 0.96 - 1) <= 0.05
    slipped = [dict(event) for event in slow]
    slipped[8] = {"fix": {**slow[8]["fix"], "lon": slow[8]["fix"]["lon"] + 80 * EAST}}
    assert run(modules, "trace.js", RING, slipped)["kept"] >= len(slow) - 2


def test_a_pause_joins_on_and_the_last_stretch_is_taken_back(modules):
    good = walk_round(6, bad=False)
    detour = [{"fix": {"lon": CORNER[0] + (120 + 3 * k) * EAST, "lat": CORNER[1] + 30 * NORTH, "accuracy_m": 5}} for k in range(1, 7)]
    at = next(i for i, e in enumerate(good) if (e["fix"]["lat"] - CORNER[1]) / NORTH > 30)
    mended = run(modules, "trace.js", RING, good[:at] + detour + [{"undo": True}] + good[at:])
    left = run(modules, "trace.js", RING, good[:at] + detour + good[at:])
    clean = run(modules, "trace.js", RING, good)
    assert abs(hectares(mended["geometry"]) / hectares(clean["geometry"]) - 1) < 0.02
    assert left["kept"] > mended["kept"]
    paused = run(modules, "trace.js", RING, good[:at] + [{"gap": True}] + good[at + 12:])
    assert paused["told"] in ("kept", "still") and len(paused["starts"]) == 2


@pytest.mark.parametrize("ha", [0.5, 1, 3, 10, 50])
@pytest.mark.parametrize("lat", [19.6, 20.0, 20.9])
def test_areas_agree_with_the_ellipsoid(modules, ha, lat):
    rng, metres = random.Random(int(ha * 10)), (ha * 10_000) ** 0.5
    outline = [[-102.4 + metres * 0.56 * rng.uniform(0.8, 1.2) * cos(2 * pi * i / 40) / (111_320 * cos(radians(lat))), lat + metres * 0.56 * rng.uniform(0.8, 1.2) * sin(2 * pi * i / 40) / 110_700] for i in range(40)]
    found = run(modules, "plane.js", "(m, outline) => m.area(outline.map(m.plane(...outline[0]).to)) / 10000", outline)
    assert found == pytest.approx(abs(GEOD.geometry_area_perimeter(Polygon(outline))[0]) / 10_000, rel=0.003 / 10)


def test_a_figure_of_eight_is_told_where_it_crosses(modules):
    corners = [{"corner": {"lon": CORNER[0] + x * EAST, "lat": CORNER[1] + y * NORTH, "accuracy_m": 4}} for x, y in ((0, 0), (100, 0), (0, 100), (100, 100))]
    found = run(modules, "trace.js", "(m, e) => { const walk = m.replay(e, true), ring = m.closed(walk, true); return [m.problemsOf(ring), m.geometryOf(walk, ring)]; }", corners)
    assert found[0][0] == ["crossing", {"n": 1}] and not shape(found[1]).is_valid
    few = run(modules, "trace.js", "(m, e) => m.problemsOf(m.closed(m.replay(e, true), true))", corners[:2])
    assert few == [["corners", {}]]
    tiny = run(modules, "trace.js", "(m, e) => m.problemsOf([[0, 0], [5, 0], [5, 5]], [[900, 900], [1000, 900], [1000, 1000]])", None)
    assert [code for code, _ in tiny] == ["small", "far"]


# --- the walk: on the phone -------------------------------------------------------------------------

def pace(page, fixes, pause_ms=25):
    for event in fixes:
        fix = event["fix"]
        page.context.set_geolocation({"latitude": fix["lat"], "longitude": fix["lon"], "accuracy": fix["accuracy_m"]})
        page.wait_for_timeout(pause_ms)


def kept_fixes(page) -> int:
    return page.evaluate("""async () => { const base = document.querySelector('script[type=module]').src.replace('app.js', ''), { got, within } = await import(base + 'db.js');
      return within('meta', 'readonly', (tx) => got(tx.objectStore('meta').count(IDBKeyRange.bound(['walk'], ['walk', []])))); }""")


def stored(office):
    return [(row, json.loads(row["fields"])) for row in office.records() if row["kind"] == "outline"]


def test_an_outline_is_walked_killed_in_the_middle_and_saved_once(office, phone):
    page = phone.start()
    page.context.grant_permissions(["geolocation"], origin=office.address)
    stand(page, 2, 1)
    hand.enrol(page, office)
    walk = walk_round(11, *SIDES, n=150)
    hand.go(page, office, "plot/VS-01")
    page.click("#note-outline")
    page.click("#begin-walk")
    page.wait_for_selector("#told")
    pace(page, walk[:80])
    until(page, "() => document.querySelector('#facts').innerText.includes('caminados')")
    before = kept_fixes(page)
    assert before >= 60, "each fix is on the disk as it comes"
    phone.quit()
    page = phone.start()
    page.context.grant_permissions(["geolocation"], origin=office.address)
    page.goto(f"{office.address}/field/")
    hand.ready(page)
    page.get_by_role("link", name="Seguir el lindero de El Tapia, VS-01").click()
    page.wait_for_selector("#told")
    assert kept_fixes(page) >= before
    pace(page, walk[80:120])
    phone.kill()
    page = phone.start()
    page.context.grant_permissions(["geolocation"], origin=office.address)
    page.goto(f"{office.address}/field/#/walk/VS-01")
    hand.ready(page)
    page.wait_for_selector("#told")
    pace(page, walk[120:])
    page.click("#close")
    page.wait_for_selector("#store")
    assert "El lindero da 10." in page.locator("h1").inner_text() and page.locator("svg.ground path.old").count() == 1
    page.locator("#store").dblclick()
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    (row, fields), = stored(office)
    ring = fields["geometry"]["coordinates"][0]
    assert row["state"] == "kept" and row["plot"] == "VS-01" and row["confirmed"] == 0
    assert ring[0] == ring[-1] and shape(fields["geometry"]).is_valid
    assert abs(hectares(fields["geometry"]) / 10.23 - 1) < 0.03
    assert fields["walk_mode"] == "walking" and 4 <= fields["gps_accuracy_m"] <= 7 and fields["walk_minutes"] >= 0
    assert kept_fixes(page) == 0


def test_corner_by_corner_with_one_taken_back(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-corners")

    def take(n, x, y):
        stand(page, x, y)
        until(page, "(n) => document.querySelector('#take')?.innerText.endsWith('esquina ' + n)", n)
        page.click("#take")
        for k in range(14):
            if page.locator("#take").inner_text().endswith(f"esquina {n + 1}"):
                break
            stand(page, x + 0.4 * (k % 3 - 1), y + 0.3 * (k % 2), 4)
            page.wait_for_timeout(50)
        until(page, "(n) => document.querySelector('#take')?.innerText.endsWith('esquina ' + (n + 1))", n)

    take(1, 0, 0)
    take(2, 300, 0)
    take(3, 500, 500)
    page.click("#undo")
    take(3, 300, 300)
    take(4, 0, 300)
    assert page.locator("ol.corners li").count() == 4
    page.click("#close")
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    (_, fields), = stored(office)
    assert hectares(fields["geometry"]) == pytest.approx(9.0, rel=0.02) and len(fields["geometry"]["coordinates"][0]) == 5 and fields["walk_mode"] == "corners"


def test_moving_in_the_middle_of_a_corner_begins_it_again(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-corners")
    page.click("#take")
    for k in range(4):
        stand(page, 0.3 * k, 0)
        page.wait_for_timeout(50)
    stand(page, 40, 0)
    shown(page, "Te moviste")
    stand(page, 40, 0, accuracy=45)
    shown(page, "La señal está mala")
    assert page.locator("progress").evaluate("node => node.value") == 1


def test_a_crossed_walk_is_shown_and_may_be_saved_for_the_office_to_decide(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-walk")
    page.wait_for_selector("#told")
    line = [(0, 0), (100, 100), (100, 0), (0, 100)]
    for (ax, ay), (bx, by) in zip(line, line[1:]):
        for k in range(12):
            stand(page, ax + (bx - ax) * k / 12, ay + (by - ay) * k / 12)
            page.wait_for_timeout(25)
    page.click("#close")
    page.wait_for_selector(".crossed")
    assert "se cruza" in page.locator("h1").inner_text() and page.locator("#store").inner_text() == "Guardar así; la oficina decide"
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    (row, fields), = stored(office)
    assert row["confirmed"] == 1 and row["state"] == "kept" and not shape(fields["geometry"]).is_valid


def test_leaving_asks_once_and_new_land_is_walked_under_a_typed_code(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-walk")
    page.click("#leave")
    page.click("dialog [data-answer=stay]")
    assert page.locator("#told").is_visible()
    hand.go(page, office, "walk/VS-02")
    shown(page, "Dejaste a medias el lindero de El Tapia, VS-01")
    page.click("#leave")
    page.click("dialog [data-answer=leave]")
    page.wait_for_selector("main[data-screen=plot]")
    assert kept_fixes(page) == 0
    hand.go(page, office, "plots")
    page.click("#new-land")
    page.click("#go")
    assert "Escribe un código" in page.locator(".fault").inner_text()
    page.fill("#code", "NUEVA-1")
    page.click("#go")
    shown(page, "la oficina la da de alta")
    page.click("#begin-corners")
    page.wait_for_selector("#take")


def test_a_refused_permission_says_what_to_do_and_asking_again_works(office, shared_browser):
    context = shared_browser.new_context(viewport={"width": 412, "height": 823}, locale="es-MX")
    page = context.new_page()
    hand.enrol(page, office)
    hand.go(page, office, "walk/VS-01")
    page.wait_for_selector("#ask-again")
    shown(page, "No hay permiso de ubicación. Toca el candado")
    assert page.locator("#begin-walk").count() == 0
    context.grant_permissions(["geolocation"], origin=office.address)
    context.set_geolocation({"latitude": 20.7015, "longitude": -102.3985, "accuracy": 6})
    page.evaluate("() => document.querySelector('#ask-again')?.click()")  # gone where the browser told of the permission by itself
    page.wait_for_selector("#begin-walk")
    context.close()


def test_without_a_wake_lock_it_says_so_and_with_one_it_is_held_again(office, page):
    page.add_init_script("""Object.defineProperty(navigator, 'wakeLock', {configurable: true, value: {held: 0, request() { this.held += 1; const lock = new EventTarget(); lock.release = async () => lock.dispatchEvent(new Event('release')); window.lock = lock; return Promise.resolve(lock); }}});""")
    hand.enrol(page, office)
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-walk")
    until(page, "() => navigator.wakeLock.held === 1 && !document.querySelector('main').innerText.includes('no deja tener la pantalla')")
    page.evaluate("() => window.lock.release()")
    shown(page, "no deja tener la pantalla prendida")
    page.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
    until(page, "() => navigator.wakeLock.held === 2 && !document.querySelector('main').innerText.includes('no deja tener la pantalla')")
    page.evaluate("() => Object.defineProperty(navigator, 'wakeLock', {configurable: true, value: undefined})")
    page.click("#pause")
    shown(page, "En pausa")
    page.click("#pause")
    shown(page, "no deja tener la pantalla prendida")


def test_a_save_that_died_before_the_walk_was_cleared_saves_once(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-walk")
    page.wait_for_selector("#told")
    pace(page, walk_round(2, *SIDES, n=150, bad=False)[:40])
    ours = """async (kept) => { const base = document.querySelector('script[type=module]').src.replace('app.js', ''), { got, within } = await import(base + 'db.js');
      return within('meta', 'readwrite', async (tx) => { const meta = tx.objectStore('meta'), all = IDBKeyRange.bound(['walk'], ['walk', []]);
        if (!kept) return [await got(meta.get('walk')), await got(meta.getAll(all))];
        meta.put(kept[0], 'walk'); kept[1].forEach((event, n) => meta.put(event, ['walk', n])); }); }"""
    before = page.evaluate(ours, None)
    page.click("#close")
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    page.evaluate(ours, before)
    page.reload()
    hand.ready(page)
    hand.go(page, office, "walk/VS-01/look")
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    assert len(stored(office)) == 1 and kept_fixes(page) == 0


def test_a_forgotten_walk_pauses_by_itself(office, page):
    page.clock.install()
    hand.enrol(page, office)
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-walk")
    page.wait_for_selector("#told")
    stand(page, 10, 10)
    until(page, "() => document.querySelector('#facts').innerText.includes('GPS')")
    page.clock.fast_forward(40 * 60_000)
    stand(page, 400, 400)
    shown(page, "En pausa")


@pytest.mark.parametrize("language", ["es", "en"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_targets_and_width_in_the_middle_of_a_walk(office, page, language, scheme):
    page.emulate_media(color_scheme=scheme)
    hand.enrol(page, office)
    hand.go(page, office, "more")
    page.locator(f"input[name=language][value={language}]").check()
    until(page, "(language) => document.documentElement.lang.startsWith(language)", language)

    def sound():
        found = Axe().run(page, options=RULES)
        assert found.violations_count == 0, found.generate_report()
        assert page.evaluate(SMALL_TARGETS) == [] and page.evaluate(CLOSE_TARGETS) == []
        page.set_viewport_size({"width": 320, "height": 640})
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 320
        page.set_viewport_size({"width": 412, "height": 823})
        page.evaluate("() => { document.documentElement.style.fontSize = '36px'; }")
        assert page.evaluate("() => document.documentElement.scrollWidth") <= 412
        page.evaluate("() => { document.documentElement.style.fontSize = ''; }")
        words = page.locator("body").inner_text()
        assert "undefined" not in words and "{" not in words and "NaN" not in words

    hand.go(page, office, "map")
    page.click("svg.map", position={"x": 188, "y": 200})
    page.wait_for_selector("#open")
    sound()
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-walk")
    page.wait_for_selector("#told")
    for event in walk_round(4, *SIDES, n=150, bad=False)[:60]:
        pace(page, [event], 10)
    page.click("#pause")
    sound()
    page.click("#close")
    page.wait_for_selector("#store")
    sound()
    page.click("#leave")
    page.click("dialog [data-answer=leave]")
    page.wait_for_selector("main[data-screen=plot]")
    hand.go(page, office, "walk/VS-01")
    page.click("#begin-corners")
    page.wait_for_selector("#take")
    for n, (x, y) in enumerate(((0, 0), (200, 0), (0, 200), (200, 200)), 1):
        page.click("#take")
        for k in range(12):
            stand(page, x + 0.2 * (k % 2), y + 0.2 * (k % 3))
            page.wait_for_timeout(20)
        until(page, "(n) => document.querySelectorAll('ol.corners li').length === n", n)
    sound()
    page.click("#close")
    page.wait_for_selector(".crossed")
    sound()
