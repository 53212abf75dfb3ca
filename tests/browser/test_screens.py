"""Every screen of the phone, in both languages: axe finds nothing, a glove hits it, nothing overflows."""

from __future__ import annotations

import pytest

from tests.browsers import ARGS

from . import axe, hand

pytestmark = pytest.mark.browser
SCREENS = ("", "who", "plots", "plot/VS-01", "begin/VS-01", "reading", "count/VS-01", "note/weighing/VS-01", "note/age_check/VS-01", "note/marking/VS-01",
           "note/load/VS-01", "note/lab/VS-01", "note/labor/VS-01", "note/loss/VS-01", "note/remark/VS-01", "orders", "order", "sending", "log", "more", "map", "walk/VS-01", "walk")
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}, "resultTypes": ["violations"]}
WITH_DETAILS = ("reading", "order")
WIDTH = "() => document.documentElement.scrollWidth"

SMALL_TARGETS = """() => [...document.querySelectorAll('button, a[href], input, textarea, summary, select')].filter((node) => node.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true})).map((node) => {
  const box = (node.closest('label') ?? node).getBoundingClientRect();
  return [node.id || node.innerText || node.name, Math.round(box.width), Math.round(box.height)];
}).filter(([, width, height]) => width < 48 || height < 48)"""

CLOSE_TARGETS = """() => {
  scrollTo(0, 0);                                                      // the bar stays where it is while the rest moves beneath it
  const boxes = [...new Set([...document.querySelectorAll('button, a[href], input, textarea, select, summary')].filter((node) => node.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true}) && !node.closest('svg'))
    .map((node) => node.closest('label') ?? node))].map((node) => [node.innerText || node.id, node.getBoundingClientRect()]);
  const close = [];
  boxes.forEach(([a, p], i) => boxes.slice(i + 1).forEach(([b, q]) => {
    const apart = Math.max(Math.max(p.left, q.left) - Math.min(p.right, q.right), Math.max(p.top, q.top) - Math.min(p.bottom, q.bottom));
    if (apart < 7.5) close.push([a, b, apart]);
  }));
  return close;
}"""

BROKEN_WORDS = """() => {
  const broken = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT), range = document.createRange();
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    if (node.parentElement.closest('svg, .heard, datalist, textarea') || !node.parentElement.checkVisibility()) continue;
    for (const match of node.data.matchAll(/[\\p{L}\\p{N}]+/gu)) {
      range.setStart(node, match.index);
      range.setEnd(node, match.index + match[0].length);
      if (new Set([...range.getClientRects()].map((box) => Math.round(box.top))).size > 1) broken.push(match[0]);
    }
  }
  return broken;
}"""


def in_a_round(page, office, language: str) -> None:
    """Bring a phone to the middle of a round, in one language."""
    hand.enrol(page, office)
    hand.start_round(page, office)
    for value in ("24.1", "23.0", "25.2"):
        hand.read(page, value)
    hand.go(page, office, "more")
    page.locator(f"input[name=language][value={language}]").check()
    page.wait_for_function("(lang) => document.documentElement.lang.startsWith(lang)", arg=language)


@pytest.fixture(scope="module", params=["es", "en"])
def walked(request, shared_browser, standing_office):
    """A phone in the middle of a round, in one language."""
    context = shared_browser.new_context(viewport={"width": 412, "height": 823}, locale="es-MX", has_touch=True)
    page = context.new_page()
    in_a_round(page, standing_office, request.param)
    page.office = standing_office
    yield page
    context.close()


@pytest.mark.parametrize("screen", SCREENS)
def test_axe_targets_and_width(walked, screen):
    hand.go(walked, walked.office, f"order/{walked.office.order}" if screen == "order" else screen)
    walked.wait_for_timeout(50)
    found = axe.look(walked, RULES)
    assert found.violations_count == 0, found.generate_report()
    assert walked.evaluate(SMALL_TARGETS) == []
    assert walked.evaluate(CLOSE_TARGETS) == []
    if screen in WITH_DETAILS:
        walked.locator("main summary").first.click()
        assert walked.evaluate(CLOSE_TARGETS) == []
    walked.set_viewport_size({"width": 320, "height": 640})
    wide, broken, close = (walked.evaluate(script) for script in (WIDTH, BROKEN_WORDS, CLOSE_TARGETS))
    walked.set_viewport_size({"width": 412, "height": 823})
    assert (wide <= 320, broken, close) == (True, [], []), wide


