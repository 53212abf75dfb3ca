"""What waits, on a phone and without a script: short enough to look over, every form reached by keyboard, nothing wider than the screen."""

import shutil

import pytest

from webapp.commands.seeding import SIGN_INS
from webapp.database import open_estate
from webapp.survey import service as survey

from . import axe
from .office import Office
from .test_desk import DESK, NARROW, RULES, WIDER_THAN_THE_PAGE, WITHOUT_LABEL

pytestmark = pytest.mark.browser
PHONE = {"width": 390, "height": 844}
LOW = """() => [...document.querySelectorAll('main a, main button, main summary, main input:not([type=hidden]), main select')].filter((node) => node.checkVisibility() && node.getBoundingClientRect().height < 47.5).map((node) => node.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def office(demo_made, tmp_path_factory):
    folder = tmp_path_factory.mktemp("held")
    opened = Office(shutil.copy(demo_made, folder / "demo.db"), folder / "server.log").start()
    yield opened
    opened.stop()


@pytest.fixture()
def seat(shared_browser, office, request):
    """A page of the head; a phone without a script unless the test asks for one."""
    context = shared_browser.new_context(viewport=PHONE, locale="es-MX", has_touch=True, java_script_enabled=getattr(request, "param", False))
    context.set_default_timeout(15_000)
    page = context.new_page()
    page.goto(f"{office.address}/sign-in")
    page.fill("input[name=login]", "jefa")
    page.fill("input[name=password]", next(password for _, login, password, _ in SIGN_INS if login == "jefa"))
    page.click("button.act")
    yield page
    context.close()


@pytest.mark.parametrize("language", ["es", "en"])
def test_the_first_page_is_short_and_each_record_is_reached_by_keyboard(seat, office, language):
    seat.goto(f"{office.address}/held?lang={language}")
    assert seat.evaluate("() => document.documentElement.scrollHeight") <= 6000
    assert seat.evaluate(LOW) == []
    way = seat.locator("article:has(h3:has-text('LH-47')) a.tap")
    way.focus()
    seat.keyboard.press("Enter")
    seat.wait_for_url("**group=*")
    db = open_estate(office.estate)
    mine = {h["id"] for h in survey.held(db) if h["plot"] == "LH-47"}
    db.conn.close()
    folded = seat.locator("details.one")
    assert folded.count() == len(mine)
    last = folded.last
    assert not last.locator("button.act").first.is_visible()
    last.locator("summary").focus()
    seat.keyboard.press("Enter")
    assert last.locator("input[name='f.plot']").is_visible() and seat.evaluate(LOW) == []
    assert seat.evaluate("() => document.documentElement.scrollWidth") <= PHONE["width"], seat.evaluate(WIDER_THAN_THE_PAGE)


def test_one_is_set_aside_from_its_group_and_leads_back_to_it(seat, office):
    seat.goto(f"{office.address}/held")
    seat.locator("article:has(h3:has-text('MT-44')) a.tap").click()
    seat.wait_for_url("**group=*")
    there = seat.locator("details.one").count()
    seat.locator("details.one summary").last.click()
    seat.locator("details.one input[name=why]").last.fill("dedazo")
    seat.locator("details.one form[action$=aside] button").last.click()
    seat.wait_for_url("**done=aside&group=*")
    assert seat.locator("details.one").count() == there - 1 and seat.locator("[role=status]").is_visible()


@pytest.mark.parametrize("seat", [True], indirect=True)
@pytest.mark.parametrize("language", ["es", "en"])
def test_open_groups_are_sound(seat, office, language):
    """A group's page and a kind of doubts with everything unfolded: labels, contrast, nothing beyond the edge at twice the letters or 320 px."""
    seat.goto(f"{office.address}/held?lang={language}")
    group = seat.locator("article:has(h3:has-text('LH-47')) a.tap").get_attribute("href")
    kind = seat.locator("details.kind").first.get_attribute("id").removeprefix("doubts-")
    for place in (group, f"/held?doubts={kind}", f"/held?open={kind}"):
        seat.goto(office.address + place)
        seat.evaluate("() => document.querySelectorAll('details').forEach((one, at) => { one.open = at < 6; })")
        assert seat.evaluate(WITHOUT_LABEL) == []
        for size, letters in ((DESK, "32px"), (NARROW, "")):
            seat.set_viewport_size(size)
            seat.evaluate("(letters) => { document.documentElement.style.fontSize = letters; }", letters)
            assert seat.evaluate("() => document.documentElement.scrollWidth") <= size["width"], (place, seat.evaluate(WIDER_THAN_THE_PAGE))
        for size in (DESK, PHONE):
            seat.set_viewport_size(size)
            found = axe.look(seat, RULES)
            assert found.violations_count == 0, found.generate_report()
