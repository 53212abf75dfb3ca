"""The sender against what the road and the office may do, where a person would see no more than "not yet"."""

from __future__ import annotations

import json

import pytest

from webapp.database import rows

from . import hand

pytestmark = pytest.mark.browser

_WITH = """async ([base, given]) => {
  const [outbox, photos] = await Promise.all(["outbox.js", "photos.js"].map((name) => import(`${base}/${name}`)));
  return (%s)(outbox, photos, given);
}"""


def using(page, function, given=None):
    """Run a function of the phone's own modules, as served."""
    base = page.evaluate("() => new URL(document.querySelector('script[type=module]').src).pathname.split('/').slice(0, 3).join('/')")
    return page.evaluate(_WITH % function, [base, given])


def save(page, *texts):
    using(page, "(outbox, photos, texts) => outbox.save(...texts.map((text) => ({ kind: 'remark', plot: 'VS-01', fields: { text } })))", list(texts))


def tap_send(page, office):
    hand.go(page, office, "sending")
    with page.expect_event("requestfinished", lambda request: request.url.endswith("/field/records")):
        page.click("#send")
    page.wait_for_selector("body:not([data-sending=sending])", state="attached")
    page.wait_for_timeout(300)


def entries(page):
    return using(page, "(outbox) => outbox.latest(100)")


def unsent(page):
    return sorted(json.loads(entry["bytes"])["text"] for entry in entries(page) if entry["state"] == "unsent")


def test_refused_records_side_by_side_hold_up_nothing_behind_them(office, page):
    hand.enrol(page, office)
    page.route("**/field/records", lambda route: route.fulfill(status=500, content_type="application/problem+json", body='{"title": "No se pudo"}')
               if "MALA" in (route.request.post_data or "") else route.continue_())
    save(page, "MALA 1", "MALA 2", "MALA 3", "MALA 4", *(f"nota {n}" for n in range(5)))
    for _ in range(3):
        tap_send(page, office)
    assert unsent(page) == ["MALA 1", "MALA 2", "MALA 3", "MALA 4"] and len(office.records()) == 5
    page.unroute("**/field/records")
    tap_send(page, office)
    hand.wait_sent(page)
    assert len(office.records()) == 9


def test_bytes_changed_on_the_road_are_sent_again_as_they_were_and_no_record_is_blamed(office, page):
    hand.enrol(page, office)
    sent = []

    def spoil(route):
        body = route.request.post_data_buffer
        sent.append(body)
        route.continue_(post_data=body.replace(b"brecha", b"brechx"))

    page.route("**/field/records", spoil)
    save(page, "agua en la brecha", "otra nota")
    tap_send(page, office)
    page.wait_for_selector("body[data-sending=portal]", state="attached")
    assert office.records() == [] and len(unsent(page)) == 2
    assert len(sent) >= 3 and len(set(sent)) == len(sent) // 3, "each batch three times, whole and byte for byte"
    assert not any(entry.get("trouble") for entry in entries(page))
    page.unroute("**/field/records")
    tap_send(page, office)
    hand.wait_sent(page)
    assert [json.loads(row["bytes"])["text"] for row in office.records()] == ["agua en la brecha", "otra nota"]


def test_an_altered_reply_changes_nothing(office, page):
    hand.enrol(page, office)

    def alter(route):
        answer = route.fetch()
        route.fulfill(response=answer, body=answer.text().replace("kept", "held"))

    page.route("**/field/records", alter)
    save(page, "agua en la brecha")
    tap_send(page, office)
    page.wait_for_selector("body[data-sending=portal]", state="attached")
    assert unsent(page) == ["agua en la brecha"] and len(office.records()) == 1
    page.unroute("**/field/records")
    tap_send(page, office)
    hand.wait_sent(page)
    assert [entry["state"] for entry in entries(page)] == ["already"]


def test_a_restored_office_gets_records_and_photos_again_from_a_phone_that_has_nothing_to_send(office, page):
    hand.enrol(page, office)
    save(page, "antes", "después")
    using(page, """async (outbox, photos) => {
      const digest = await photos.keep(new Blob([new Uint8Array([0xff, 0xd8, 0xff, 0xe0, 1, 2, 3])], { type: "image/jpeg" }), "01900000-0000-7000-8000-000000000001");
      await outbox.save({ id: "01900000-0000-7000-8000-000000000001", kind: "photo", plot: "VS-01", fields: { digest } });
    }""")
    tap_send(page, office)
    hand.wait_sent(page)
    assert len(office.records()) == 3 and len(rows(office.db, "SELECT digest FROM photo")) == 1
    with office.db.conn:
        office.db.execute("DELETE FROM photo")
        office.db.execute("DELETE FROM record WHERE fields LIKE '%después%'")
        office.db.execute("UPDATE estate SET store_epoch = 'otra'")
    page.reload()
    hand.ready(page)
    page.wait_for_function("() => document.body.dataset.sending === 'done'")
    for _ in range(100):
        if len(office.records()) == 3 and rows(office.db, "SELECT digest FROM photo"):
            break
        page.wait_for_timeout(100)
    assert len(office.records()) == 3 and len(rows(office.db, "SELECT digest FROM photo")) == 1


def test_a_clock_years_ahead_makes_the_phone_forget_nothing(office, page):
    hand.enrol(page, office)
    save(page, "nota")
    tap_send(page, office)
    hand.wait_sent(page)
    assert using(page, "async (outbox) => { const true_now = Date.now; Date.now = () => true_now() + 3e10; try { return await outbox.prune(); } finally { Date.now = true_now; } }") == 0
    assert len(entries(page)) == 1
