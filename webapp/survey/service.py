"""The survey as other rooms see it: batches and files in, tables of records in force out."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from typing import Any

from .. import answers, clock
from ..database import Database, atomic, path_of
from ..land import service as land
from ..people import service as people
from ..problems import Problem
from ..sentences import Sentence
from . import files, frames, intake, quality, store
from . import record as rec
from .intake import ALREADY, HELD, KEPT, Decision, Known

_cache: dict[tuple, Any] = {}
_guard = threading.Lock()


@dataclass(frozen=True)
class LoadReport:
    """What a file brought: counts by receipt, and notes on what had to be understood."""

    kept: int
    already: int
    held: int
    notes: tuple[Sentence, ...] = field(default=())


def _cached(db: Database, name: str, key: Any, make) -> Any:
    where = (path_of(db) or id(db), name)
    with _guard:
        found = _cache.get(where)
    if found is None or found[0] != key:
        found = (key, make())
        with _guard:
            _cache[where] = found
    return found[1]


def data_version(db: Database) -> str:
    """Changes with every kept record, every decision of the office and every change of land."""
    return f"r{store.last_number(db)}-o{answers.version(db, 'survey')}-l{land.version(db)}"


def _known(db: Database, ids: list[str], now: datetime) -> Known:
    def read() -> tuple[dict, dict]:
        plots = land.plots(db)
        about = {code: {"planted_on": row["planted_on"], "registered_plants": row["registered_plants"] if row["registered_plants"] == row["registered_plants"] else None,
                        "parcel": row["parcel"]} for code, row in plots.iterrows()}
        return about, {code: str(name) for code, name in plots["name"].items()}

    about, names = _cached(db, "land", land.version(db), read)
    return Known(store.digests(db, ids), about, now, names, lambda lat, lon: _plot_at(db, lat, lon))


def _plot_at(db: Database, lat: float, lon: float) -> str | None:
    from ..land import shapes

    outlines = _cached(db, "outlines", land.version(db), lambda: {code: shapes.parse(g) for code, g in land.outlines(db).items()})
    return shapes.containing(lat, lon, outlines)


def receive(db: Database, body: bytes, sender: str, received_at: datetime | None = None, language: str = "es") -> dict:
    """One batch from a phone in one atomic step; a receipt for each record (DESIGN §4).

    Problems for the whole batch (4xx): see ``intake.read_batch``; disk and permission problems (5xx)
    leave everything as it was, so the phone sends the same bytes again.
    """
    batch = intake.read_batch(body)
    received = received_at or clock.of(db).now()
    error = intake.clock_error(batch, received)
    installs: list[str] = []
    with atomic(db):
        decisions = _take(db, batch["records"], batch["schema"], received, error, source="phone", sender=sender)
        for install in dict.fromkeys(d.record.install for d in decisions if d.record and d.record.install):
            installs.append(install)
            store.touch_install(db, install, sender, intake.as_utc_text(received), error.total_seconds() if batch.get("sent_at") else None)
        high, count = store.sequence(db, installs[-1]) if installs else (0, 0)
        epoch = store.epoch(db)
    results = [_receipt(d, language) for d in decisions]
    return {"schema": rec.SCHEMA, "server_time": received.isoformat(timespec="milliseconds"), "store_epoch": epoch, "seq_high": high, "seq_count": count, "results": results}


def _receipt(d: Decision, language: str) -> dict:
    receipt: dict[str, Any] = {"i": d.index, "id": d.id, "status": d.status}
    if d.status == HELD:
        what, do = reason(d.code, d.params)
        receipt["problem"] = {"type": f"/problems/{d.code}", "title": what.text(language), "status": 422, "detail": f"{what.text(language)} {do.text(language)}", "code": d.code, "do": do.text(language)}
    return receipt


def reason(code: str, params: dict) -> tuple[Sentence, Sentence]:
    """Why a record is held or doubted, and what to do, as sentences."""
    return Sentence(f"survey.held.{code}.what", params), Sentence(f"survey.held.{code}.do", params)


def _take(db: Database, raws: list, schema: int, received: datetime, error: timedelta, source: str, sender: str) -> list[Decision]:
    ids = [r["id"] for r in raws if isinstance(r, dict) and isinstance(r.get("id"), str) and rec.CANONICAL.match(r["id"])]
    decisions = intake.decide(raws, schema, _known(db, ids, received), error)
    at = intake.as_utc_text(received)
    fresh = [d for d in decisions if d.status != ALREADY and not d.conflict]
    store.add(db, (_row(d, raws[d.index], schema, at, source, sender) for d in fresh))
    store.add_held(db, ({"record": d.id, "code": d.code, "params": rec.cleaned(d.params), "proposal": d.proposal, "at": at} for d in fresh if d.status == HELD))
    for d in decisions:
        if d.conflict:
            store.add_conflict(db, d.id, d.bytes, d.digest, at, sender)
    return decisions


def _row(d: Decision, raw: Any, schema: int, at: str, source: str, sender: str) -> dict:
    import json

    r = d.record
    fields = r.fields if r else (raw if isinstance(raw, dict) else {"_": raw})
    text = json.dumps(rec.cleaned(fields), ensure_ascii=False, sort_keys=True, default=str)
    seq = r.seq if r and r.seq is not None and abs(r.seq) < 2**53 else None
    return {"id": d.id, "install": r.install if r else "", "seq": seq, "round": r.round if r else None, "kind": rec.cleaned(r.kind) if r else str(rec.cleaned(fields.get("kind", "")))[:40],
            "plot": rec.cleaned(r.plot) if r else None, "taken_at": r.taken_at if r else None, "taken_fixed": intake.as_utc_text(d.taken_fixed), "received_at": at,
            "lat": r.lat if r else None, "lon": r.lon if r else None, "accuracy_m": r.accuracy_m if r else None, "confirmed": int(r.confirmed) if r else 0,
            "replaces": r.replaces if r else None, "schema": schema, "fields": text, "bytes": d.bytes, "digest": d.digest, "source": source, "sender": sender, "state": KEPT if d.status == KEPT else HELD}


def load_file(db: Database, data: bytes, filename: str, who: str) -> LoadReport:
    """Records of a CSV or JSONL file in one atomic step; loading it twice doubles nothing. Problems: see ``files.read``."""
    found = files.read(data, filename)
    received = clock.of(db).now().replace(hour=23, minute=59, second=0, microsecond=0)  # a file speaks of whole days
    with atomic(db):
        decisions = _take(db, found.records, rec.SCHEMA, received, timedelta(), source=filename[:200], sender=who)
        at = intake.as_utc_text(received)
        for install in dict.fromkeys(d.record.install for d in decisions if d.record and d.record.install):
            store.touch_install(db, install, who, at, None)
        count = lambda status: sum(d.status == status for d in decisions)  # noqa: E731
        people.note(db, who, "load_records", filename, after={"kept": count(KEPT), "already": count(ALREADY), "held": count(HELD)})
    return LoadReport(count(KEPT), count(ALREADY), count(HELD), tuple(Sentence(f"survey.note.{code}", params) for code, params in found.notes))


def add_photo(db: Database, record_id: str, digest: str, media: str, data: bytes) -> None:
    """A picture's bytes after its record. Problems: ``photo_digest`` (bytes are not those announced)."""
    if rec.digest(data) != digest:
        raise Problem("photo_digest", where=digest[:12], status=422)
    with atomic(db):
        store.add_photo(db, digest, record_id, media, data, intake.as_utc_text(datetime.now(timezone.utc)))


