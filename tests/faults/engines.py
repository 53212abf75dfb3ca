"""The whole proof on three engines: ``python -m tests.faults --everything`` (or ``python -m tests.faults.engines``).

Gets Firefox ESR and WebKitGTK where it may, then for each engine: opened with the office's port closed, saved, reopened,
sent once; then random faults; then the three spoilt builds in Chromium. A missing engine is a failure, not a pass.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace

from playwright.sync_api import sync_playwright

from tests import browsers
from tests.browser.conftest import settle
from tests.browser.office import Office, listening, wait_until
from webapp.database import rows
from webapp.people import service as people

from . import sabotage
from .phones import PHONES, PATIENCE_MS

FAULTS = {"chromium": 1000, "firefox": 250, "webkit": 300}
TEXTS = ("El portón está caído", "Agua en la brecha", "Ñandú suelto 🌵")

_FILL = """({ at, text }) => { const field = document.querySelector(at); field.focus(); field.value = text; field.dispatchEvent(new Event("input", { bubbles: true })); }"""
_CLICK = "(at) => { document.querySelector(at).click(); }"
_STORED = """() => new Promise((resolve, reject) => {
  const open = indexedDB.open("pinario");
  open.onerror = () => reject(open.error);
  open.onsuccess = () => {
    const all = open.result.transaction("records").objectStore("records").getAll();
    all.onsuccess = () => { open.result.close(); resolve(all.result.map(({ id, bytes, state }) => ({ id, bytes, state }))); };
  };
})"""


class Hand:
    """A person at a phone of any engine: only what stands on the screen, no module of ours."""

    def __init__(self, phone) -> None:
        self.phone = phone

    def wait(self, at: str) -> None:
        self.phone.page.wait_for_selector(at, state="attached", timeout=PATIENCE_MS)

    def do(self, function: str, argument=None):
        return self.phone.evaluate(function, argument)

    def enrol(self, code: str) -> None:
        self.phone.goto(f"/field/#enrol={code}")
        self.wait("#name")
        self.do(_FILL, {"at": "#name", "text": "Chuy"})
        self.do(_CLICK, "#as-sampler")
        self.wait("main[data-screen=home]")
        self.wait("body[data-worker=ready]")

    def remark(self, text: str) -> None:
        self.do("() => { location.hash = '#/note/remark/VS-01'; }")
        self.wait("main[data-screen=note] textarea")
        self.do(_FILL, {"at": "textarea", "text": text})
        self.do(_CLICK, "#store")
        self.wait("main[data-screen=plot]")

    def unsent(self) -> int:
        return int(self.do("() => document.body.dataset.unsent"))

    def stored(self) -> list[dict]:
        return self.do(_STORED)


def proof(playwright, engine: str) -> str:
    """Opened offline, saved, reopened, sent once. Returns what was done, in words; raises AssertionError otherwise."""
    folder = Path(tempfile.mkdtemp(prefix="pinario-proof-"))
    db = settle(folder / "estate.db")
    office = Office(folder / "estate.db", folder / "server.log").start()
    phone = PHONES[engine](playwright, 0, SimpleNamespace(address=office.address), office, folder)
    hand = Hand(phone)
    try:
        phone.open()
        hand.enrol(people.new_device(db, "Teléfono 1", "Cuadrilla 2", "prueba")[1])
        phone.leave()
        office.stop()
        assert not listening(office.port)
        started = time.monotonic()
        phone.back()
        phone.ready()
        opened_ms = (time.monotonic() - started) * 1000
        for text in TEXTS:
            hand.remark(text)
        assert hand.unsent() == len(TEXTS)
        written = {entry["id"]: entry["bytes"] for entry in hand.stored()}
        how = phone.die()
        assert not listening(office.port)
        phone.back()
        phone.ready()
        assert hand.unsent() == len(TEXTS), "what was saved is there after the kill"
        office.start()
        phone.leave()
        phone.back()
        wait_until(lambda: hand.do("() => document.body.dataset.unsent === '0' && document.body.dataset.sending === 'done'"), "everything is sent")
        for _ in range(3):
            phone.leave()
            phone.back()
            phone.ready()
        found = rows(db, "SELECT id, bytes, state FROM record ORDER BY n")
        assert {row["id"]: bytes(row["bytes"]).decode() for row in found} == written and len(found) == len(TEXTS)
        assert [json.loads(row["bytes"])["text"] for row in found] == list(TEXTS)
        assert {entry["state"] for entry in hand.stored()} == {"kept"}, "each was stored by its first sending"
        return f"opened offline in {opened_ms:.0f} ms, {len(TEXTS)} saved, {how}, all there, sent once, bytes the same"
    finally:
        phone.close()
        office.stop()
        db.conn.close()
        shutil.rmtree(folder, ignore_errors=True)


def main() -> int:
    from .__main__ import once, sabotaged

    started, good = time.monotonic(), True
    if browsers.get() is None:
        sys.exit(browsers.WHAT_TO_DO)
    missing = browsers.get_all()
    if missing:
        print(f"Missing: {', '.join(missing)}. {browsers.WHAT_TO_DO_ALL}")
        good = False
    lines = []
    with sync_playwright() as playwright:
        for engine, faults in FAULTS.items():
            if engine in missing:
                lines.append(f"{engine:<10} missing")
                continue
            try:
                print(f"{engine}: {proof(playwright, engine)}", flush=True)
                proved = "proof held"
            except Exception as error:
                proved, good = f"PROOF FAILED: {error}", False
            report = once(playwright, engine, faults, 7, 3 if engine != "webkit" else 2)
            print(report.text(), flush=True)
            good &= report.clean
            counts = report.verdict.counts if report.verdict else {}
            lines.append(f"{engine:<10} {proved}; {sum(report.happened.values())} faults of {len(report.happened)} kinds in {report.seconds:.0f} s: "
                         f"{report.verdict.acked if report.verdict else 0} acknowledged, lost {counts.get('acknowledged_lost', '?')}, doubled {counts.get('doubled', '?')}, changed {counts.get('changed', '?')}"
                         + ("" if report.clean else "  FAILED"))
        good &= sabotaged(playwright, sabotage.KINDS)
    print("\n".join(lines))
    print(f"{'all held' if good else 'NOT ALL HELD'}; {(time.monotonic() - started) / 60:.1f} minutes")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
