"""What a page's numbers rest on: the last stored answer, and whether newer records wait for a refit."""

from __future__ import annotations

from typing import Any

from .. import jobs
from ..answers import Answer
from .access import db
from .layout import words


def estimates() -> tuple[Answer, Answer, Answer, str]:
    """Ripeness, tonnage and crop as last stored, and a sentence when the records have moved on ("" when not).

    A page never waits for a fit: the first request after a new record gets the last answer, marked so,
    and a job refits the estate.
    """
    from ..crop import service as crop
    from ..ripeness import service as ripeness
    from ..tonnage import service as tonnage

    ripe = ripeness.answer(db())
    stale = ""
    if ripeness.stale(ripe, db()):
        jobs.ask(db(), "estimates", "pages")
        stale = words("pages.stale", made_at=ripe.made_at[:16].replace("T", " "))
    return ripe, tonnage.answer(db()), crop.answer(db()), stale


def column(answer: Answer, name: str, index: int) -> Any:
    """One week's column of a [plot, week] array."""
    return answer.arrays[name][:, index]
