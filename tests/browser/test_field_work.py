"""A morning's work beyond single records: where to go next, when enough is counted, an order ticked off and handed on."""

from __future__ import annotations

import json
import struct
from datetime import timedelta

import pytest

from webapp import clock
from webapp.crop import worth_service as worth
from webapp.database import atomic
from webapp.survey import service as survey
from webapp.work import estimates

from . import hand
from .conftest import put_order

pytestmark = pytest.mark.browser


def fields_of(office, kind):
    return [json.loads(row["fields"]) for row in office.records() if row["kind"] == kind]


def test_after_a_round_the_phone_says_what_it_said_and_where_to_go(office, page):
    estimates(office.db)
    wanted = [visit["code"] for visit in worth.listed(office.db, 12)]
    assert {"VS-02", "LA-03"} <= set(wanted), "the office wants the other two plots seen"
    hand.enrol(page, office)
    hand.start_round(page, office)
    for value in ("24.2", "22.8", "25.1"):
        hand.read(page, value)
    hand.finish_round(page)
    words = page.locator("main").inner_text()
    assert "3 lecturas guardadas en El Tapia, VS-01" in words and "La que sigue" in words
    assert "Portón, VS-02" in page.locator("#next").inner_text(), "the nearest of those the office wants"
    page.click("#next")
    page.wait_for_selector("main[data-screen=plot]")
    assert "Portón" in page.locator("h1").inner_text()


def visited(office, plot="VS-01", rounds=6):
    """Earlier rounds of twelve plants, a week apart, all near 24 °Bx: a plot the office knows well."""
    now, lines = clock.of(office.db).now(), []
    for k in range(rounds):
        at = (now - timedelta(days=7 * (k + 1))).isoformat(timespec="seconds")
        name = f"019a0000-0000-7000-8000-{k:04d}00000000"
        common = {"install": "019a0000-0000-7000-8000-0000000000bb", "round": name, "plot": plot, "taken_at": at}
        lines.append({"id": name, "kind": "round", "instrument": "R1", "atc": "yes", **common})
        lines += [{"id": f"019a0000-0000-7000-8000-{k:04d}{n + 1:08d}", "kind": "reading", "brix_raw_deg": 22.5 + n % 4, "juice_temp_c": 20, **common} for n in range(12)]
    report = survey.load_file(office.db, "\n".join(map(json.dumps, lines)).encode(), "antes.jsonl", "prueba")
    assert report.held == 0
    estimates(office.db)


def test_a_round_far_off_what_was_expected_says_so(office, page):
    visited(office)
    hand.enrol(page, office)
    hand.start_round(page, office)
    for value in ("12.1", "11.5", "12.0", "11.8"):
        hand.read(page, value)
    assert "abajo de lo que se esperaba" in page.locator("#enough").inner_text()
    hand.finish_round(page)
    assert "abajo de lo que se esperaba" in page.locator("main").inner_text()


def test_rows_are_drawn_and_counted_until_enough(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "count/VS-01")
    rows = []
    page.fill("#f-rows_in_plot", "98")
    for n, plants in enumerate((84, 85, 83, 84, 86, 85), 1):
        rows.append(int(page.locator("#f-row").input_value()))
        page.fill("#total-plants_standing", str(plants))
        page.click("#store")
        page.wait_for_function("(n) => (document.querySelector('#rows-stand')?.innerText ?? '').startsWith(n === 1 ? 'Van ' : `${n} surcos`)", arg=n)
        said = page.locator("#rows-stand").inner_text()
        assert ("Falta" in said) == (n < 5), said
    assert "Ya se sabe a ±5 %" in said
    assert len(set(rows[1:])) == 5 and all(1 <= row <= 98 for row in rows)
    hand.wait_sent(page)
    assert [count["plants_standing"] for count in fields_of(office, "row_count")] == [84, 85, 83, 84, 86, 85]


def test_an_order_is_ticked_off_offline_and_its_loads_are_listed(office, page):
    order = put_order(office.db, clock.of(office.db).week())
    hand.enrol(page, office, role="crew", name="Lupe")
    page.context.set_offline(True)
    page.click("#open-order")
    page.wait_for_selector("main[data-screen=order]")
    page.click("#load")
    page.fill("#f-plants", "480")
    page.fill("#f-ticket", "B-2107")
    page.click("#store")
    page.wait_for_selector("main[data-screen=order]")
    assert "480 de 1,420" in page.locator("main").inner_text() and "B-2107" in page.locator("main").inner_text()
    page.click("#finish-order")
    page.click("dialog [data-answer=no]")
    assert page.locator("#finish-order").count() == 1
    page.click("#finish-order")
    page.click("dialog [data-answer=yes]")
    page.wait_for_function("() => !document.querySelector('#finish-order')")
    page.context.set_offline(False)
    hand.go(page, office, "sending")
    page.click("#send")
    hand.wait_sent(page)
    load, done = fields_of(office, "load")[0], fields_of(office, "order_done")[0]
    assert (load["order"], load["plants"], load["ticket"], load["cut_style"], load["crew"]) == (order, 480, "B-2107", "short", "Cuadrilla 2")
    assert done == {"order": order, "finished": 1}
    assert list(survey.loads(office.db)["order"]) == [order]


