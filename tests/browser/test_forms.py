"""The sheets a crew fills in: nothing typed is lost, what cannot be is told at its field, and an order goes its whole way."""

from __future__ import annotations

import json

import pytest

from webapp import clock
from webapp.survey import service as survey

from . import axe, hand
from .conftest import put_order
from .test_bad_input import bitmap
from .test_screens import CLOSE_TARGETS, RULES, SMALL_TARGETS

pytestmark = pytest.mark.browser


def fields_of(office, kind):
    return [json.loads(row["fields"]) for row in office.records() if row["kind"] == kind]


def fault(page, name):
    """What stands at a field, and that who hears the page is told it belongs there."""
    words = page.locator(f"#fault-{name}").inner_text()
    assert page.locator(f"[aria-describedby=fault-{name}]").count() == 1
    return words


def stored(page, screen="plot"):
    page.click("#store")
    page.wait_for_selector(f"main[data-screen={screen}]")


def test_a_reading_mended_after_its_round_keeps_round_and_instrument(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    for value in ("24.2", "22.8"):
        hand.read(page, value)
    hand.finish_round(page)
    hand.wait_sent(page)
    before = survey.readings(office.db)
    hand.go(page, office, "log")
    page.locator(".list .line", has_text="22.8").click()
    page.click("#mend")
    page.wait_for_selector("main[data-screen=note]")
    page.fill("#f-brix_raw_deg", "25,8")
    stored(page, "log")
    hand.wait_sent(page)
    after = survey.readings(office.db)
    assert sorted(after["brix_raw_deg"]) == [24.2, 25.8] and after["round"].nunique() == 1
    assert set(after["round"]) == set(before["round"]) and set(after["instrument"]) == {"Refractómetro 3"} and set(after["atc"]) == {"no"}
    assert [row["round"] for row in office.records() if row["replaces"]] == [before["round"].iat[0]]


def test_a_load_half_filled_for_one_order_is_not_saved_to_another(office, page):
    week = clock.of(office.db).week()
    first, second = put_order(office.db, week), put_order(office.db, week, plot="VS-02")
    office.db.execute("UPDATE cutting_order SET plot = 'VS-01', cut_style = 'long' WHERE id = ?", [second])
    office.db.conn.commit()
    hand.enrol(page, office, role="crew", name="Lupe")
    hand.go(page, office, f"note/load/VS-01/{first}")
    page.fill("#f-plants", "480")
    page.wait_for_timeout(150)
    hand.go(page, office, f"note/load/VS-01/{second}")
    assert page.locator("#f-plants").input_value() == ""
    page.fill("#f-plants", "300")
    stored(page, "order")
    hand.go(page, office, f"note/load/VS-01/{first}")
    assert page.locator("#f-plants").input_value() == "480", "the first order's sheet is as it was left"
    stored(page, "order")
    hand.wait_sent(page)
    assert [(load["order"], load["plants"], load["cut_style"]) for load in fields_of(office, "load")] == [(second, 300, "long"), (first, 480, "short")]


def test_an_orders_own_values_win_over_an_older_draft(office, page):
    order = put_order(office.db, clock.of(office.db).week())
    hand.enrol(page, office, role="crew", name="Lupe")
    page.evaluate("""(key) => new Promise((resolve) => { const open = indexedDB.open('pinario'); open.onsuccess = () => {
      const tx = open.result.transaction('meta', 'readwrite'); tx.objectStore('meta').put({ order: 'otra', crew: 'Otra', cut_style: 'long', clearing: 1, plants: 77 }, key); tx.oncomplete = () => { open.result.close(); resolve(); }; }; })""", f"draft:load:VS-01:{order}")
    hand.go(page, office, f"note/load/VS-01/{order}")
    assert page.locator("#f-plants").input_value() == "77"
    stored(page, "order")
    hand.wait_sent(page)
    load = fields_of(office, "load")[0]
    assert (load["order"], load["crew"], load["cut_style"], load["clearing"]) == (order, "Cuadrilla 2", "short", 0)


def test_progress_is_not_taken_for_the_end_of_an_order(office, page):
    order = put_order(office.db, clock.of(office.db).week())
    hand.enrol(page, office, role="crew", name="Lupe")
    hand.go(page, office, f"note/order_done/VS-01/{order}")
    assert page.locator("main input:checked").count() == 0
    page.click("#store")
    assert "qué faltó" in fault(page, "plants")
    page.fill("#f-plants", "300")
    assert page.locator(".fault").count() == 0
    stored(page, "order")
    assert "300 de 1,420" in page.locator("main").inner_text() and "Hecha" not in page.locator("main").inner_text()
    hand.wait_sent(page)
    assert fields_of(office, "order_done") == [{"order": order, "plants": 300}]


def test_a_number_nobody_can_read_is_shown_again_as_it_was_typed(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "note/weighing/VS-01")
    page.fill("#f-mass_kg", "42 y pico")
    page.wait_for_timeout(150)
    hand.go(page, office, "plot/VS-01")
    hand.go(page, office, "note/weighing/VS-01")
    assert page.locator("#f-mass_kg").input_value() == "42 y pico"
    page.click("#store")
    assert "escribe un número" in fault(page, "mass_kg") and office.records() == []


def test_an_empty_load_is_refused_at_the_sheet(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "note/load/VS-01")
    page.fill("#f-truck", "JB-1")
    page.click("#store")
    assert "boleta" in fault(page, "plants") and hand.unsent(page) == 0
    page.fill("#f-ticket", "B-9")
    assert page.locator(".fault").count() == 0
    stored(page)
    hand.wait_sent(page)
    assert [load["ticket"] for load in fields_of(office, "load")] == ["B-9"]


def test_a_counter_says_what_is_no_whole_number_and_keeps_it(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "count/VS-01")
    page.fill("#total-gaps", "abc")
    assert "escribe un número entero" in fault(page, "gaps")
    page.fill("#total-plants_standing", "84")
    page.click("#store")
    assert hand.unsent(page) == 0 and page.locator("#fault-gaps").count() == 1
    page.wait_for_timeout(150)
    hand.go(page, office, "plot/VS-01")
    hand.go(page, office, "count/VS-01")
    assert page.locator("#total-gaps").input_value() == "abc" and "entero" in fault(page, "gaps")
    assert not page.locator("#f-sick_grade").is_visible()
    page.click("#more-sick_weevil")
    assert page.locator("#f-sick_grade").is_visible()
    page.fill("#total-gaps", "3")
    page.click("#store")
    page.wait_for_function("() => document.querySelector('main').innerText.includes('El último')")
    hand.wait_sent(page)
    assert [(one["plants_standing"], one["gaps"], one["sick_weevil"]) for one in fields_of(office, "row_count")] == [(84, 3, 1)]


def test_what_cannot_be_is_told_at_its_field_with_its_limit(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "note/lab/VS-01")
    page.fill("#f-ticket", "B-1")
    page.fill("#f-art_percent", "230")
    page.click("#store")
    assert fault(page, "art_percent") == "ART: tiene que ser de 1 a 60 %."
    assert page.locator("dialog").count() == 0 and hand.unsent(page) == 0


def test_all_doubts_of_a_record_are_asked_together(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "note/load/VS-01")
    for name, value in (("plants", "7"), ("pieces", "8,005"), ("net_kg", "45,000")):
        page.fill(f"#f-{name}", value)
    page.click("#store")
    page.wait_for_selector("dialog")
    said = page.locator("dialog li").all_inner_texts()
    assert len(said) == 3 and said[0] == "Plantas cortadas: ¿7? Lo usual va de 50 a 3,000. Quizá 70." and "Quizá 801." in said[1] and "de 2,000 a 40,000 kg." in said[2] and "4,500 kg" in said[2]
    page.click("dialog [data-answer=again]")
    page.wait_for_function("() => document.activeElement.id === 'f-plants'")
    assert hand.unsent(page) == 0
    page.click("#store")
    page.click("dialog [data-answer=likely]")
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    assert [(one["plants"], one["pieces"], one["net_kg"]) for one in fields_of(office, "load")] == [(70, 801, 4500)]
    hand.go(page, office, "count/VS-01")
    page.fill("#f-row", "1200")
    page.fill("#total-plants_standing", "2")
    page.click("#store")
    words = page.locator("dialog").inner_text()
    assert "Surco: ¿1,200? Lo usual va de 1 a 600." in words and "Quizá 120" not in words and " ." not in words
    page.click("dialog [data-answer=keep]")
    page.wait_for_function("() => document.querySelector('main').innerText.includes('El último')")
    hand.wait_sent(page)
    assert [row["confirmed"] for row in office.records() if row["kind"] == "row_count"] == [1]


def test_a_finished_order_says_how_far_it_got_and_can_be_opened_again(office, page):
    order = put_order(office.db, clock.of(office.db).week())
    hand.enrol(page, office, role="crew", name="Lupe")
    hand.go(page, office, f"note/load/VS-01/{order}")
    page.fill("#f-plants", "300")
    stored(page, "order")
    page.click("#finish-order")
    page.click("dialog [data-answer=yes]")
    page.wait_for_selector("#reopen")
    assert "Hecha · 300 de 1,420 plantas" in page.locator("main").inner_text() and "Cuadrilla 2" in page.locator("dl").inner_text()
    hand.wait_sent(page)
    hand.go(page, office, "")
    assert page.locator("h1").inner_text() == "Ya quedaron las órdenes de esta semana" and page.locator("#open-order").count() == 0
    hand.go(page, office, "more")
    with page.expect_response("**/field/pack"):
        page.get_by_role("button", name="Traer tablas y órdenes").click()
    hand.go(page, office, f"order/{order}")
    page.click("#reopen")
    page.wait_for_selector("#finish-order")
    assert "Hecha" not in page.locator("main").inner_text(), "although the office's tables still say it is done"
    hand.wait_sent(page)
    assert not len(survey.orders_done(office.db))
    hand.go(page, office, "")
    assert page.locator("#open-order").count() == 1
    hand.go(page, office, f"order/{order}")
    hand.go(page, office, f"note/load/VS-01/{order}")
    page.fill("#f-plants", "2900")
    stored(page, "order")
    assert "3,200 de 1,420: más de lo pedido" in page.locator("main").inner_text()


def test_the_first_screen_offers_the_order_still_to_do(office, page):
    week = clock.of(office.db).week()
    first, second = put_order(office.db, week), put_order(office.db, week, plot="VS-02")
    put_order(office.db, week, crew="Cuadrilla 9", plot="LA-03")
    office.db.execute("UPDATE cutting_order SET plot = 'VS-02' WHERE crew = 'Cuadrilla 9'")
    office.db.conn.commit()
    hand.enrol(page, office, role="crew", name="Lupe")
    hand.go(page, office, f"order/{first}")
    assert "cuadrilla corta aquí" not in page.locator("main").inner_text()
    page.click("#finish-order")
    page.click("dialog [data-answer=yes]")
    page.wait_for_selector("#reopen")
    hand.go(page, office, "")
    page.click("#open-order")
    page.wait_for_selector("main[data-screen=order]")
    assert page.url.endswith(second) and "Cuadrilla 2 · otra cuadrilla corta aquí esta semana" in page.locator("dl").inner_text()


def test_faults_doubts_and_done_orders_hold_for_every_reader(office, page):
    order = put_order(office.db, clock.of(office.db).week())
    hand.enrol(page, office, role="crew", name="Lupe")

    def sound(what):
        page.evaluate("() => scrollTo(0, 0)")  # the bar stays in sight: what has rolled under it, whole or half, is not beside it
        found = axe.look(page, RULES)
        assert found.violations_count == 0, (what, found.generate_report())
        assert page.evaluate(SMALL_TARGETS) == [], what
        if page.locator("dialog").count():
            tops = page.locator("dialog button").evaluate_all("found => found.map((node) => [node.getBoundingClientRect().top, node.getBoundingClientRect().bottom])")
            assert all(below[0] - above[1] >= 7.5 for above, below in zip(tops, tops[1:])), what
        else:
            assert page.evaluate(CLOSE_TARGETS) == [], what
        page.set_viewport_size({"width": 320, "height": 640})
        wide = page.evaluate("() => document.documentElement.scrollWidth")
        page.set_viewport_size({"width": 412, "height": 823})
        assert wide <= 320, what

    hand.go(page, office, f"note/load/VS-01/{order}")
    page.fill("#f-gross_kg", "mucho")
    page.fill("#f-net_kg", "900000")
    page.click("#store")
    assert page.locator(".fault").count() == 2 and page.evaluate("() => document.activeElement.id") == "f-gross_kg"
    sound("faults")
    for name, value in (("gross_kg", "100"), ("net_kg", "100"), ("plants", "3")):
        page.fill(f"#f-{name}", value)
    page.click("#store")
    page.wait_for_selector("dialog")
    sound("doubts")
    page.click("dialog [data-answer=again]")
    hand.go(page, office, "count/VS-01")
    page.fill("#total-gaps", "x")
    page.click("#more-sick_wilt")
    sound("counter")
    hand.go(page, office, "note/loss/VS-01")
    sound("share")
    hand.go(page, office, "order/otra")
    sound("gone")
    hand.go(page, office, f"order/{order}")
    page.click("#finish-order")
    page.click("dialog [data-answer=yes]")
    page.wait_for_selector("#reopen")
    sound("done")


def test_an_order_the_office_took_away_says_so_and_where_to_go(office, page):
    hand.enrol(page, office, role="crew", name="Lupe")
    hand.go(page, office, "order/ya-no")
    assert "lo que anotes se guarda igual" in page.locator("main").inner_text()
    page.click("#to-orders")
    page.wait_for_selector("main[data-screen=orders]")


def test_a_chosen_photo_waits_with_its_sheet(office, page, tmp_path):
    hand.enrol(page, office)
    (tmp_path / "cerca.bmp").write_bytes(bitmap(320, 240))
    hand.go(page, office, "note/remark/VS-01")
    page.fill("#f-text", "cerca caída")
    page.set_input_files("#photo", tmp_path / "cerca.bmp")
    page.wait_for_function("() => document.querySelector('main').innerText.includes('Foto lista')")
    page.wait_for_timeout(150)
    hand.go(page, office, "plot/VS-01")
    page.reload()
    hand.ready(page)
    hand.go(page, office, "note/remark/VS-01")
    assert "Foto lista" in page.locator("main").inner_text() and page.locator("#f-text").input_value() == "cerca caída"
    stored(page)
    hand.wait_sent(page)
    assert [one["of"] for one in fields_of(office, "photo")] == [row["id"] for row in office.records() if row["kind"] == "remark"]
    hand.go(page, office, "note/remark/VS-01")
    assert "Foto lista" not in page.locator("main").inner_text() and not page.locator("#photo-off").is_visible()
    page.set_input_files("#photo", tmp_path / "cerca.bmp")
    page.click("#photo-off")
    page.wait_for_function("() => !document.querySelector('main').innerText.includes('Foto lista')")
    page.fill("#f-text", "sin foto")
    stored(page)
    hand.wait_sent(page)
    assert len(fields_of(office, "remark")) == 2 and len(fields_of(office, "photo")) == 1


def test_a_share_is_said_as_a_half_or_in_percent_and_kept_as_a_part_of_one(office, page):
    hand.enrol(page, office)
    for choose in ("half", "percent"):
        hand.go(page, office, "note/loss/VS-01")
        page.locator("#f-cause input[value=frost]").check()
        if choose == "half":
            page.get_by_label("mitad").check()
        else:
            page.fill("#f-area_share", "150")
            page.click("#store")
            assert "de 0 a 100 %" in fault(page, "area_share")
            page.fill("#f-area_share", "15 %")
        assert "parte de 1" not in page.locator("main").inner_text()
        stored(page)
    hand.wait_sent(page)
    assert [one["area_share"] for one in fields_of(office, "loss")] == [0.5, 0.15]
    hand.go(page, office, "log")
    assert "50 %" in page.locator("main").inner_text()


def test_the_year_of_planting_starts_six_years_back(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "note/age_check/VS-01")
    page.get_by_role("button", name="Agregar uno").click()
    assert int(page.locator("#f-planting_year").input_value()) == page.evaluate("() => new Date().getFullYear()") - 6
