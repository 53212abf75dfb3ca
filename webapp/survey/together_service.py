"""Batches that arrive at the same moment are written in one transaction, each still wholly or not at all.

A crew's phones find the road together. Every commit waits for the disk and writes its pages anew, so a
queue of commits is what makes the last phone wait; here whoever comes first writes for all who wait,
and nobody is answered before the commit that holds his records is on the disk.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any, Callable

from ..database import Database, atomic, path_of

MOST = 64
"""Batches in one transaction: enough to share the disk's wait, few enough that the first is not kept waiting."""


@dataclass
class _Waiting:
    write: Callable[[Database, list[Any]], list[Any]]
    item: Any
    woken: threading.Event = field(default_factory=threading.Event)
    result: Any = None
    error: BaseException | None = None
    done: bool = False


class _Desk:
    """Those who wait to write into one file; one of them leads."""

    def __init__(self) -> None:
        self.guard, self.queue, self.led = threading.Lock(), deque(), False


_desks: dict[str, _Desk] = {}
_desks_guard = threading.Lock()


def write_together(db: Database, write: Callable[[Database, list[Any]], list[Any]], item: Any) -> Any:
    """The item's result of ``write(db, items)``, inside an atomic block shared with whoever else waits; returned once that is committed.

    ``write`` gets all items that wait for the same function, so that it may ask and store for them at
    once, and gives a result for each in order; it must not depend on the thread it runs in. When a shared
    block fails, each is done again alone, so that one bad batch or a full disk is told to the one it concerns.
    """
    path = path_of(db)
    if not path or db.conn.in_transaction:  # in memory, or inside a caller's own block: nobody to share with
        with atomic(db):
            return write(db, [item])[0]
    with _desks_guard:
        desk = _desks.setdefault(path, _Desk())
    mine = _Waiting(write, item)
    with desk.guard:
        desk.queue.append(mine)
        lead, desk.led = not desk.led, True
    if not lead:
        mine.woken.wait()
    if not mine.done:
        _lead(desk, db, mine)
    if mine.error is not None:
        raise mine.error
    return mine.result


def _lead(desk: _Desk, db: Database, mine: _Waiting) -> None:
    """Write for all who wait until one's own is done, then hand the lead to the next who waits."""
    try:
        while not mine.done:
            with desk.guard:
                group = [desk.queue.popleft() for _ in range(min(len(desk.queue), MOST))]
            _write(db, group)
            for one in group:
                one.done = True
                if one is not mine:
                    one.woken.set()
    finally:
        with desk.guard:
            heir = desk.queue[0] if desk.queue else None
            desk.led = heir is not None
        if heir is not None:
            heir.woken.set()


def _write(db: Database, group: list[_Waiting]) -> None:
    try:
        with atomic(db):
            results = [result for write, ones in groupby(group, key=lambda one: one.write) for result in write(db, [one.item for one in ones])]
        for one, result in zip(group, results, strict=True):
            one.result = result
    except BaseException as error:
        if len(group) == 1:
            group[0].error = error
            return
        for one in group:
            _write(db, [one])
