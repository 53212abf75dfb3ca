"""A phone without room: what it says, and what it gives up first."""

import pytest

from . import hand

pytestmark = pytest.mark.browser

def test_a_full_phone_says_so_and_keeps_what_it_has(office, phone):
    page = phone.start()
    hand.enrol(page, office)
    phone.quit()  # Chromium remembers for half a minute that there was room
    page = phone.start()
    session = page.context.new_cdp_session(page)
    session.send("Storage.overrideQuotaForOrigin", {"origin": office.address, "quotaSize": 1000})
    hand.go(page, office, "note/remark/VS-01")
    page.fill("#f-text", "Ya no cabe")
    page.click("#store")
    page.wait_for_selector("#store:not([aria-busy])")
    page.wait_for_selector(".trouble")
    assert "lleno" in page.locator(".trouble").inner_text()
    assert office.records() == [] and page.locator("#f-text").input_value() == "Ya no cabe", "what was typed is still on the screen"
    session.send("Storage.overrideQuotaForOrigin", {"origin": office.address})
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    assert len(office.records()) == 1


def test_a_full_phone_gives_up_photos_of_older_days_first(office, page):
    """Only photos that the office has, and today's only when the others made too little room; never one that still waits."""
    hand.enrol(page, office)
    left = page.evaluate("""async () => {
      const base = document.querySelector('script[type=module]').src.replace('app.js', '');
      const { got, within } = await import(base + 'db.js'), { withRoom } = await import(base + 'photos.js');
      const now = 1.8e12, day = 864e5, bytes = new ArrayBuffer(4), left = [];
      const all = () => within('photos', 'readonly', (tx) => got(tx.objectStore('photos').getAllKeys()));
      const full = (times) => async () => { if (times-- > 0) throw new DOMException('full', 'QuotaExceededError'); left.push(await all()); };
      await within(['photos', 'meta'], 'readwrite', async (tx) => {
        tx.objectStore('meta').put(now, 'server_ms');
        for (const [digest, state, receipt_ms] of [['a_week', 'kept', now - 7 * day], ['today', 'kept', now - day / 4], ['waiting', 'unsent', null]])
          tx.objectStore('photos').put({ digest, record: 'r', media: 'image/jpeg', bytes, state, receipt_ms });
      });
      for (const times of [0, 1, 1]) await withRoom(full(times));
      try { await withRoom(full(9)); } catch (error) { left.push(error.name); }
      left.push(await all());
      await within('photos', 'readwrite', (tx) => tx.objectStore('photos').clear());
      return left;
    }""")
    assert left == [["a_week", "today", "waiting"], ["today", "waiting"], ["waiting"], "QuotaExceededError", ["waiting"]]