def test_an_order_is_handed_on_as_a_picture(office, page, tmp_path):
    put_order(office.db, clock.of(office.db).week())
    hand.enrol(page, office, role="crew", name="Lupe")
    page.click("#open-order")
    page.wait_for_selector("#share")
    page.context.set_offline(True)
    with page.expect_download() as got:
        page.click("#share")
    got.value.save_as(tmp_path / "orden.png")
    data = (tmp_path / "orden.png").read_bytes()
    width, height = struct.unpack(">II", data[16:24])
    assert data[:8] == b"\x89PNG\r\n\x1a\n" and width == 1080 and height > 900 and got.value.suggested_filename.startswith("orden-")


@pytest.mark.parametrize("days, words", [(0, "desde "), (1, "desde ayer: busca señal hoy"), (3, "desde hace 3 días: busca señal hoy")])
def test_what_waits_stands_large_on_the_first_screen_and_warns_from_the_second_day(office, page, days, words):
    hand.enrol(page, office)
    page.context.set_offline(True)
    hand.go(page, office, "note/remark/VS-01")
    page.fill("#f-text", "sin señal")
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    page.add_init_script(f"const now = Date.now; Date.now = () => now() + {days * 86_400_000 + 60_000 * bool(days)};")
    page.goto(f"{office.address}/field/")
    hand.ready(page)
    page.wait_for_selector("#waiting")
    waiting = page.locator("#waiting")
    assert waiting.inner_text().startswith("1") and words in waiting.inner_text()
    assert ("warn" in waiting.get_attribute("class")) == (days > 0)
    assert page.locator("#waiting .mid").evaluate("node => parseFloat(getComputedStyle(node).fontSize)") >= 32


def say_the_bridge_is_down(page, office) -> str:
    """A remark on the plot of an order, at the office before any pack is asked for; the order's number."""
    put_order(office.db, clock.of(office.db).week())
    hand.enrol(page, office)
    hand.go(page, office, "note/remark/VS-01")
    page.fill("#f-text", "El puente está caído: entrar por La Mesa")
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    assert fields_of(office, "remark")
    hand.go(page, office, "more")
    return f"{clock.of(office.db).week()}-VS-01-1"


def test_remarks_on_a_plot_travel_with_its_order(office, page):
    order = say_the_bridge_is_down(page, office)
    with page.expect_response("**/field/pack"):
        page.get_by_role("button", name="Traer tablas y órdenes").click()
    hand.go(page, office, f"order/{order}")
    page.wait_for_function("() => document.querySelector('main').innerText.includes('El puente está caído')")


# Reading the phone's records takes as long as the test wants: their transactions are kept busy until `letGo`.
HOLD_RECORDS = """() => {
  const begin = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (stores, mode, ...rest) {
    const tx = begin.call(this, stores, mode, ...rest);
    if (mode === "readonly" && [stores].flat().includes("records")) {
      const records = tx.objectStore("records"), hold = () => { if (!window.letGo) records.count().onsuccess = hold; };
      hold();
    }
    return tx;
  };
  addEventListener("pack", () => { window.packCame = true; });
}"""


def test_a_pack_that_comes_while_an_order_is_being_drawn_is_on_it(office, page):
    """The screen has read the old pack and still waits for the phone's records: what comes now must not be missed."""
    order = say_the_bridge_is_down(page, office)
    page.wait_for_function("() => !document.querySelector('.settling')")
    page.evaluate(HOLD_RECORDS)
    page.evaluate("(place) => { location.hash = place; }", f"#/order/{order}")
    page.get_by_role("button", name="Traer tablas y órdenes").click()
    page.wait_for_function("() => window.packCame")
    assert page.locator("main").get_attribute("data-screen") == "more", "the order is still being drawn"
    page.evaluate("() => { window.letGo = true; }")
    page.wait_for_function("() => document.querySelector('main').innerText.includes('El puente está caído')")


def test_revoking_a_phone_is_one_touch_and_its_pack_goes_no_further(office, page):
    from webapp.people import service as people

    hand.enrol(page, office)
    with atomic(office.db):
        people.revoke_device(office.db, people.devices(office.db)[0]["id"], "Rosa")
    assert page.evaluate("() => fetch('/field/pack').then((reply) => reply.status)") == 401
