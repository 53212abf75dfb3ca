"""What a page's numbers rest on: the last stored answer, and whether newer records wait for a refit."""

from __future__ import annotations

from datetime import datetime

from .. import answers, clock, jobs
from ..answers import Answer
from ..problems import Problem
from .access import db
from .layout import words

MOST_AT_ONCE = 400
"""Plots that a page reckons while somebody waits (two seconds); more are left to the job."""

def estimates() -> tuple[Answer, Answer, Answer, str]:
    """Ripeness, tonnage and crop as last stored, and a sentence when the records have moved on ("" when not).

    A page never waits for a fit: the first request after a new record gets the last answer, marked so,
    and a job refits the estate. Of an estate that has none yet a small one is reckoned at once; a large
    one would keep the page for a minute or more: Problem ``being_reckoned`` (503).
    """
    from ..crop import service as crop
    from ..ripeness import service as ripeness

    must_be_reckoned()
    grown = crop.answer(db())
    ripe, tonnes = crop.basis(db(), grown)
    stale = ""
    if ripeness.stale(ripe, db()):
        _ask()
        stale = words("pages.stale", made_at=f"{datetime.fromisoformat(ripe.made_at.replace('Z', '+00:00')).astimezone(clock.of(db()).zone):%Y-%m-%d %H:%M}")
    return ripe, tonnes, grown, stale


def reckoned() -> bool:
    """Whether there are answers to show, or few enough plots to make them now; where not, the job is asked for."""
    from ..crop import service as crop
    from ..land import service as land

    if answers.latest(db(), crop.STAGE) is not None or len(land.plots(db())) <= MOST_AT_ONCE:
        return True
    _ask()
    return False


def must_be_reckoned() -> None:
    """Problem ``being_reckoned`` (503) in place of a page that would be kept for minutes."""
    if not reckoned():
        raise Problem("being_reckoned", status=503, wait_s=60)


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

