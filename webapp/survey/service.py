"""The survey as other rooms see it: batches and files in, tables of records in force out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Callable, NamedTuple
from zoneinfo import ZoneInfo

from .. import clock, dictionary
from ..database import Database, atomic, path_of
from ..land import service as land
from ..people import service as people
from ..problems import Problem
from ..sentences import Sentence, known, places
from . import batch as wire
from . import files, intake, quality, quality_scale, store
from . import record as rec
from .correcting_service import correct, editable, take_out, undo  # noqa: F401
from .earlier_service import last_corrections, left_out, photos_here  # noqa: F401
from .held_service import mend_alike  # noqa: F401
from .history_service import history as record_history, kinds_of, of_plot as ids_of_plot, undoable  # noqa: F401
from .intake import ALREADY, HELD, KEPT, Decision
from .office_service import accept, held, mend, set_aside, settle_doubt, typed  # noqa: F401
from .tables_service import (age_checks, data_version, in_force, labors, loads, losses, markings, orders_done, outlines_walked, photos, readings, remarks,  # noqa: F401
                             rival_corrections, rounds, row_counts, table, weighings)
from .taking_service import judged, reason, rejudge, take, write  # noqa: F401
from .walked_service import replace_by_walk, set_walk_aside, take_new_land, walk, walks_waiting  # noqa: F401
from .together_service import take_together

MOST_BYTES = wire.MOST_BYTES


@dataclass(frozen=True)
class LoadReport:
    """What a file brought: counts by receipt, and notes on what had to be understood."""

    kept: int
    already: int
    held: int
    notes: tuple[Sentence, ...] = field(default=())


class Sender(NamedTuple):
    """Who sends a batch: a phone by its id, and whether it is to be noted as seen."""

    id: str
    note_seen: bool = False


class _Arrived(NamedTuple):
    """A phone's batch as it came; ``who`` tells by the store who sends it."""

    body: bytes
    who: Callable[[Database], Sender]
    received: datetime | None
    language: str


class _Judged(NamedTuple):
    """What was judged, by whom it was sent, when it came, and the language of its receipts."""

    judgement: Any
    sender: Sender
    received: datetime
    language: str


def receive_json(path: str, opened: Callable[[], Database], body: bytes, who: Callable[[Database], Sender], language: str) -> bytes:
    """``receive``, its reply as JSON, into the estate file at ``path``.

    ``opened`` gives this thread's connection and ``who`` the sender by a connection (not always this
    thread's); both are asked only by the thread that works for a group. What ``who`` raises is raised here.
    """
    return take_together(path, opened, _judge, _write_all_as_json, _Arrived(body, who, None, language))


def receive(db: Database, body: bytes, sender: str, received_at: datetime | None = None, language: str = "es") -> dict:
    """One batch from a phone wholly or not at all; a receipt for each record, given once it is on the disk (DESIGN §4).

    Problems for the whole batch (4xx): see ``batch.read``; disk and permission problems (5xx) leave
    everything as it was, so the phone sends the same bytes again. ``seq_high`` and ``seq_count`` are of
    the install that sent the last record of the batch.
    """
    path = "" if db.conn.in_transaction else path_of(db)  # inside a caller's own block it is written by itself
    return take_together(path, lambda: db, _judge, _write_all, _Arrived(body, lambda _: Sender(sender), received_at, language))


def _judge(db: Database, came: _Arrived) -> _Judged:
    sender, received = came.who(db), came.received or clock.of(db).now()
    batch = wire.read(came.body)
    judgement = judged(db, batch.found, batch.texts, batch.schema, received, batch.clock_error(received), source="phone", sender=sender.id)
    return _Judged(judgement, sender, received, came.language)


