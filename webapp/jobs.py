"""Long work: a job table and one worker process; progress, stop, and life after a restart.

What a job kind does is told by the edge (``work.py``); this file only queues, runs and reports.
A job left *running* by a dead worker is started again by the next one.
"""

from __future__ import annotations

import json
import time
import traceback
from datetime import timedelta
from typing import Any, Callable

import sqlite_utils

from . import clock
from .database import atomic, rows
from .problems import Problem

Work = Callable[[sqlite_utils.Database, dict, Callable[[float, str], bool]], Any]
DEAD_AFTER = timedelta(seconds=30)
WAITING, RUNNING, DONE, FAILED, STOPPED = "waiting", "running", "done", "failed", "stopped"


def ask(db: sqlite_utils.Database, kind: str, who: str, **params: Any) -> int:
    """Queue a job; one already waiting with the same parameters is returned instead."""
    text = json.dumps(params, sort_keys=True)
    with atomic(db):
        found = db.conn.execute("SELECT id FROM job WHERE kind = ? AND params = ? AND state = ?", [kind, text, WAITING]).fetchone()
        if found:
            return found[0]
        return db["job"].insert({"kind": kind, "params": text, "state": WAITING, "asked_at": _now(), "asked_by": who}).last_pk


def stop(db: sqlite_utils.Database, job: int) -> None:
    with atomic(db):
        db.execute("UPDATE job SET stop_asked = 1 WHERE id = ?", [job])
        db.execute("UPDATE job SET state = ?, ended_at = ? WHERE id = ? AND state = ?", [STOPPED, _now(), job, WAITING])


def state(db: sqlite_utils.Database, job: int) -> dict:
    found = rows(db, "SELECT * FROM job WHERE id = ?", [job])
    if not found:
        raise Problem("job_unknown", where=str(job), status=404)
    return found[0]


def recent(db: sqlite_utils.Database, count: int = 20) -> list[dict]:
    return rows(db, "SELECT * FROM job ORDER BY id DESC LIMIT ?", [count])


def pending(db: sqlite_utils.Database, kind: str | None = None) -> list[dict]:
    """Jobs waiting or running, oldest first."""
    return rows(db, "SELECT * FROM job WHERE state IN (?, ?) AND (? IS NULL OR kind = ?) ORDER BY id", [WAITING, RUNNING, kind, kind])


def run_next(db: sqlite_utils.Database, kinds: dict[str, Work]) -> int | None:
    """Take and run the oldest job due; returns its number, or None when nothing waits."""
    _wake_orphans(db)
    with atomic(db):
        row = db.conn.execute("SELECT id, kind, params, asked_by FROM job WHERE state = ? ORDER BY id LIMIT 1", [WAITING]).fetchone()
        if row is None:
            return None
        job, kind, params, asked_by = row
        db.execute("UPDATE job SET state = ?, started_at = ?, beat_at = ? WHERE id = ?", [RUNNING, _now(), _now(), job])
    last = [0.0]

    def progress(done: float, note: str) -> bool:
        """Write at most four times a second, and tell whether the user wants the job to go on."""
        if time.monotonic() - last[0] > 0.25 or done >= 1:
            last[0] = time.monotonic()
            with atomic(db):
                db.execute("UPDATE job SET done = ?, note = ?, beat_at = ? WHERE id = ?", [min(max(done, 0.0), 1.0), note, _now(), job])
        return not db.conn.execute("SELECT stop_asked FROM job WHERE id = ?", [job]).fetchone()[0]

    try:
        if kind not in kinds:
            raise Problem("job_kind_unknown", where=kind)
        result = kinds[kind](db, {**json.loads(params), "who": asked_by}, progress)
        ended, text = DONE, json.dumps(result, default=str)
        if db.conn.execute("SELECT stop_asked FROM job WHERE id = ?", [job]).fetchone()[0]:
            ended = STOPPED
    except Problem as problem:
        ended, text = FAILED, json.dumps({"problem": problem.as_dict("es")}, default=str)
    except Exception as error:  # a failed job must be visible, and must not end the worker
        ended, text = FAILED, json.dumps({"error": f"{type(error).__name__}: {error}", "trace": traceback.format_exc()[-4000:]})
    with atomic(db):
        db.execute("UPDATE job SET state = ?, ended_at = ?, result = ?, done = CASE WHEN ? = 'done' THEN 1 ELSE done END WHERE id = ?",
                   [ended, _now(), text, ended, job])
    return job


def _wake_orphans(db: sqlite_utils.Database) -> None:
    limit = (clock.utc_now() - DEAD_AFTER).isoformat()
    with atomic(db):
        db.execute("UPDATE job SET state = ?, done = 0 WHERE state = ? AND beat_at < ?", [WAITING, RUNNING, limit])


def _now() -> str:
    return clock.utc_now().isoformat()


def work_forever(db: sqlite_utils.Database, kinds: dict[str, Work], alive: Callable[[], bool], pause_s: float = 0.5) -> None:
    """Run jobs until ``alive()`` turns false. A long solve must call its progress to stay alive."""
    while alive():
        if run_next(db, kinds) is None:
            time.sleep(pause_s)
