"""Nothing is lost: server down with its port closed, browser killed by signal, replies lost or foreign."""

from __future__ import annotations

import json

import pytest

from webapp.people import service as people

from . import hand

pytestmark = pytest.mark.browser
VALUES = ["24.2", "22.8", "25.5", "21.0", "26.1", "24.0", "23.3"]


def kept(office, kind):
    return [row for row in office.records() if row["kind"] == kind]


def test_survives_server_down_kill_and_reopen_then_sends_once(office, phone):
    page = phone.start()
    hand.enrol(page, office)
    phone.quit()
    office.stop()

    page = phone.start()
    page.goto(f"{office.address}/field/")
    hand.ready(page)
    hand.start_round(page, office)
    for value in VALUES[:6]:
        hand.read(page, value)
    hand.key(page, VALUES[6])
    page.click("#store")
    page.wait_for_function("() => document.querySelector('h1').innerText.endsWith('8')")
    assert hand.unsent(page) == 8
    phone.kill()

    page = phone.start()
    page.goto(f"{office.address}/field/")
    hand.ready(page)
    assert hand.unsent(page) == 8, "the round and its seven readings are there after the kill"
    assert "8 sin enviar" in page.locator("#bar").inner_text()
    page.click("#go-on")
    page.wait_for_selector("main[data-screen=reading]")
    assert page.locator("h1").inner_text().endswith("Lectura 8")
    hand.read(page, "24.6")
    before = page.evaluate(UNSENT_BYTES)
    phone.kill()

    office.start()
    page = phone.start()
    page.goto(f"{office.address}/field/")
    hand.ready(page)
    hand.wait_sent(page)
    for _ in range(3):
        hand.go(page, office, "sending")
        page.click("#send")
        page.reload()
        hand.ready(page)
    assert "Todo enviado" in page.locator("#bar").inner_text()
    readings = kept(office, "reading")
    assert [json.loads(row["fields"])["brix_raw_deg"] for row in readings] == [*map(float, VALUES), 24.6]
    assert len(kept(office, "round")) == 1
    assert len(office.records()) == 9
    assert {row["id"]: bytes(row["bytes"]).decode() for row in office.records()} == before, "the bytes that were saved are the bytes that arrived"
    assert all(row["state"] == "kept" for row in office.records()), [(row["kind"], row["fields"]) for row in office.records() if row["state"] != "kept"]


UNSENT_BYTES = """() => new Promise((resolve) => {
  const open = indexedDB.open("pinario");
  open.onsuccess = () => {
    const all = open.result.transaction("records").objectStore("records").getAll();
    all.onsuccess = () => { open.result.close(); resolve(Object.fromEntries(all.result.map((entry) => [entry.id, entry.bytes]))); };
  };
})"""


def remark(page, office, text, plot="VS-01"):
    hand.go(page, office, f"note/remark/{plot}")
    page.locator("textarea").first.fill(text)
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")


def test_a_lost_reply_is_sent_again_and_doubles_nothing(office, page):
    hand.enrol(page, office)
    page.route("**/field/records", lambda route: (route.fetch(), route.abort()))
    remark(page, office, "El portón está caído")
    page.wait_for_selector("body[data-sending=offline]", state="attached")
    assert hand.unsent(page) == 1
    assert len(office.records()) == 1, "the office has it, the phone does not know"
    page.unroute("**/field/records")
    hand.go(page, office, "sending")
    page.click("#send")
    hand.wait_sent(page)
    assert len(office.records()) == 1
    assert "ya estaba" in page.locator("main").inner_text()


@pytest.mark.parametrize("answer, outcome", [
    ({"status": 200, "content_type": "text/html", "body": "<html>Bienvenido al Wi-Fi</html>"}, "portal"),
    ({"status": 200, "content_type": "application/json", "body": '{"receipts": [{"id": "'}, "portal"),
    ({"status": 503, "headers": {"Retry-After": "120"}, "body": "busy"}, "server"),
])
def test_a_foreign_or_broken_answer_changes_nothing(office, page, answer, outcome):
    hand.enrol(page, office)
    page.route("**/field/records", lambda route: route.fulfill(**answer))
    remark(page, office, "Agua en la brecha")
    page.wait_for_selector(f"body[data-sending={outcome}]", state="attached")
    assert hand.unsent(page) == 1
    page.unroute("**/field/records")
    hand.go(page, office, "sending")
    page.click("#send")
    hand.wait_sent(page)
    assert len(office.records()) == 1


def test_a_revoked_phone_keeps_everything_and_says_enrol_again(office, page):
    hand.enrol(page, office)
    people.revoke_device(office.db, people.devices(office.db)[0]["id"], "prueba")
    remark(page, office, "Se quebró la broca")
    page.wait_for_selector("body[data-sending=enrol]", state="attached")
    assert hand.unsent(page) == 1
    assert "falta alta" in page.locator("#bar").inner_text()
    page.goto(f"{office.address}/field/#enrol={office.invite()}")
    hand.wait_sent(page)
    assert len(office.records()) == 1


def test_a_spent_code_is_refused_in_words(office, page):
    code = office.invite()
    people.enrol(office.db, code, "otro")
    page.goto(f"{office.address}/field/#enrol={code}")
    hand.ready(page)
    page.wait_for_function("() => document.querySelector('.fault').innerText.length > 10")
    assert page.locator("main").get_attribute("data-screen") == "enrol"


def test_one_bad_record_does_not_hold_up_the_others(office, page):
    hand.enrol(page, office)
    page.context.set_offline(True)
    for i in range(5):
        remark(page, office, "MALA" if i == 2 else f"nota {i}")
    page.route("**/field/records", lambda route: route.fulfill(status=400, content_type="application/problem+json", body='{"title": "No se puede leer"}')
               if "MALA" in route.request.post_data else route.continue_())
    page.context.set_offline(False)
    hand.go(page, office, "sending")
    page.click("#send")
    page.wait_for_selector("body[data-unsent='1'][data-sending=some]", state="attached")
    assert len(office.records()) == 4
    assert "No se puede leer" in page.locator("main").inner_text()
    page.unroute("**/field/records")
    page.click("#send")
    hand.wait_sent(page)
    assert len(office.records()) == 5


def test_a_restored_office_gets_again_what_it_lost(office, page):
    hand.enrol(page, office)
    remark(page, office, "antes del respaldo")
    hand.wait_sent(page)
    remark(page, office, "después del respaldo")
    hand.wait_sent(page)
    with office.db.conn:
        office.db.execute("DELETE FROM record WHERE fields LIKE '%después%'")
        office.db.execute("UPDATE estate SET store_epoch = 'otra'")
    remark(page, office, "después de restaurar")
    hand.wait_sent(page)
    texts = sorted(json.loads(row["fields"])["text"] for row in office.records())
    assert texts == ["antes del respaldo", "después de restaurar", "después del respaldo"]