def _write_all(db: Database, arrived: list[_Judged]) -> list[dict]:
    """Of each judged batch what its phone is told: receipts, its last install's sequence, the store's epoch."""
    told = write(db, [came.judgement for came in arrived])
    people.phones_seen(db, [came.sender.id for came in arrived if came.sender.note_seen])
    last = [next((d.install for d in reversed(decisions) if d.install), "") for decisions in told]
    zone = clock.of(db).zone
    sequences, epoch = store.sequences(db, [install for install in last if install]), store.epoch(db)
    replies = []
    for decisions, install, came in zip(told, last, arrived):
        high, count = sequences.get(install, (0, 0))
        replies.append({"schema": rec.SCHEMA, "server_time": came.received.isoformat(timespec="milliseconds"), "store_epoch": epoch, "seq_high": high, "seq_count": count,
                        "results": [_receipt(d, came.language, zone) for d in decisions]})
    return replies


def _write_all_as_json(db: Database, arrived: list[_Judged]) -> list[bytes]:
    return [wire.reply(told) for told in _write_all(db, arrived)]


def _receipt(d: Decision, language: str, zone: ZoneInfo) -> dict:
    receipt: dict[str, Any] = {"i": d.index, "id": d.given, "status": d.status}
    if d.status == HELD:
        kind = rec.loads(d.bytes).get("kind")
        what, do = (sentence.text(language) for sentence in reason(d.code, rec.cleaned(d.params), kind if isinstance(kind, str) else "", zone))
        receipt["problem"] = {"type": f"/problems/{d.code}", "title": what, "status": 422, "detail": f"{what} {do}", "code": d.code, "do": do}
    return receipt


def load_file(db: Database, data: bytes, filename: str, who: str) -> LoadReport:
    """Records of a CSV or JSONL file in one atomic step; loading it twice doubles nothing. Problems: see ``files.read``."""
    found = files.read(data, filename)
    received = clock.of(db).now().replace(hour=23, minute=59, second=0, microsecond=0)  # a file speaks of whole days
    with atomic(db):
        decisions = take(db, found.records, found.texts, rec.SCHEMA, received, timedelta(), source=filename[:200], sender=who)
        count = {status: sum(d.status == status for d in decisions) for status in (KEPT, ALREADY, HELD)}
        people.note(db, who, "load_records", filename, after=count)
    return LoadReport(count[KEPT], count[ALREADY], count[HELD], tuple(Sentence(f"survey.note.{code}", params) for code, params in found.notes))


def export(db: Database, kind: str) -> tuple[list[str], list[dict[str, Any]]]:
    """(CSV headings, rows) of the records in force of one kind as they were noted; a file of them loads again as *already there*. Problem ``kind_unknown``."""
    if kind not in dictionary.kinds():
        raise Problem("kind_unknown", where=kind, kinds=", ".join(dictionary.kinds()))
    headings = dictionary.csv_headings(kind)
    living = {row.id for row in in_force(db).get(kind, [])} if kind != "void" else None
    rows = []
    for row in store.kept_of(db, kind):
        if living is None or row["id"] in living:
            raw = rec.loads(row["bytes"])
            raw.setdefault("kind", kind)
            rows.append({name: raw[name] for name in headings if raw.get(name) is not None} | {n: v for n, v in (raw.get("position") or {}).items() if n in headings and v is not None})
    return headings, rows


def as_record(row: dict[str, Any]) -> dict[str, Any]:
    """An exported row as the record it was: the place in one object again."""
    place = {name: row[name] for name in ("lat", "lon", "accuracy_m") if name in row}
    return {name: value for name, value in row.items() if name not in place} | ({"position": place} if place else {})


def add_photo(db: Database, record_id: str, digest: str, media: str, data: bytes) -> None:
    """A picture's bytes after its record. Problems: ``photo_digest`` (bytes are not those announced)."""
    if rec.digest(data) != digest:
        raise Problem("photo_digest", where=digest[:12], status=422)
    with atomic(db):
        store.add_photo(db, digest, record_id, media, data, intake.as_utc_text(clock.of(db).now()))


def photo(db: Database, digest: str) -> dict:
    found = store.photo(db, digest)
    if found is None:
        raise Problem("photo_missing", where=digest[:12], status=404)
    return found


