"""What goes wrong on a phone without anybody's fault: each is told in words, and nothing entered is lost."""

from __future__ import annotations

import json
import struct

import pytest

from webapp import answers
from webapp.database import atomic
from webapp.land import service as land
from webapp.people import service as people
from webapp.survey import service as survey

from . import hand
from .conftest import PLACE, square

pytestmark = pytest.mark.browser

SHIFTED = """(shift) => {
  const Real = Date;
  globalThis.Date = class extends Real {
    constructor(...given) { given.length ? super(...given) : super(Real.now() + shift); }
    static now() { return Real.now() + shift; }
  };
}"""


def remark(page, office, text, plot="VS-01"):
    hand.go(page, office, f"note/remark/{plot}")
    page.fill("#f-text", text)
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")


def refused_in_words(page, office, code) -> str:
    page.goto(f"{office.address}/field/#enrol={code}")
    hand.ready(page)
    page.wait_for_function("() => document.querySelector('.fault')?.innerText.length > 10")
    assert page.locator("main").get_attribute("data-screen") == "enrol"
    return page.locator(".fault").inner_text()


def test_an_old_code_a_used_one_and_one_of_another_estate_are_refused_in_words(office, page):
    old = office.invite()
    with atomic(office.db):
        office.db.execute("UPDATE enrol_code SET expires_at = '2020-01-01T00:00:00.000000+00:00'")
    used = office.invite()
    people.enrol(office.db, used, "otro")
    for code in (old, used, "ABCDEFGHJKMN"):
        assert "código" in refused_in_words(page, office, code).lower()
        page.goto("about:blank")
    assert len([d for d in people.devices(office.db) if d["enrolled_at"]]) == 1


@pytest.mark.parametrize("days", [-9000, 5400])
def test_a_clock_years_off_keeps_both_times_and_says_so(office, page, days):
    hand.enrol(page, office)
    page.add_init_script(f"({SHIFTED})({days * 86_400_000})")
    page.reload()
    hand.ready(page)
    remark(page, office, "reloj mal")
    hand.wait_sent(page)
    row = office.records()[0]
    assert row["state"] == "kept" and row["taken_at"][:4] != row["taken_fixed"][:4]
    assert abs(float(office.db.execute("SELECT julianday(taken_fixed) - julianday(received_at) FROM record").fetchone()[0])) < 1 / 288, "within five minutes of when it came"
    hand.go(page, office, "sending")
    assert "reloj" in page.locator("main").inner_text().lower()


