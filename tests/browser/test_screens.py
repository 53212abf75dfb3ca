"""Every screen of the phone, in both languages: axe finds nothing, a glove hits it, nothing overflows."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from . import hand

pytestmark = pytest.mark.browser
SCREENS = ("", "who", "plots", "plot/VS-01", "begin/VS-01", "reading", "count/VS-01", "note/weighing/VS-01", "note/age_check/VS-01", "note/marking/VS-01",
           "note/load/VS-01", "note/lab/VS-01", "note/labor/VS-01", "note/loss/VS-01", "note/remark/VS-01", "orders", "order", "sending", "log", "more", "map", "walk/VS-01", "walk")
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}}

SMALL_TARGETS = """() => [...document.querySelectorAll('button, a[href], input, textarea, summary, select')].filter((node) => node.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true})).map((node) => {
  const box = (node.closest('label') ?? node).getBoundingClientRect();
  return [node.id || node.innerText || node.name, Math.round(box.width), Math.round(box.height)];
}).filter(([, width, height]) => width < 48 || height < 48)"""

CLOSE_TARGETS = """() => {
  const boxes = [...new Set([...document.querySelectorAll('main button, main a[href], main .choices label, main summary')].filter((node) => node.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true})))]
    .map((node) => [node.innerText, node.getBoundingClientRect(), node.closest('.list')]);
  const close = [];
  boxes.forEach(([a, p, inList], i) => boxes.slice(i + 1).forEach(([b, q, other]) => {
    if (inList && inList === other) return;                            // lines of a list are divided by a rule
    const apart = Math.max(Math.max(p.left, q.left) - Math.min(p.right, q.right), Math.max(p.top, q.top) - Math.min(p.bottom, q.bottom));
    if (apart < 7.5) close.push([a, b, apart]);
  }));
  return close;
}"""


@pytest.fixture(scope="module", params=["es", "en"])
def walked(request, shared_browser, standing_office):
    """A phone in the middle of a round, in one language."""
    context = shared_browser.new_context(viewport={"width": 412, "height": 823}, locale="es-MX", has_touch=True)
    page = context.new_page()
    hand.enrol(page, standing_office)
    hand.start_round(page, standing_office)
    for value in ("24.1", "23.0", "25.2"):
        hand.read(page, value)
    hand.go(page, standing_office, "more")
    page.locator(f"input[name=language][value={request.param}]").check()
    page.wait_for_function("(lang) => document.documentElement.lang.startsWith(lang)", arg=request.param)
    page.office = standing_office
    yield page
    context.close()


@pytest.mark.parametrize("screen", SCREENS)
def test_axe_targets_and_width(walked, screen):
    hand.go(walked, walked.office, f"order/{walked.office.order}" if screen == "order" else screen)
    walked.wait_for_timeout(50)
    found = Axe().run(walked, options=RULES)
    assert found.violations_count == 0, found.generate_report()
    assert walked.evaluate(SMALL_TARGETS) == []
    assert walked.evaluate(CLOSE_TARGETS) == []
    walked.set_viewport_size({"width": 320, "height": 640})
    wide = walked.evaluate("() => document.documentElement.scrollWidth")
    walked.set_viewport_size({"width": 412, "height": 823})
    assert wide <= 320


def test_dark_surroundings_keep_the_contrast(walked):
    walked.emulate_media(color_scheme="dark")
    for screen in ("", "reading", "count/VS-01", "note/load/VS-01", "sending"):
        hand.go(walked, walked.office, screen)
        found = Axe().run(walked, options=RULES)
        assert found.violations_count == 0, found.generate_report()
    walked.emulate_media(color_scheme="light")


def test_double_text_still_fits(walked):
    for screen in ("", "reading", "count/VS-01", "note/load/VS-01"):
        hand.go(walked, walked.office, screen)
        walked.evaluate("() => { document.documentElement.style.fontSize = '36px'; }")
        assert walked.evaluate("() => document.documentElement.scrollWidth") <= 412, screen
        walked.evaluate("() => { document.documentElement.style.fontSize = ''; }")


def test_the_language_is_complete_and_no_code_shows(walked):
    for screen in SCREENS:
        hand.go(walked, walked.office, screen)
        words = walked.locator("body").inner_text()
        assert "undefined" not in words and "phone." not in words and "{" not in words and "_" not in words.replace("__", ""), (screen, words)
