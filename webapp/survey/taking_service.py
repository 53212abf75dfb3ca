"""Taking records in: gather what is known, let ``intake`` decide, write; and judge again when the land has changed."""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from typing import Any, Callable, NamedTuple
from zoneinfo import ZoneInfo

from .. import answers, clock, dictionary
from ..database import Database, atomic, path_of
from ..land import service as land
from ..problems import Problem
from ..sentences import Sentence
from . import batch as wire
from . import intake, judging, ordinary, store
from . import constants as k
from . import record as rec
from .intake import ALREADY, HELD, KEPT, Decision

MAY_LIFT = frozenset(("unknown_plot", "no_plot", "before_planting", "beyond_registered", "age_before_planting", "unknown_kind", "newer_schema"))
"""Reasons that another state of the land or a newer program may lift."""

_cache: dict[tuple, Any] = {}
_guard = threading.Lock()


def place(db: Database) -> tuple:
    """Which store this is: the file and its epoch, so that a restored one is another."""
    return path_of(db) or id(db), store.epoch(db)


def cached(db: Database, name: str, key: Any, make: Callable[[], Any]) -> Any:
    """The last thing made under this name in this process, made anew when its key differs."""
    where = (*place(db), name)
    with _guard:
        found = _cache.get(where)
    if found is None or found[0] != key:
        found = (key, make())
        with _guard:
            _cache[where] = found
    return found[1]


def forget(db: Database) -> None:
    """Let go of what this process made of a store that is no longer needed."""
    with _guard:
        for where in [w for w in _cache if w[:2] == place(db)]:
            del _cache[where]
    _land.pop(path_of(db), None)


class _Land(NamedTuple):
    """What judging needs of the land, and of which store and version it is."""

    mark: tuple[str, int]
    plots: dict[str, dict[str, Any]]
    names: dict[str, str]


_land: dict[str, _Land] = {}


def _land_mark(db: Database) -> tuple[str, int]:
    return store.epoch(db), land.version(db)


def _land_now(db: Database) -> _Land:
    mark, path = _land_mark(db), path_of(db)
    found = _land.get(path) if path else None
    if found is None or found.mark != mark:
        plots = land.plots(db)
        about = {code: {"planted_on": planted, "registered_plants": int(registered) if registered == registered and registered else None}
                 for code, planted, registered in zip(plots.index, plots["planted_on"], plots["registered_plants"].astype(float))}
        found = _Land(mark, about, {code: str(name) for code, name in plots["name"].items() if name})
        if path:
            _land[path] = found
    return found


def _land_lately(db: Database) -> _Land:
    """As this process last saw it, without asking the store: whoever writes what was judged by it looks again (``write``)."""
    return _land.get(path_of(db)) or _land_now(db)


def known(db: Database, now: datetime) -> judging.Known:
    return _known_of(db, _land_now(db), now)


def _known_of(db: Database, of: _Land, now: datetime) -> judging.Known:
    return judging.Known(of.plots, now, of.names, lambda lat, lon: _plot_at(db, lat, lon))


def _plot_at(db: Database, lat: float, lon: float) -> str | None:
    from ..land import shapes

    outlines = cached(db, "outlines", land.version(db), lambda: {code: shapes.parse(g) for code, g in land.outlines(db).items()})
    return shapes.containing(lat, lon, outlines)


def reason(code: str, params: dict, kind: str = "", zone: ZoneInfo | None = None) -> tuple[Sentence, Sentence]:
    """Why a record is held, and what to do, as sentences. What is stored of a time is UTC; with ``zone`` it is told as the estate's clock shows it."""
    shown = dictionary.named(kind, params)
    if code == "future" and zone is not None:
        shown = shown | {"taken": datetime.fromisoformat(params['taken']).replace(tzinfo=timezone.utc).astimezone(zone).isoformat()}
    return Sentence(f"survey.held.{code}.what", shown), Sentence(f"survey.held.{code}.do", shown)


def take(db: Database, found: list[Any], texts: list[bytes], schema: int, received: datetime, error: timedelta, source: str, sender: str) -> list[Decision]:
    """Decide and write, inside the caller's atomic block; ``texts`` are the records' own bytes."""
    return write(db, [judged(db, found, texts, schema, received, error, source, sender)])[0]


@dataclass(frozen=True)
class Judged:
    """Arrived records with their fate as far as it depends on the land and not on what is stored; ``rows`` as the log wants them (``record.Row``)."""

    land: tuple[str, int]
    decisions: list[Decision]
    rows: list[tuple]
    again: Callable[[Database], "Judged"]
    at: str
    sender: str
    error_s: float | None


def judged(db: Database, found: list[Any], texts: list[bytes], schema: int, received: datetime, error: timedelta, source: str, sender: str,
           look: Callable[[Database], _Land] = _land_lately) -> Judged:
    """The slow part of taking records in; needs no lock and, for ordinary records, no question to the store.

    ``found`` are plain values, or ``ordinary.Found`` where a reader took them whole.
    """
    of = look(db)
    land_known, again = _known_of(db, of, received), lambda at_db: judged(at_db, found, texts, schema, received, error, source, sender, _land_now)
    at = intake.as_utc_text(received)
    arrival = ordinary.Arrival(land_known.plots, judging.latest(received), rec.moved(error, float(k.CLOCK_TOLERANCE_S)), at, source, sender)

    def exactly(index: int, one: Any, text: bytes) -> tuple[Decision, tuple]:
        raw = wire.plain(one, text)
        d = intake.decide(index, raw, text, schema, land_known, error)
        return d, row_of(d, raw, schema, at, source, sender)

    ready = ordinary.kept(found, texts, arrival) if schema == rec.SCHEMA else [None] * len(found)
    fates = [fate or exactly(index, one, text) for index, (fate, one, text) in enumerate(zip(ready, found, texts))]
    decisions, rows = map(list, zip(*fates)) if fates else ([], [])
    return Judged(of.mark, decisions, rows, again, at, sender, error.total_seconds() if source == "phone" else None)


