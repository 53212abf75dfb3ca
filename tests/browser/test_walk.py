"""An outline taken on foot or corner by corner on the phone: kept as it comes, shown before it is saved, saved once."""

from __future__ import annotations

import json

import pytest
from shapely.geometry import shape

from . import axe, hand
from .test_screens import CLOSE_TARGETS, RULES, SMALL_TARGETS
from .walker import SIDES, hectares, shown, stand, take_corner, until, walk_round

pytestmark = pytest.mark.browser


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

    take_corner(page, 1, 0, 0)
    take_corner(page, 2, 300, 0)
    take_corner(page, 3, 500, 500)
    page.click("#undo")
    until(page, "() => document.querySelectorAll('ol.corners li').length === 2")
    take_corner(page, 3, 300, 300)
    take_corner(page, 4, 0, 300)
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
        found = axe.look(page, RULES)
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
        take_corner(page, n, x, y)
    sound()
    page.click("#close")
    page.wait_for_selector(".crossed")
    sound()
