"""What a page's numbers rest on: the last stored answer, and whether newer records wait for a refit."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import Any

from .. import answers, clock, jobs
from ..answers import Answer
from ..problems import Problem
from ..sentences import known
from .access import db
from .layout import words

MOST_AT_ONCE = 400
"""Plots that a page reckons while somebody waits (two seconds); more are left to the job."""
AGAIN_S = 60
"""How long a page that has nothing to show yet asks to be left alone."""
UNTAKEN, SILENT, ASKED_AGAIN = timedelta(minutes=1), timedelta(minutes=10), timedelta(minutes=15)
"""When a job nobody takes, or one that says nothing, means that no worker runs; and when one that failed is asked for again."""


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
    job = _first_job()
    if job is None or job["state"] == jobs.DONE or (job["state"] in (jobs.FAILED, jobs.STOPPED) and _since(job["ended_at"]) > ASKED_AGAIN):
        _ask()  # a page that opens itself again must not queue the same work each time
    return False


def must_be_reckoned() -> None:
    """Problem ``being_reckoned`` (503) in place of a page that would be kept for minutes."""
    if not reckoned():
        raise Problem("being_reckoned", status=503, wait_s=AGAIN_S)


def waiting() -> dict[str, Any]:
    """What the page says that stands in for one still being reckoned: the ``job`` (None where none could be asked for), ``how`` it is doing in words, ``trouble`` in words where it takes too long, ``plots`` it is about."""
    from ..land import service as land

    job, n = _first_job(), len(land.plots(db()))
    return {"job": job, "plots": n, "again_s": AGAIN_S, "minutes": max(1, round(n / 2500)), "how": _how(job), "trouble": _trouble(job), "running": bool(job) and job["state"] in (jobs.WAITING, jobs.RUNNING)}


def _first_job() -> dict[str, Any] | None:
    """The estimates' job that runs or waits (the running one first), else the last one that ended."""
    found = jobs.pending(db(), "estimates") or [job for job in jobs.recent(db()) if job["kind"] == "estimates"]
    return found[0] if found else None


def _how(job: dict[str, Any] | None) -> str:
    if job is None:
        return words("pages.waiting.none")
    if job["state"] == jobs.RUNNING:
        part = words(job["note"]) if job["note"] and known(job["note"]) else words("work.ripeness")
        return words("pages.waiting.running", at=_hour(job["started_at"]), minutes=_since(job["started_at"]) // timedelta(minutes=1), part=part)
    if job["state"] == jobs.WAITING:
        ahead = [one for one in jobs.pending(db()) if one["state"] == jobs.RUNNING]
        if ahead and known(f"pages.job.{ahead[0]['kind']}"):
            return words("pages.waiting.behind", at=_hour(job["asked_at"]), ahead=words(f"pages.job.{ahead[0]['kind']}"))
        return words("pages.waiting.queued", at=_hour(job["asked_at"]))
    return words("pages.waiting.ended", at=_hour(job["ended_at"]))


def _trouble(job: dict[str, Any] | None) -> str:
    """What to do when it takes too long; "" while all is well."""
    if job is None:
        return ""
    if job["state"] == jobs.WAITING and _since(job["asked_at"]) > UNTAKEN and not any(one["state"] == jobs.RUNNING for one in jobs.pending(db())):
        return words("pages.waiting.untaken", minutes=_since(job["asked_at"]) // timedelta(minutes=1))
    if job["state"] == jobs.RUNNING and _since(job["beat_at"]) > SILENT:
        return words("pages.waiting.silent", at=_hour(job["beat_at"]))
    if job["state"] in (jobs.FAILED, jobs.STOPPED):
        told = json.loads(job["result"] or "{}")
        why = (told.get("problem") or {}).get("detail") or told.get("error") or ""
        return words("pages.waiting.failed" if job["state"] == jobs.FAILED else "pages.waiting.stopped", why=why, minutes=ASKED_AGAIN // timedelta(minutes=1))
    return ""


def _since(stamp: str) -> timedelta:
    return clock.utc_now() - datetime.fromisoformat(stamp)


def _hour(stamp: str) -> str:
    return f"{datetime.fromisoformat(stamp).astimezone(clock.of(db()).zone):%H:%M}"


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