def bitmap(width: int, height: int) -> bytes:
    """A real picture of any size: an uncompressed bitmap, grey with stripes."""
    row = bytes(range(256)) * (width * 3 // 256 + 1)
    body = row[: width * 3 + (-width * 3) % 4] * height
    return b"BM" + struct.pack("<IHHI", 54 + len(body), 0, 0, 54) + struct.pack("<IiiHHIIiiII", 40, width, height, 1, 24, 0, len(body), 2835, 2835, 0, 0) + body


def test_a_photo_of_forty_megabytes_is_made_small_and_what_is_no_picture_is_told(office, page, tmp_path):
    hand.enrol(page, office)
    (tmp_path / "grande.bmp").write_bytes(bitmap(4000, 3500))
    (tmp_path / "nada.jpg").write_bytes(b"esto no es una foto" * 1000)
    assert (tmp_path / "grande.bmp").stat().st_size > 40_000_000
    hand.go(page, office, "note/remark/VS-01")
    page.fill("#f-text", "con foto")
    page.set_input_files("#photo", tmp_path / "nada.jpg")
    page.wait_for_function("() => document.querySelector('main').innerText.includes('no es una foto')")
    page.set_input_files("#photo", tmp_path / "grande.bmp")
    page.wait_for_function("() => document.querySelector('main').innerText.includes('Foto lista')")
    page.click("#store")
    page.wait_for_selector("main[data-screen=plot]")
    hand.wait_sent(page)
    page.wait_for_function("() => new Promise((resolve) => { const open = indexedDB.open('pinario'); open.onsuccess = () => { const asked = open.result.transaction('photos').objectStore('photos').index('state').count('unsent'); asked.onsuccess = () => { open.result.close(); resolve(asked.result === 0); }; }; })")
    size, media, data = office.db.execute("SELECT size, media, bytes FROM photo").fetchone()
    assert size <= 200 * 1024 and media == "image/jpeg" and bytes(data)[:3] == b"\xff\xd8\xff"


def test_storage_denied_is_told_at_once(office, page):
    page.add_init_script("IDBFactory.prototype.open = () => { throw new DOMException('', 'SecurityError'); }")
    page.goto(f"{office.address}/field/")
    page.wait_for_function("() => document.querySelector('h1').innerText.includes('no deja guardar')")
    assert "modo privado" in page.locator("main").inner_text()


def test_storage_wiped_says_what_is_lost_and_nothing_with_a_receipt_is(office, page):
    hand.enrol(page, office)
    remark(page, office, "tiene acuse")
    hand.wait_sent(page)
    page.context.set_offline(True)
    remark(page, office, "sin acuse")
    session = page.context.new_cdp_session(page)
    session.send("Storage.clearDataForOrigin", {"origin": office.address, "storageTypes": "indexeddb"})
    page.wait_for_function("() => document.querySelector('.trouble')?.innerText.includes('Lo que tenía acuse está en la oficina')")
    page.context.set_offline(False)
    page.reload()
    hand.ready(page)
    assert page.locator("main").get_attribute("data-screen") == "enrol"
    assert [json.loads(row["fields"])["text"] for row in office.records()] == ["tiene acuse"]
    page.goto("about:blank")
    hand.enrol(page, office)
    remark(page, office, "de nuevo")
    hand.wait_sent(page)
    first, second = (row["install"] for row in office.records())
    assert first != second, "a wipe makes another install, so its sequence shows no false hole"


def test_a_plot_that_was_renamed_meanwhile_is_held_with_the_likely_one_proposed(office, page):
    hand.enrol(page, office)
    page.wait_for_selector("#begin")
    page.context.set_offline(True)
    hand.start_round(page, office)
    hand.read(page, "24.2")
    renamed = {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": square(-102.4, 20.7), "properties": {"code": "VS-91", "name": "El Tapia", "zone": "Valle Sur", "parcel": "P-1", "planted_on": "2021-06-01"}}]}
    forget_plot(office.db, "VS-01")
    land.load(office.db, land.read(json.dumps(renamed).encode(), "otra.geojson"), "prueba")
    page.context.set_offline(False)
    hand.go(page, office, "sending")
    page.click("#send")
    hand.wait_sent(page)
    held = survey.held(office.db)
    assert {h["kind"] for h in held} == {"round", "reading"} and all(h["proposal"] == {"plot": "VS-91"} for h in held), [(h["kind"], h["proposal"]) for h in held]
    assert "por revisar" in page.locator("main").inner_text().lower()
    survey.mend_alike(office.db, held[0]["id"], "Rosa")
    assert list(survey.readings(office.db)["plot"]) == ["VS-91"]


def forget_plot(db, code):
    """The plot leaves the land, as when a file with other codes takes its place."""
    with atomic(db):
        db.execute("PRAGMA defer_foreign_keys = ON")
        for table in ("outline", "cohort"):
            db.execute(f"DELETE FROM {table} WHERE plot = ?", [code])
        db.execute("DELETE FROM plot WHERE code = ?", [code])
        answers.bump(db, "land")


def test_two_people_on_one_phone_and_one_person_on_two(office, page, shared_browser):
    hand.enrol(page, office, name="Chuy")
    hand.start_round(page, office)
    hand.read(page, "24.2")
    hand.finish_round(page)
    hand.go(page, office, "who")
    page.fill("#name", "Lupe")
    page.click("#as-sampler")
    page.wait_for_selector("main[data-screen=home]")
    hand.start_round(page, office)
    hand.read(page, "23.0")
    hand.finish_round(page)
    hand.wait_sent(page)
    context = shared_browser.new_context(viewport={"width": 412, "height": 823}, locale="es-MX", geolocation=PLACE, permissions=["geolocation"])
    other = context.new_page()
    hand.enrol(other, office, name="Chuy")
    hand.start_round(other, office)
    hand.read(other, "25.1")
    hand.finish_round(other)
    hand.wait_sent(other)
    context.close()
    rounds = survey.rounds(office.db)
    assert sorted(rounds["people"]) == ["Chuy", "Chuy", "Lupe"] and rounds["install"].nunique() == 2
    assert sorted(survey.readings(office.db)["brix_raw_deg"]) == [23.0, 24.2, 25.1]
    assert all(phone["missing"] == 0 for phone in survey.phones(office.db))


def test_the_office_reads_the_file_of_what_was_not_sent_and_sending_it_later_doubles_nothing(office, page, tmp_path):
    hand.enrol(page, office)
    page.context.set_offline(True)
    for text in ("uno", "dos 🌵", "tres"):
        remark(page, office, text)
    hand.go(page, office, "sending")
    with page.expect_download() as got:
        page.click("#to-file")
    got.value.save_as(tmp_path / got.value.suggested_filename)
    report = survey.load_file(office.db, (tmp_path / got.value.suggested_filename).read_bytes(), got.value.suggested_filename, "Rosa")
    assert (report.kept, report.already, report.held) == (3, 0, 0)
    page.context.set_offline(False)
    page.click("#send")
    hand.wait_sent(page)
    assert len(office.records()) == 3
