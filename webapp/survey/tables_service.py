"""Tables of the records in force, and the version of the data they stand for.

Made once and kept in the process: a new record remakes only the tables of its own kind.
"""

from __future__ import annotations

import threading
from typing import Any

from .. import answers, clock
from ..database import Database
from ..land import service as land
from ..problems import Problem
from . import chain, frames, store
from .frames import Kept
from .taking_service import cached, place, settle_with_land

_logs: dict[Any, tuple[int, list[Kept]]] = {}
_guard = threading.Lock()


def data_version(db: Database) -> str:
    """Changes with every kept record, every decision of the office and every change of land."""
    settle_with_land(db)
    return f"r{store.last_number(db)}-o{answers.version(db, 'survey')}-l{land.version(db)}"


def kept(db: Database) -> list[Kept]:
    """All kept records in the order of the log. Kept rows never change, so only new ones are read."""
    decisions, last = answers.version(db, "survey"), store.last_number(db)
    where = place(db)
    with _guard:
        before, rows = _logs.get(where, (-1, []))
    if before != decisions or (rows and store.id_at(db, rows[-1].n) != rows[-1].id):
        rows = []
    if not rows or rows[-1].n < last:
        rows = rows + [Kept(*row) for row in store.kept_after(db, rows[-1].n if rows else 0)]
        with _guard:
            _logs[where] = (decisions, rows)
    return rows


def forget(db: Database) -> None:
    """Let go of the records read from a store that is no longer needed."""
    with _guard:
        _logs.pop(place(db), None)


def _links(db: Database) -> list[dict]:
    return [{"id": r.id, "kind": r.kind, "replaces": r.replaces, "taken_fixed": r.taken_fixed, "plot": r.plot, "round": r.round} for r in kept(db)]


def _living(db: Database) -> dict[str, tuple[tuple, list[Kept]]]:
    """Kind → (key that changes with the table, records in force)."""
    def make() -> dict:
        links = _links(db)
        living, by_kind, rounds = chain.in_force(links), {}, chain.inherited_rounds(links)
        for row in kept(db):
            by_kind.setdefault(row.kind, []).append(row)
        out = {}
        for kind, rows in by_kind.items():
            # A correction written after its round was finished came without one from phones before this; its instrument and ATC are the round's.
            alive = [row._replace(round=rounds[row.id]) if row.id in rounds else row for row in rows if row.id in living]
            out[kind] = ((answers.version(db, "survey"), rows[-1].n, len(rows), frozenset(row.id for row in rows if row.id not in living)), alive)
        return out

    version = data_version(db)
    return cached(db, "living", (version, store.id_at(db, store.last_number(db))), make)


def in_force(db: Database) -> dict[str, list[Kept]]:
    return {kind: rows for kind, (_, rows) in _living(db).items()}


def rival_corrections(db: Database) -> list[tuple[str, list[str], str | None]]:
    """(record, its corrections with the one that counts last, plot) wherever there are two or more."""
    plots = {row.id: row.plot for row in kept(db)}
    return [(name, replies, plots.get(name)) for name, replies in chain.rivals(_links(db))]


def _key(db: Database, kind: str) -> tuple:
    return _living(db).get(kind, ((), []))[0]


def _plain(db: Database, kind: str):
    key, rows = _living(db).get(kind, ((), []))
    return cached(db, f"table {kind}", key, lambda: frames.table(kind, rows, clock.of(db).zone))


def table(db: Database, kind: str):
    """The table of one kind, with what is joined and computed. Problem ``kind_unknown``."""
    from .. import dictionary

    if kind not in dictionary.kinds():
        raise Problem("kind_unknown", where=kind, kinds=", ".join(dictionary.kinds()))
    if kind == "reading":
        made = cached(db, "readings", (_key(db, "reading"), _key(db, "round")), lambda: frames.readings(_plain(db, "reading"), _plain(db, "round")))
    elif kind == "load":
        made = cached(db, "loads", (_key(db, "load"), _key(db, "lab")), lambda: frames.loads(_plain(db, "load"), _plain(db, "lab")))
    else:
        made = _plain(db, kind)
    return made.copy(deep=False)  # a caller's new columns stay the caller's


def readings(db: Database):
    return table(db, "reading")


def loads(db: Database):
    return table(db, "load")


def rounds(db: Database):
    return table(db, "round")


def row_counts(db: Database):
    return table(db, "row_count")


def weighings(db: Database):
    return table(db, "weighing")


def age_checks(db: Database):
    return table(db, "age_check")


def markings(db: Database):
    return table(db, "marking")


def labors(db: Database):
    return table(db, "labor")


def losses(db: Database):
    return table(db, "loss")


def orders_done(db: Database):
    return table(db, "order_done")


def remarks(db: Database):
    return table(db, "remark")


def photos(db: Database):
    return table(db, "photo")


def outlines_walked(db: Database):
    return table(db, "outline")
