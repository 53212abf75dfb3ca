"""Enrolling by hand: whatever the office shows can be typed or pasted, and a code that failed says so in plain words."""

from __future__ import annotations

import pytest

from . import hand

pytestmark = pytest.mark.browser


def groups(code: str, between: str) -> str:
    return between.join(code[i : i + 4] for i in range(0, len(code), 4))


SHAPES = {"address": lambda office, code: f"{office.address}/field/#enrol={code}", "spaces": lambda _, code: groups(code, " "),
          "small": lambda _, code: f"  {groups(code, '-').lower()} "}


@pytest.mark.parametrize("shape", SHAPES)
def test_the_phone_takes_what_the_office_shows(page, standing_office, shape):
    page.goto(f"{standing_office.address}/field/")
    hand.ready(page)
    assert "«Gente y teléfonos»" in page.locator("main").inner_text()
    page.fill("#code", SHAPES[shape](standing_office, standing_office.invite()))
    page.click("#enrol")
    page.wait_for_selector("main[data-screen=who]")


def test_a_code_that_is_spent_says_so_and_the_screen_asks_again(page, standing_office):
    page.goto(f"{standing_office.address}/field/#enrol=AAAABBBBCCCC")
    hand.ready(page)
    page.wait_for_function("() => document.querySelector('.fault').textContent")
    fault = page.locator(".fault").inner_text()
    assert fault.startswith("El código ya se usó") and "(code)" not in fault
    assert page.locator("h1").inner_text() == "Da de alta este teléfono"
    page.fill("#code", standing_office.invite())
    page.click("#enrol")
    page.wait_for_selector("main[data-screen=who]")


def test_a_long_remark_is_cut_between_whole_characters(page, standing_office):
    hand.enrol(page, standing_office)
    hand.go(page, standing_office, "note/remark/VS-01")
    family = "\U0001f468\u200d\U0001f469\u200d\U0001f467"
    page.locator("main textarea").first.fill("a" * 79 + family + " y más")
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    for screen in ("log", "sending"):
        hand.go(page, standing_office, screen)
        words = page.locator(".list .line").first.inner_text()
        assert "a" * 79 + family + "…" in words and "\ufffd" not in words, screen
