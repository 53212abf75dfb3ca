"""What a page's numbers rest on: the last stored answer, and whether newer records wait for a refit."""

from __future__ import annotations

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


def known_doubts() -> list[dict]:
    """Doubts as last looked for; where records came in since, the estimates' job looks again."""
    from ..survey import service as survey

    if survey.doubts_old(db()):
        jobs.ask(db(), "estimates", "pages")
    return survey.doubts(db(), look=False)

