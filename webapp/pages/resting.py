"""What a page's numbers rest on: the last stored answer, and whether newer records wait for a refit."""

from __future__ import annotations

from .. import jobs
from ..answers import Answer
from ..problems import Problem
from .access import db
from .layout import words


def estimates() -> tuple[Answer, Answer, Answer, str]:
    """Ripeness, tonnage and crop as last stored, and a sentence when the records have moved on ("" when not).

    A page never waits for a fit: the first request after a new record gets the last answer, marked so,
    and a job refits the estate.
    """
    from ..crop import service as crop
    from ..ripeness import service as ripeness

    grown = crop.answer(db())
    ripe, tonnes = crop.basis(db(), grown)
    stale = ""
    if ripeness.stale(ripe, db()):
        _ask()
        stale = words("pages.stale", made_at=ripe.made_at[:16].replace("T", " "))
    return ripe, tonnes, grown, stale


def _ask() -> None:
    """Ask for a refit; a file that can't be written still shows what it knows."""
    try:
        jobs.ask(db(), "estimates", "pages")
    except Problem as problem:
        if problem.code not in ("database_read_only", "database_full", "database_busy"):
            raise


def known_doubts() -> list[dict]:
    """Doubts as last looked for; where records came in since, the estimates' job looks again."""
    from ..survey import service as survey

    if survey.doubts_old(db()):
        _ask()
    return survey.doubts(db(), look=False)