def write(db: Database, batches: list[Judged]) -> list[list[Decision]]:
    """Write judged batches in their order, inside the caller's atomic block; one is judged again when the land has changed since.

    All are asked about and stored at once: between two statements other threads run, and what writes for
    many then waits to be let back.
    """
    mark = _land_mark(db)
    batches = [j if j.land == mark else j.again(db) for j in batches]
    came = [d for j in batches for d in j.decisions]
    decided = iter(intake.against(came, store.digests(db, [d.id for d in came]), lambda record: store.record(db, record)["bytes"]))
    told = [[next(decided) for _ in j.decisions] for j in batches]
    fresh = [(j, d) for j, decisions in zip(batches, told) for d in decisions if d.status != ALREADY and not d.conflict]
    sequences = _sequences(db, list(dict.fromkeys(d.install for d in came if d.install)), [d for _, d in fresh])
    store.add(db, (j.rows[d.index] for j, d in fresh))
    store.add_held(db, ({"record": d.id, "code": d.code, "params": rec.cleaned(d.params), "proposal": d.proposal, "at": j.at} for j, d in fresh if d.status == HELD))
    for j, decisions in zip(batches, told):
        for d in decisions:
            if d.conflict:
                store.add_conflict(db, d.id, d.bytes, d.digest, j.at, j.sender)
    store.touch_installs(db, [(install, j.sender, j.at, j.at, j.error_s, *sequences[install]) for j, decisions in zip(batches, told) for install in dict.fromkeys(d.install for d in decisions if d.install)])
    return told


def _sequences(db: Database, installs: list[str], fresh: list[Decision]) -> dict[str, tuple[int | None, int]]:
    """How far each install will have counted once ``fresh`` is stored. A number above the highest is new; one below may have been there, and is looked for."""
    counted: dict[str, tuple[int | None, int]] = dict.fromkeys(installs, (None, 0)) | store.sequences(db, installs)
    numbers: dict[str, set[int]] = {}
    for d in fresh:
        if d.install and d.seq is not None:
            numbers.setdefault(d.install, set()).add(d.seq)
    for install, new in numbers.items():
        high, count = counted[install]
        below = [number for number in new if high is not None and number <= high]
        counted[install] = max(new) if high is None else max(high, max(new)), count + len(new) - (store.how_many_there(db, install, below) if below else 0)
    return counted


def row_of(d: Decision, raw: Any, schema: int, at: str, source: str, sender: str) -> rec.Row:
    """A decision as a row of the log."""
    r = d.record
    own = r.fields if r else rec.cleaned(raw) if isinstance(raw, dict) and d.code != "too_deep" else {}
    kind = r.kind if r else own.get("kind") if isinstance(own.get("kind"), str) else ""
    return rec.Row(id=d.id, install=d.install, seq=d.seq, round=r.round if r else None, kind=kind[:40], plot=r.plot if r else None,
                   taken_at=r.taken_at if r else None, taken_fixed=intake.as_utc_text(d.taken_fixed), received_at=at, lat=r.lat if r else None, lon=r.lon if r else None,
                   accuracy_m=r.accuracy_m if r else None, confirmed=int(r.confirmed) if r else 0, replaces=r.replaces if r else None, schema=schema,
                   fields=rec.as_text(own), bytes=d.bytes, digest=d.digest, source=source, sender=sender, state=KEPT if d.status == KEPT else HELD)


def rejudge(db: Database) -> int:
    """Judge again what is held for a reason the land may have lifted, as of the time it was received; how many are now in use."""
    freed = 0
    with atomic(db):
        for row in store.held(db):
            if row["code"] not in MAY_LIFT or row["schema"] > rec.SCHEMA:
                continue
            record, _ = intake.envelope(rec.loads(row["bytes"]))
            if record is None:
                continue
            fixed = datetime.fromisoformat(row["taken_fixed"]) if row["taken_fixed"] else rec.repaired(record.taken, timedelta(), 0)
            verdict = judging.judge(intake.current_form(record, row["schema"]), fixed, known(db, datetime.fromisoformat(row["received_at"])))
            if not verdict[0]:
                store.free(db, row["id"], record, intake.as_utc_text(fixed))
                store.settle(db, row["id"], "judged_again", clock.of(db).stamp(), "–")
                freed += 1
            elif verdict != (row["code"], json.loads(row["params"]), json.loads(row["proposal"]) if row["proposal"] else None):
                store.reason(db, row["id"], *verdict)
        if freed:
            answers.bump(db, "survey")
        store.mark(db, "judged", _judged_mark(db))
    return freed


def settle_with_land(db: Database) -> None:
    """``rejudge`` when the land is another than the one that the held records were judged by; nothing else."""
    if store.marked(db, "judged") == _judged_mark(db):
        return
    try:
        rejudge(db)
    except Problem as problem:  # a file that can't be written is still read
        if problem.code not in ("database_read_only", "database_full", "database_busy"):
            raise


def _judged_mark(db: Database) -> str:
    return f"l{land.version(db)}-s{rec.SCHEMA}"