def phones(db: Database) -> list[dict]:
    """Installs with their highest seq, how many arrived, how many are missing between, and in which runs of ``seq``."""
    found = [{**row, "missing": max(0, row["seq_high"] - row["seq_low"] + 1 - row["seq_count"]) if row["seq_count"] else 0} for row in store.installs(db)]
    return [{**row, "holes": store.holes(db, row["id"]) if row["missing"] else []} for row in found]


def review(db: Database) -> dict[str, int]:
    """Judge held records again where the land has changed, and look for doubts in the records in force."""
    before = {(d["code"], d["record"]) for d in store.doubts(db)}
    freed = rejudge(db)
    tables = {kind: table(db, kind) for kind in ("round", "reading", "row_count", "load", "weighing", "age_check")}
    found = quality.all_doubts(tables, land.plots(db), store.installs(db), rival_corrections(db), clock.of(db).zone)
    with atomic(db):
        store.drop_open_doubts(db, {(d["code"], d["record"]) for d in found}, lambda code: code not in quality.OF_ESTIMATES)
        store.add_doubts(db, found, clock.of(db).stamp())
        store.mark(db, "doubted", data_version(db))
    return {"freed": freed, "doubts": len({(d["code"], d["record"]) for d in store.doubts(db)} - before)}


def propose(db: Database, codes: frozenset[str], found: list[dict]) -> int:
    """Doubts that a later room found, in place of its open ones of those codes; how many are new."""
    before = {(d["code"], d["record"]) for d in store.doubts(db)}
    with atomic(db):
        store.drop_open_doubts(db, {(d["code"], d["record"]) for d in found}, lambda code: code in codes)
        store.add_doubts(db, found, clock.of(db).stamp())
    return len({(d["code"], d["record"]) for d in store.doubts(db)} - before)


def far_rounds_left(db: Database) -> set[str]:
    """Rounds far from what was expected, or from what juice reads at all, that somebody has looked at and left as they are."""
    return store.left_as_they_are(db, quality.LOOKED_AT)


def out_of_scale(db: Database) -> set[str]:
    """Loads and weighings whose masses no piña has (``quality_scale``) and that nobody has looked at yet: they teach nothing."""
    odd = quality_scale.all_doubts(loads(db), weighings(db), land.plots(db))
    return {d["record"] for d in odd} - (store.left_as_they_are(db, quality_scale.LOOKED_AT) if odd else set())


def doubts_old(db: Database) -> bool:
    """Whether records came in since doubts were last looked for."""
    return store.marked(db, "doubted") != data_version(db)


def doubts(db: Database, look: bool = True) -> list[dict]:
    """Open doubts about records in use: code, record, what and do as sentences, and a proposal or None.

    Looks for new ones first where records came in since, unless ``look`` is False (a page shows the last
    known at once and leaves the looking to the estimates' job). ``is_record`` tells whether ``record``
    names one with a history (not a plot or a phone).
    """
    if not store.marked(db, "doubted") or look and doubts_old(db):
        try:
            review(db)
        except Problem as problem:  # a file that can't be written still shows what it knew
            if problem.code not in ("database_read_only", "database_full", "database_busy"):
                raise
    called = land.called(db)
    return [{**row, "is_record": row["code"] not in quality.ABOUT_PHONES and not row["record"].startswith("plot:"),
             "what": _of_doubt(row, "what", called), "do": _of_doubt(row, "do", called)} for row in store.doubts(db)]


def _of_doubt(row: dict, part: str, called: dict[str, str]) -> Sentence:
    """What is doubted, or what to do; where a figure of it was never said (a crew that named no year), in words that don't speak of it.

    Plots under the names that people call them by; ``params`` of the doubt itself keep the codes.
    """
    name = f"survey.doubt.{row['code']}.{part}"
    unsaid = f"{name}_unsaid"
    return Sentence(unsaid if known(unsaid) and any(row["params"].get(place) is None for place in places(name)) else name, row["params"] | {place: called[row["params"][place]] for place in ("plot", "other") if row["params"].get(place) in called})
