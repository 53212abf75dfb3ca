"""One round at a time, whatever the hand does: nothing keyed slips into another plot, tabs agree, a question stays on its screen."""

from __future__ import annotations

import json

import pytest

from webapp.survey import service as survey

from . import hand

pytestmark = pytest.mark.browser


def readings(office):
    return [json.loads(row["fields"]) for row in office.records() if row["kind"] == "reading"]


def test_what_was_keyed_does_not_go_with_the_next_plot(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    hand.read(page, "24.2")
    hand.key(page, "26.6")
    page.click("#wounded")
    page.click("#finish")
    page.click("dialog [data-answer=stay]")
    assert page.locator("main").get_attribute("data-screen") == "reading" and "26.6" in page.locator("#brix").inner_text()
    page.click("#finish")
    page.click("dialog [data-answer=drop]")
    page.wait_for_selector("main[data-screen=done]")
    hand.start_round(page, office, "VS-02")
    assert "–" in page.locator("#brix").inner_text() and page.locator("#wounded").get_attribute("aria-pressed") == "false"


def test_finishing_with_a_keyed_value_can_save_it_first(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    hand.key(page, "25.1")
    page.click("#finish")
    page.click("dialog [data-answer=store]")
    page.wait_for_selector("main[data-screen=done]")
    hand.wait_sent(page)
    assert [r["brix_raw_deg"] for r in readings(office)] == [25.1]


def test_a_second_round_asks_about_the_open_one(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    hand.read(page, "24.2")
    hand.go(page, office, "begin/VS-02")
    assert "Tienes abierto el muestreo de El Tapia, VS-01, con 1 lectura" in page.locator("h1").inner_text()
    page.click("#go-on")
    page.wait_for_selector("main[data-screen=reading]")
    hand.go(page, office, "begin/VS-02")
    page.click("#close-open")
    page.wait_for_selector("#start-round")
    page.click("#start-round")
    page.wait_for_selector("main[data-screen=reading]")
    page.wait_for_function("() => document.querySelector('#bar b').checkVisibility() && document.querySelector('#bar').innerText.includes('Portón')")  # once "Guardado" has left the title's place


def test_a_finished_round_without_readings_is_no_visit(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    page.click("#finish")
    page.wait_for_selector("main[data-screen=home]")
    hand.wait_sent(page)
    assert [row["kind"] for row in office.records()] == ["round", "void"] and not len(survey.rounds(office.db))


def test_the_draw_stays_until_it_is_used(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "begin/VS-01")
    first = page.locator("p.note").first.inner_text()
    hand.go(page, office, "")
    hand.go(page, office, "begin/VS-01")
    assert page.locator("p.note").first.inner_text() == first
    page.fill("#f-instrument", "Refractómetro 3")
    hand.go(page, office, "")
    hand.go(page, office, "begin/VS-01")
    assert page.locator("#f-instrument").input_value() == "Refractómetro 3", "a sheet left half-way is as it was"


def test_back_takes_an_open_question_with_it(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    hand.key(page, "5")
    page.click("#store")
    page.wait_for_selector("dialog[open]")
    page.evaluate("() => history.back()")
    page.wait_for_function("() => !document.querySelector('dialog')")
    page.wait_for_timeout(300)
    hand.wait_sent(page)
    assert readings(office) == []


def test_two_tabs_agree_on_the_round_and_the_next_plant(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    other = page.context.new_page()
    other.goto(f"{office.address}/field/#/reading")
    hand.ready(other)
    hand.read(page, "24.2")
    other.wait_for_function("() => document.querySelector('h1').innerText.endsWith('Lectura 2')")
    hand.key(other, "24", "#temp")
    hand.read(other, "23.0")
    page.wait_for_function("() => document.querySelector('h1').innerText.endsWith('Lectura 3')")
    hand.finish_round(other)
    page.wait_for_selector("main[data-screen=home]")
    hand.wait_sent(page)
    places = [(r["row"], r["plant"]) for r in readings(office)]
    assert len(places) == 2 and len(set(places)) == 2, "no plant twice"


def test_the_first_figure_of_a_correction_takes_the_old_values_place(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    hand.read(page, "21.0")
    page.locator("summary").click()
    page.locator("details .line").first.click()
    page.wait_for_function("() => document.querySelector('h1').innerText.includes('era 21.0')")
    for digit in "26":
        page.get_by_role("button", name=digit, exact=True).click()
    assert page.locator("#brix .big").inner_text() == "26"


@pytest.mark.parametrize("row, plant", [("abc", "3"), ("-3", "4"), ("0", "4"), ("", ""), ("99999", "1")])
def test_a_place_that_is_none_is_told(office, page, row, plant):
    hand.enrol(page, office)
    hand.start_round(page, office)
    before = page.locator("h1").inner_text()
    page.click("#spot")
    page.fill("#ask-row", row)
    page.fill("#ask-plant", plant)
    page.click("#ask-ok")
    page.wait_for_function("() => document.querySelector('.fault').innerText.includes('números enteros')")
    assert page.locator("h1").inner_text() == before


def test_a_round_with_readings_is_not_erased_by_itself(office, page):
    hand.enrol(page, office)
    hand.start_round(page, office)
    hand.read(page, "24.2")
    hand.go(page, office, "log")
    page.locator(".list .line", has_text="Muestreo").last.click()
    page.wait_for_selector("dl")
    assert page.locator("#erase").count() == 0


def test_a_save_is_seen_and_an_address_that_is_none_opens_the_start(office, page):
    hand.enrol(page, office)
    hand.go(page, office, "note/weighing/VS-01")
    page.fill("#f-mass_kg", "42")
    page.click("#store")
    page.wait_for_function("() => document.querySelector('.flash')?.innerText === 'Guardado'")
    page.goto(f"{office.address}/field/#/plot/%zz")
    page.reload()
    hand.ready(page)
    assert "no está en este teléfono" in page.locator("h1").inner_text()
