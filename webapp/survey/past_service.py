"""The estate as its records of a past day tell it: a copy to ask what would have been said then.

Only the copy made here is ever cut back; the log itself loses nothing.
"""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Callable, Iterator

from .. import answers, clock
from ..database import Database, atomic, copy_without
from ..land import past_service as land_past
from . import intake, store
from .tables_service import forget as forget_tables, loads
from .taking_service import forget


@contextmanager
def past(db: Database) -> Iterator[Callable[[date], tuple[Database, list[str]]]]:
    """``back_to(day)`` → (a copy of the estate on that day, codes of the plots that stood). Days from the newest to the oldest.

    Records count by the day they were taken on; what was put right since then with a time of now is not yet there.
    """
    last_cut = {code: max(part) for code, part in loads(db).groupby("plot")["day"]}
    with tempfile.TemporaryDirectory(prefix="pinario-past-") as folder:
        copy = copy_without(db, Path(folder) / "past.db", ("photo", "answer", "job"))
        try:
            yield lambda day: (copy, _cut_back(copy, day, last_cut))
        finally:
            for let_go in (answers.forget, forget, forget_tables):
                let_go(copy)
            copy.conn.close()


def _cut_back(copy: Database, day: date, last_cut: dict[str, date]) -> list[str]:
    end = datetime.combine(day + timedelta(days=1), time(), clock.of(copy).zone)
    with atomic(copy):
        answers.forget(copy)  # newer ones would push out what is answered under an older day
        store.freeze(copy, day.isoformat())
        store.drop_after(copy, intake.as_utc_text(end))
        stood = land_past.go_back(copy, day, last_cut)
        answers.bump(copy, "survey")
        store.mark(copy, "judged", "")
    return stood
