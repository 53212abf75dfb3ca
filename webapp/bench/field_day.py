"""One crew's day, gathered without signal and sent over a poor line: four hundred records, then twenty photos."""

from __future__ import annotations

from pathlib import Path

from ..database import rows
from ..land import service as land
from ..people import service as people
from . import field_office, field_phone

RECORDS, PHOTOS, PHOTO_BYTES = 400, 20, 199_000
TARGET_S, LONGEST_S = 60.0, 300.0
GATHER = """async ({ records, photos, bytes, plots }) => {
  const base = document.querySelector('script[type=module]').src.replace('app.js', '');
  const [outbox, { keep, sendPhotos }, { uuid7 }] = await Promise.all(['outbox.js', 'photos.js', 'uuid7.js'].map((name) => import(base + name)));
  const position = { lat: 20.7012345, lon: -102.3985432, accuracy_m: 6 }, rounds = 10, each = (records - photos) / rounds;
  window.benchOutbox = outbox;
  window.benchGather = async () => {
    for (let r = 0; r < rounds; r += 1) {
      const id = uuid7(), plot = plots[r];
      await outbox.save({ id, kind: 'round', plot, round: id, position, fields: { crew: 'Cuadrilla 1', people: 'Chuy', instrument: 'Refractómetro 3', atc: 'no', zero_check_deg: 0 } });
      for (let i = 1; i < each; i += 1) await outbox.save({ kind: 'reading', plot, round: id, position, fields: { row: 1 + i, plant: 2 * i, brix_raw_deg: 19 + (i * 7 + r) % 60 / 10, juice_temp_c: 24 } });
    }
    for (let n = 0; n < photos; n += 1) {
      const picture = new Uint8Array(bytes);
      for (let at = 0; at < bytes; at += 65536) crypto.getRandomValues(picture.subarray(at, Math.min(at + 65536, bytes)));
      picture.set([0xff, 0xd8, 0xff, 0xe0]);
      const id = uuid7(), digest = await keep(new Blob([picture], { type: 'image/jpeg' }), id);
      await outbox.save({ id, kind: 'remark', plot: plots[n], position, fields: { text: `Foto ${n + 1}`, photo: digest } });
    }
    return [(await outbox.waiting()).count, await sendPhotos.waiting()];
  };
}"""
SEND = """() => new Promise((resolve) => {
  const started = performance.now();
  let recordsDone = null;
  addEventListener('sending', async () => {
    if (recordsDone === null && !(await window.benchOutbox.anyUnsent())) recordsDone = performance.now() - started;
    setTimeout(() => { if (recordsDone !== null && document.body.dataset.sending === 'done') resolve([performance.now() - started, recordsDone]); });
  });
  dispatchEvent(new Event('online'));
})"""


def measure(estate: Path, folder: Path) -> dict[str, float]:
    """Seconds until the office has everything over 0.7 Mbit / 300 ms (4x CPU), and until it has the records.

    The baseline is the line itself: the bytes of records and photos over 0.7 Mbit. ``up_kb`` is what really
    went up, so anything sent twice would show. The phone has tried in vain before, as it would have.
    """
    with field_phone.driver() as running, field_office.opened(estate) as (db, office), field_phone.profile(running, folder / "day") as context:
        relay, page = field_phone.Relay(office.port), context.pages[0]
        field_phone.enter(page, f"http://127.0.0.1:{relay.port}", people.new_device(db, "Teléfono 1", "Cuadrilla 1", "bench")[1])
        last = db.conn.execute("SELECT coalesce(max(n), 0) FROM record").fetchone()[0]
        page.evaluate(GATHER, {"records": RECORDS, "photos": PHOTOS, "bytes": PHOTO_BYTES, "plots": list(land.plots(db).index)})
        relay.cut()
        waiting = page.evaluate("() => window.benchGather()")
        page.evaluate("() => dispatchEvent(new Event('saved'))")
        page.wait_for_function("() => document.body.dataset.sending === 'offline'")
        relay.mend()
        before = relay.up
        session = field_phone.slow(page, road=field_phone.POOR)
        posts: list[str] = []
        session.on("Network.requestWillBeSent", lambda event: posts.append(event["request"]["url"].split("/field/")[-1].split("/")[0]) if event["request"]["method"] == "POST" else None)
        page.set_default_timeout(1000 * LONGEST_S)
        seconds, records_s = (ms / 1000 for ms in page.evaluate(SEND))
        up = relay.up - before
        stored = rows(db, "SELECT length(bytes) AS size, received_at, state FROM record WHERE n > ?", [last])
        pictures = rows(db, "SELECT size, at FROM photo")
        relay.cut()
    if waiting != [RECORDS, PHOTOS] or len(stored) != RECORDS or {r["state"] for r in stored} != {"kept"} or len(pictures) != PHOTOS:
        raise RuntimeError(f"{waiting} waited; {len(stored)} records and {len(pictures)} photos arrived")
    first = max(r["received_at"] for r in stored)[:23] <= min(p["at"] for p in pictures)[:23]
    floor = (sum(r["size"] for r in stored) + sum(p["size"] for p in pictures)) * 8 / (field_phone.POOR["up_mbit"] * 1e6)
    return {"met": seconds <= TARGET_S and first and posts.count("photos") == PHOTOS, "records": float(RECORDS), "photos": float(PHOTOS), "photo_kb": PHOTO_BYTES / 1000, "seconds_s": seconds, "records_s": records_s, "target_s": TARGET_S,
            "line_floor_s": floor, "ratio": seconds / floor, "records_first": first, "record_requests": float(posts.count("records")), "photo_requests": float(posts.count("photos")), "up_kb": up / 1000}
