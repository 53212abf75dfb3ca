"""The page that waits for a large estate's first reckoning, in a browser: it asks seldom, says when it is done, and opens what was asked for."""

from __future__ import annotations

import pytest

from tests.pages.test_waiting import large, reckon  # noqa: F401  (a fixture)
from webapp.database import atomic

from . import hand
from .unserved import unserved

pytestmark = pytest.mark.browser


def test_it_announces_and_opens_itself(large, shared_browser):  # noqa: F811
    """Without a server: the browser's requests go to the test client; its clock is moved by hand."""
    client, db = large
    page = shared_browser.new_page()
    page.clock.install()
    asked = unserved(page, client)
    page.goto("http://rancho.test/estate")
    assert "se abre sola" in page.inner_text("#told")
    for _ in range(12):
        page.clock.run_for(5_000)
        page.wait_for_timeout(40)  # its question goes out and comes back
    questions = [path for path in asked if path.startswith("/jobs/")]
    assert 2 <= len(questions) <= 7, "it asks ever more seldom"
    reckon(db)
    with atomic(db):
        db.execute("UPDATE job SET state = 'done', done = 1")
    page.clock.run_for(21_000)
    page.wait_for_function("() => document.querySelector('#told').textContent.startsWith('Ya está')")
    page.clock.run_for(3_000)
    page.wait_for_selector("#mass-all")
    page.close()


def test_a_phone_says_that_the_office_is_still_reckoning_and_stops_saying_it(standing_office, page):
    hand.enrol(page, standing_office)
    assert page.locator("#reckoning").count() == 0
    page.evaluate("""async () => {
      const base = document.querySelector('script[type=module]').src.replace('app.js', ''), { read, write } = await import(base + 'db.js');
      await write('pack', { ...(await read('pack')), visits: [], reckoning: true });
    }""")
    page.reload()
    hand.ready(page)
    page.wait_for_selector("#reckoning")
    assert "todavía calcula el rancho" in page.inner_text("#reckoning") and page.locator("#begin, #choose").count() == 1
    page.evaluate("""async () => {
      const base = document.querySelector('script[type=module]').src.replace('app.js', ''), { write } = await import(base + 'db.js');
      await write('pack_tag', null);
    }""")
    page.reload()
    hand.ready(page)
    page.wait_for_selector("#reckoning", state="detached")
