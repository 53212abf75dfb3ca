"""A record in use that turns out wrong: corrected or taken out by the office, the original kept."""

from __future__ import annotations

from typing import Any

from .. import dictionary
from ..database import Database, atomic
from ..people import service as people
from ..problems import Problem
from ..sentences import Sentence
from . import history_service, intake, office_service, store
from . import record as rec
from .tables_service import in_force


def _in_use(db: Database, record_id: str) -> dict:
    row = store.record(db, record_id)
    if row is None:
        raise Problem("record_unknown", where=record_id, status=404)
    if record_id not in {r.id for r in in_force(db).get(row["kind"], [])} or row["kind"] not in dictionary.kinds():
        raise Problem("record_not_in_use", where=record_id, status=409)
    return row


def editable(db: Database, record_id: str) -> list[dict[str, Any]]:
    """The own fields of a record in use: name, label (a Sentence or words by language), value as it stands; empty when it isn't in use."""
    try:
        row = _in_use(db, record_id)
    except Problem:
        return []
    raw = intake.raised(rec.loads(row["bytes"]), row["schema"])
    shown = [{"name": "plot", "label": Sentence("survey.field.plot"), "value": raw.get("plot") or ""}]
    return shown + [{"name": f.name, "label": dictionary.name_of(row["kind"], f.name), "value": "" if raw.get(f.name) is None else raw[f.name]}
                    for f in dictionary.fields(row["kind"]) if f.type != "outline"]


def correct(db: Database, record_id: str, changes: dict[str, Any], who: str) -> None:
    """Write a correction that takes the record's place, at the time it was taken. Problems ``record_not_in_use``, ``nothing_changed``, ``still_wrong``."""
    row = _in_use(db, record_id)
    if not changes:
        raise Problem("nothing_changed", where=record_id)
    before = rec.loads(row["bytes"])
    with atomic(db):
        office_service.write_correction(db, record_id, office_service.typed(row["kind"], changes), who)
        people.note(db, who, "correct_record", record_id, before={n: before.get(n) for n in changes}, after=changes)


def take_out(db: Database, record_id: str, who: str, why: str) -> None:
    """Take a record out of use with what it corrected, a round with all that was taken in it; the originals stay. Problems ``record_not_in_use``, ``why_missing``."""
    row = _in_use(db, record_id)
    if not why.strip():
        raise Problem("why_missing", where=record_id)
    with atomic(db):
        for record, plot in _with_its_own(db, row):
            office_service.void_whole(db, record, plot, who, why)
        people.note(db, who, "take_out_record", record_id, after=why.strip()[:500])


def undo(db: Database, record_id: str, who: str, why: str) -> str:
    """Void a correction, so that what it replaced counts again; the id of that. Problems ``record_not_in_use``, ``why_missing``."""
    found = history_service.undoable(db, record_id)
    if found is None or found["correction"] != record_id:
        raise Problem("record_not_in_use", where=record_id, status=409)
    if not why.strip():
        raise Problem("why_missing", where=record_id)
    row = store.record(db, record_id)
    with atomic(db):
        office_service.write_void(db, record_id, row["plot"], who, why)
        names = history_service.differing(found["fields"], found["fields_again"])
        people.note(db, who, "undo_correction", found["again"], before={n: found["fields"].get(n) for n in names}, after={n: found["fields_again"].get(n) for n in names} | {"why": why.strip()[:500]})
    return found["again"]


def _with_its_own(db: Database, row: dict) -> list[tuple[str, str | None]]:
    """(id, plot) of a record in use; of a round's head also of everything in use that was taken in it: without their round readings would count on, by no known instrument."""
    if row["kind"] != "round":
        return [(row["id"], row["plot"])]
    name = row["round"] or row["id"]
    living = [one for rows in in_force(db).values() for one in rows]
    return [(one.id, one.plot) for one in living if one.id == row["id"] or (one.round or one.id) == name]
