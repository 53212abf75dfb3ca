"""A new version waits for a tap; a corrupt one is refused by its digests and the old goes on."""

from __future__ import annotations

import shutil

import pytest

from webapp import STATIC

from . import hand, standby
from .office import listening, wait_until

pytestmark = pytest.mark.browser


def serve_release(office, folder, *spoil):
    office.stop()
    office.process = standby.run("tests.browser.releases", [str(office.estate), str(office.port), str(folder), *spoil], office.log)
    wait_until(lambda: listening(office.port), "the other release is served")


def build_of(page):
    return page.locator("script[type=module]").get_attribute("src").split("/")[2]


def look_for_update(page):
    page.evaluate("() => navigator.serviceWorker.getRegistration('/field/').then((registration) => registration.update().catch(() => null))")


def test_update_waits_for_a_tap_and_a_corrupt_one_is_refused(office, page, tmp_path):
    hand.enrol(page, office)
    hand.start_round(page, office)
    hand.read(page, "24.2")
    hand.wait_sent(page)
    old = build_of(page)
    newer = tmp_path / "field"
    shutil.copytree(STATIC / "field", newer)
    (newer / "style.css").write_text((newer / "style.css").read_text() + "\n/* next */\n")

    serve_release(office, newer, "app.js")
    look_for_update(page)
    page.wait_for_timeout(1500)
    assert page.locator(".fresh").count() == 0, "a corrupt version must not be offered"
    page.reload()
    hand.ready(page)
    assert build_of(page) == old and page.locator("main").get_attribute("data-screen") == "reading"

    serve_release(office, newer)
    look_for_update(page)
    page.wait_for_selector(".fresh")
    page.reload()
    hand.ready(page)
    assert build_of(page) == old, "the new version waits until someone takes it"
    page.wait_for_selector(".fresh")
    with page.expect_navigation():
        page.locator(".fresh button").click()
    hand.ready(page)
    assert build_of(page) != old
    assert page.locator("h1").inner_text().endswith("Lectura 2"), "the open round is still there"


def test_the_browser_would_install_it(office, page):
    hand.enrol(page, office)
    session = page.context.new_cdp_session(page)
    assert session.send("Page.getAppManifest")["errors"] == []
    faults = session.send("Page.getInstallabilityErrors")["installabilityErrors"]
    assert [f for f in faults if f["errorId"] != "in-incognito"] == []