def test_dark_surroundings_keep_the_contrast(walked):
    walked.emulate_media(color_scheme="dark")
    for screen in ("", "reading", "count/VS-01", "note/load/VS-01", "sending"):
        hand.go(walked, walked.office, screen)
        found = axe.look(walked, RULES)
        assert found.violations_count == 0, found.generate_report()
    walked.emulate_media(color_scheme="light")


@pytest.fixture(scope="module")
def large_text_browser(playwright, chromium_path):
    """A Chromium whose reader set the text to twice the usual size."""
    browser = playwright.chromium.launch(executable_path=chromium_path, args=[*ARGS, "--blink-settings=defaultFontSize=32"])
    yield browser
    browser.close()


@pytest.mark.parametrize("language", ["es", "en"])
def test_text_of_twice_the_size_still_fits(large_text_browser, standing_office, language):
    context = large_text_browser.new_context(viewport={"width": 412, "height": 823}, locale="es-MX", has_touch=True)
    page = context.new_page()
    in_a_round(page, standing_office, language)
    for screen in SCREENS:
        hand.go(page, standing_office, f"order/{standing_office.order}" if screen == "order" else screen)
        if screen == "reading":
            hand.key(page, "888888")
            assert page.locator("#brix .big").inner_text() == "888888"
        page.wait_for_timeout(50)
        assert page.evaluate("() => getComputedStyle(document.documentElement).fontSize") == "36px", "the phone follows the reader's text size"
        for width, height in ((412, 823), (320, 640)):
            page.set_viewport_size({"width": width, "height": height})
            wide, broken, small, close = (page.evaluate(script) for script in (WIDTH, BROKEN_WORDS, SMALL_TARGETS, CLOSE_TARGETS))
            assert (wide <= width, small, close) == (True, [], []), (screen, width, wide)
            if width == 412:
                assert broken == [], screen
        page.set_viewport_size({"width": 412, "height": 823})
    context.close()


def test_targets_stand_apart_after_a_round_and_beside_an_open_walk(shared_browser, standing_office):
    context = shared_browser.new_context(viewport={"width": 412, "height": 823}, locale="es-MX", has_touch=True, geolocation={"latitude": 20.7015, "longitude": -102.3985, "accuracy": 6}, permissions=["geolocation"])
    page = context.new_page()
    in_a_round(page, standing_office, "es")
    hand.go(page, standing_office, "reading")
    hand.finish_round(page)
    assert page.locator("#next").count() == 1 and page.locator(".list .line").count() >= 1
    assert page.evaluate(CLOSE_TARGETS) == [] and page.evaluate(SMALL_TARGETS) == []
    hand.go(page, standing_office, "walk/VS-01")
    page.locator("#start-walk, #start, main .act").first.click()
    hand.go(page, standing_office, "")
    walk = page.locator("main > a[href^='#/walk/']")
    walk.wait_for()
    assert page.evaluate(CLOSE_TARGETS) == []
    gap = page.evaluate("() => document.querySelector('main h1').getBoundingClientRect().top - document.querySelector('main > a[href^=\"#/walk/\"]').getBoundingClientRect().bottom")
    assert gap >= 8
    context.close()


def test_text_doubled_by_zoom_of_the_root_still_fits(walked):
    for screen in SCREENS:
        hand.go(walked, walked.office, f"order/{walked.office.order}" if screen == "order" else screen)
        walked.evaluate("() => { document.documentElement.style.fontSize = '36px'; }")
        wide, broken = walked.evaluate(WIDTH), walked.evaluate(BROKEN_WORDS)
        walked.evaluate("() => { document.documentElement.style.fontSize = ''; }")
        assert (wide <= 412, broken) == (True, []), (screen, wide)


def test_the_language_is_complete_and_no_code_shows(walked):
    for screen in SCREENS:
        hand.go(walked, walked.office, screen)
        words = walked.locator("body").inner_text()
        assert "undefined" not in words and "phone." not in words and "{" not in words and "_" not in words.replace("__", ""), (screen, words)