def photo(db: Database, digest: str) -> dict:
    found = store.photo(db, digest)
    if found is None:
        raise Problem("photo_missing", where=digest[:12], status=404)
    return found


# Tables of records in force --------------------------------------------------------------------------

def _tables(db: Database):
    def make():
        rows = store.kept(db)
        return frames.tables(rows, rec.in_force(rows), clock.of(db).zone)

    return _cached(db, "tables", data_version(db), make)


def readings(db: Database):
    return _cached(db, "readings", data_version(db), lambda: frames.readings(_tables(db)))


def loads(db: Database):
    return _cached(db, "loads", data_version(db), lambda: frames.loads(_tables(db)))


def rounds(db: Database):
    return _tables(db)["round"]


def row_counts(db: Database):
    return _tables(db)["row_count"]


def weighings(db: Database):
    return _tables(db)["weighing"]


def age_checks(db: Database):
    return _tables(db)["age_check"]


def markings(db: Database):
    return _tables(db)["marking"]


def labors(db: Database):
    return _tables(db)["labor"]


def losses(db: Database):
    return _tables(db)["loss"]


def orders_done(db: Database):
    return _tables(db)["order_done"]


def remarks(db: Database):
    return _tables(db)["remark"]


def outlines_walked(db: Database):
    return _tables(db)["outline"]


def table(db: Database, kind: str):
    """The table of one kind. Problem ``kind_unknown``."""
    found = _tables(db)
    if kind not in found:
        raise Problem("kind_unknown", where=kind, kinds=", ".join(found))
    return readings(db) if kind == "reading" else loads(db) if kind == "load" else found[kind]


def phones(db: Database) -> list[dict]:
    """Installs with their highest seq, how many arrived, and how many are missing between."""
    return [{**row, "missing": max(0, row["seq_high"] - row["seq_low"] + 1 - row["seq_count"]) if row["seq_count"] else 0} for row in store.installs(db)]


def review(db: Database) -> dict[str, int]:
    """Judge held records again (land may have changed) and look for doubts in the records in force."""
    from . import office_service as office

    freed = office.rejudge(db)
    found = quality.all_doubts(_tables(db), readings(db), loads(db), land.plots(db), store.installs(db), clock.of(db).zone)
    with atomic(db):
        store.drop_open_doubts(db, {(d["code"], d["record"]) for d in found})
        new = store.add_doubts(db, found, clock.of(db).stamp())
    return {"freed": freed, "doubts": new}


def held(db: Database) -> list[dict]:
    from . import office_service as office

    return office.held(db)


def doubts(db: Database) -> list[dict]:
    from . import office_service as office

    return office.doubts(db)


def mend(db: Database, record_id: str, changes: dict[str, Any], who: str) -> str:
    from . import office_service as office

    return office.mend(db, record_id, changes, who)


def accept(db: Database, record_id: str, who: str) -> None:
    from . import office_service as office

    office.accept(db, record_id, who)


def set_aside(db: Database, record_id: str, who: str, why: str) -> None:
    from . import office_service as office

    office.set_aside(db, record_id, who, why)


def settle_doubt(db: Database, doubt: int, answer: str, who: str) -> None:
    from . import office_service as office

    office.settle_doubt(db, doubt, answer, who)


def record_history(db: Database, record_id: str) -> list[dict]:
    from . import office_service as office

    return office.history(db, record_id)


