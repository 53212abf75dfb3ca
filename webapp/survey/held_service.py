"""One decision for all records that wait for the same reason; each is mended, accepted or set aside by itself, all or none."""

from __future__ import annotations

from datetime import datetime, timedelta

from .. import clock
from ..database import Database, atomic
from ..problems import Problem
from . import held_groups, office_service, store
from .held_groups import Group


def group(db: Database, key: str) -> Group:
    """Problem ``record_not_waiting`` when none of it waits any more."""
    found = next((g for g in held_groups.grouped(office_service.held(db)) if g.key == key), None)
    if found is None:
        raise Problem("record_not_waiting", where=key, status=404)
    return found


def group_of(db: Database, record_id: str) -> Group:
    """The group a waiting record stands in."""
    found = next((g for g in held_groups.grouped(office_service.held(db)) if any(row["id"] == record_id for row in g.rows)), None)
    if found is None:
        raise Problem("record_not_waiting", where=record_id, status=404)
    return found


def mend_alike(db: Database, record_id: str, who: str) -> int:
    """Take the proposal of a held record and of all held with it for the same reason; how many were mended.

    Problems ``record_not_waiting``, ``no_proposal``.
    """
    return take_proposals(db, group_of(db, record_id).key, who)


def take_proposals(db: Database, key: str, who: str) -> int:
    """How many were mended. Problems ``record_not_waiting``, ``no_proposal``."""
    found = [row for row in group(db, key).rows if row["proposal"]]
    if not found:
        raise Problem("no_proposal", where=key)
    return _mend(db, {row["id"]: row["proposal"] for row in found}, who)


def name_plot(db: Database, key: str, plot: str, who: str) -> int:
    """They were all taken in one plot. Problem ``still_wrong`` where the code is not known."""
    return _mend(db, {row["id"]: {"plot": plot} for row in group(db, key).rows}, who)


def move(db: Database, key: str, begins: str, who: str) -> int:
    """The first of them was taken at ``begins`` (ISO 8601, in the estate's time where it says no other). Problem ``moment_unknown``."""
    found = group(db, key)
    if not found.may_move:
        raise Problem("no_proposal", where=key)
    try:
        at = datetime.fromisoformat(begins.strip())
    except ValueError as error:
        raise Problem("moment_unknown", where="begins", value=begins[:40]) from error
    return _mend(db, {name: {"taken_at": at} for name, at in held_groups.moved(found.rows, at if at.tzinfo else at.replace(tzinfo=clock.of(db).zone)).items()}, who)


def accept(db: Database, key: str, who: str) -> int:
    """All as they came. Problem ``still_wrong``."""
    rows = group(db, key).rows
    with atomic(db):
        for row in rows:
            office_service.accept(db, row["id"], who)
    return len(rows)


def set_aside(db: Database, key: str, who: str, why: str) -> int:
    """All out of use, for one reason. Problem ``why_missing``."""
    rows = group(db, key).rows
    with atomic(db):
        for row in rows:
            office_service.set_aside(db, row["id"], who, why)
    return len(rows)


def _mend(db: Database, changes: dict[str, dict], who: str) -> int:
    with atomic(db):
        for name, change in changes.items():
            office_service.mend(db, name, change, who)
    return len(changes)


def noted_around(db: Database, found: Group) -> tuple[datetime | None, datetime | None]:
    """When the phone noted the record in use before a group's first and the one after its last (its own count of records says which)."""
    rows = [store.record(db, row["id"]) for row in found.rows]
    counts = [row["seq"] for row in rows if row["seq"] is not None]
    if len(counts) < len(rows) or len({row["install"] for row in rows}) != 1:
        return None, None
    zone = clock.of(db).zone
    times = store.kept_around(db, rows[0]["install"], min(counts), max(counts))
    return tuple(None if at is None else datetime.fromisoformat(at.replace("Z", "+00:00")).astimezone(zone) for at in times)


def proposed_begin(db: Database, found: Group) -> datetime | None:
    """When a group whose clock was off most likely began, from what the same phone noted before and after it; None where that doesn't tell."""
    if not found.may_move:
        return None
    length = max((row["taken"] for row in found.rows)) - found.begins
    begin = held_groups.between(*noted_around(db, found), length)
    return None if begin is None else begin - timedelta(seconds=begin.second, microseconds=begin.microsecond)


def settle_doubts(db: Database, code: str, answer: str, first: int, last: int, who: str) -> tuple[int, list[Problem]]:
    """One answer to all open doubts of a kind that a page showed (numbers from ``first`` to ``last``): how many were settled, and what stood against the others."""
    done, refused = 0, []
    for doubt in store.doubts(db):
        if doubt["code"] != code or not first <= doubt["id"] <= last or (answer == "take" and not doubt["proposal"]):
            continue
        try:
            office_service.settle_doubt(db, doubt["id"], answer, who)
            done += 1
        except Problem as problem:
            refused.append(problem)
    return done, refused
