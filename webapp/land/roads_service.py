"""Roads that are closed: a zone's or a plot's, for whole ISO weeks, with the reason and who said so."""

from __future__ import annotations

import csv
import io

from .. import answers
from ..database import Database, atomic
from ..people import service as people
from ..problems import Problem
from ..weeks import monday_of
from . import store


def closures(db: Database) -> list[dict]:
    return store.closures(db)


def add_closure(db: Database, scope: str, subject: str, from_week: str, to_week: str, reason: str, who: str) -> int:
    """A zone's or plot's road closed for whole ISO weeks. Problems ``week_bad``, ``closure_subject``."""
    for week in (from_week, to_week):
        try:
            monday_of(week)
        except ValueError:
            raise Problem("week_bad", where="week", value=week) from None
    if monday_of(to_week) < monday_of(from_week):
        raise Problem("weeks_backwards", where="to_week", first=from_week, last=to_week)
    known = {z["name"] for z in store.zones(db)} if scope == "zone" else {row["code"] for row in store.plots(db)}
    if scope not in ("zone", "plot") or subject not in known:
        raise Problem("closure_subject", where=subject or scope)
    with atomic(db):
        made = store.add_closure(db, {"scope": scope, "subject": subject, "from_week": from_week, "to_week": to_week, "reason": reason.strip()[:200], "by": who})
        answers.bump(db, "closures")
        people.note(db, who, "close_road", subject, after=f"{from_week}–{to_week}")
    return made


def remove_closure(db: Database, closure: int, who: str) -> None:
    with atomic(db):
        found = store.remove_closure(db, closure)
        if found is None:
            raise Problem("closure_subject", where=str(closure), status=404)
        answers.bump(db, "closures")
        people.note(db, who, "open_road", found["subject"], before=f"{found['from_week']}–{found['to_week']}")


def load_closures(db: Database, data: bytes, who: str) -> int:
    """Closures from a CSV with scope, subject, from_week, to_week, reason; all or none."""
    with atomic(db):
        rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
        for row in rows:
            add_closure(db, row["scope"], row["subject"], row["from_week"], row["to_week"], row.get("reason", ""), who)
    return len(rows)
