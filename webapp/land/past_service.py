"""The land as it was on a day of the past, on a copy of the estate: which plots stood, which were not yet planted."""

from __future__ import annotations

from datetime import date

from .. import answers
from ..database import Database, atomic
from . import store


def go_back(copy: Database, day: date, last_cut: dict[str, date]) -> list[str]:
    """Give a *copy* of the estate the land of ``day``; the plots that stood, by code.

    A plot that is cut today stood until its last load (``last_cut``); one planted later, or cut with no load on
    record, is left out. Outlines and zones stay as they are now: nobody's answer of ripeness rests on them.
    """
    stood = []
    with atomic(copy):
        for row in store.plots(copy):
            code, planted = row["code"], row["planted_on"]
            there = (planted is None or planted <= day.isoformat()) and (row["status"] == "standing" or last_cut.get(code, date.min) > day)
            store.put_plot(copy, code, {"status": "standing" if there else "retired"})
            stood += [code] if there else []
        store.drop_cohorts_after(copy, day.isoformat())
        answers.bump(copy, "land")
    return stood
