"""Batches that arrive at the same moment are judged by one thread and written in one transaction, each still wholly or not at all.

A crew's phones find the road together. Every commit waits for the disk and writes its pages anew, so a
queue of commits is what makes the last phone wait; and threads that reckon side by side take the
interpreter from each other thousands of times. Here whoever comes first works for all who wait, the others
sleep until their own answer is ready, and nobody is answered before the commit that holds his records is
on the disk. While one group is being written the next is already judged.
"""

from __future__ import annotations

import threading
from collections import deque
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any, Callable

from ..database import Database, atomic, path_of

MOST = 64
"""Batches in one group: enough to share the disk's wait, few enough that the first is not kept waiting."""

Write = Callable[[Database, list[Any]], list[Any]]


@dataclass
class _Waiting:
    work: Any
    item: Any
    woken: threading.Event = field(default_factory=threading.Event)
    result: Any = None
    error: BaseException | None = None
    done: bool = False


class _Desk:
    """Those who wait for the same kind of work on one file; one of them leads."""

    def __init__(self) -> None:
        self.guard, self.queue, self.led = threading.Lock(), deque(), False

    def next_group(self) -> list[_Waiting]:
        with self.guard:
            return [self.queue.popleft() for _ in range(min(len(self.queue), MOST))]

    def hand_on(self) -> None:
        """The lead to the next who waits, if any."""
        with self.guard:
            heir = self.queue[0] if self.queue else None
            self.led = heir is not None
        if heir is not None:
            heir.woken.set()


_desks: dict[tuple[str, str], _Desk] = {}
_desks_guard = threading.Lock()


def take_together(path: str, opened: Callable[[], Database], judge: Callable[[Database, Any], Any], write: Write, item: Any) -> Any:
    """The item's result of ``write(db, [judge(db, item), …])``, returned once that is committed to the file at ``path``.

    Whoever leads judges for all who wait, in their order, hands the lead on and has the group written
    (``write_together``). What can't be judged is told to the one it concerns; neither function may depend on
    the thread it runs in. Only who leads needs a connection, and asks ``opened`` for it.
    """
    if not path:  # in memory: nobody to share with
        return _alone(opened(), judge, write, item)
    return _join("judging", path, _Waiting((judge, write), item), lambda desk, mine: _lead_judging(desk, opened))


def _alone(db: Database, judge: Callable[[Database, Any], Any], write: Write, item: Any) -> Any:
    with atomic(db):
        return write(db, [judge(db, item)])[0]


def write_together(db: Database, write: Write, items: list[Any]) -> list[Any]:
    """The results of ``write(db, items)`` in order, inside an atomic block shared with whoever else waits; returned once that is committed.

    ``write`` gets all items that wait for the same function, so that it may ask and store for them at
    once; it must not depend on the thread it runs in. When a shared block fails, everybody's items are done
    again by themselves, so that one bad batch or a full disk is told to the one it concerns.
    """
    path = path_of(db)
    if not path or db.conn.in_transaction:
        with atomic(db):
            return write(db, items)
    return _join("writing", path, _Waiting(write, items), lambda desk, mine: _lead_writing(desk, db, mine))


def _join(kind: str, path: str, mine: _Waiting, lead: Callable[[_Desk, _Waiting], None]) -> Any:
    """Queue up at a file's desk; sleep until done, or until it is one's turn to lead."""
    with _desks_guard:
        desk = _desks.setdefault((kind, path), _Desk())
    with desk.guard:
        desk.queue.append(mine)
        first, desk.led = not desk.led, True
    if not first:
        mine.woken.wait()
    if not mine.done:
        lead(desk, mine)
    if mine.error is not None:
        raise mine.error
    return mine.result


def _lead_judging(desk: _Desk, opened: Callable[[], Database]) -> None:
    """Judge for all who wait (one's own is the first of them), let the next lead, and have them written."""
    group: list[_Waiting] = []
    try:
        try:
            group = desk.next_group()
            db = opened()
            judged = [_judged(db, one) for one in group]
        finally:
            desk.hand_on()
        by_write = groupby((pair for pair in zip(group, judged) if pair[0].error is None), key=lambda pair: pair[0].work[1])
        for write, pairs in by_write:
            _written(db, write, list(pairs))
    except BaseException as error:
        for one in group:
            one.error = one.error or error
    finally:
        for one in group:
            one.done = True
            one.woken.set()


def _judged(db: Database, one: _Waiting) -> Any:
    try:
        return one.work[0](db, one.item)
    except BaseException as error:
        one.error = error


def _written(db: Database, write: Write, pairs: list[tuple[_Waiting, Any]]) -> None:
    """A judged group in one go; when that fails, each alone."""
    try:
        results = write_together(db, write, [judged for _, judged in pairs])
        for (one, _), result in zip(pairs, results, strict=True):
            one.result = result
    except BaseException as error:
        if len(pairs) == 1:
            pairs[0][0].error = error
            return
        for pair in pairs:
            _written(db, write, [pair])


def _lead_writing(desk: _Desk, db: Database, mine: _Waiting) -> None:
    """Write for all who wait until one's own is done, then hand the lead to the next who waits."""
    try:
        while not mine.done:
            group = desk.next_group()
            _write(db, group)
            for one in group:
                one.done = True
                if one is not mine:
                    one.woken.set()
    finally:
        desk.hand_on()


def _write(db: Database, group: list[_Waiting]) -> None:
    try:
        with atomic(db):
            told = [result for write, ones in groupby(group, key=lambda one: one.work) for result in write(db, [item for one in ones for item in one.item])]
        results = iter(told)
        for one in group:
            one.result = [next(results) for _ in one.item]
    except BaseException as error:
        if len(group) == 1:
            group[0].error = error
            return
        for one in group:
            _write(db, [one])
