"""The phone knows where it is, says how well, and draws the plots."""

from __future__ import annotations

import json
import random

import pytest
from shapely.geometry import Polygon

from . import hand
from .hand import run
from .walker import CORNER, EAST, GEOD, NORTH, shown, stand, until

pytestmark = pytest.mark.browser


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
