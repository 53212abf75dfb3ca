"""Stored answers of each stage, under the key (data version, settings version, fit) they rest on.

Pages serve the last answer and say so when the records have moved on; the same file gives the same
answers byte for byte, so a key that is already answered is never computed again.
"""

from __future__ import annotations

import io
import json
import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
import sqlite_utils

from . import clock
from .database import atomic, path_of

STAGES = ("ripeness", "tonnage", "crop", "cutting", "outlook")
KEPT_PER_STAGE = 6


@dataclass(frozen=True)
class Answer:
    """One stage's answer: JSON-able ``meta`` and named numpy ``arrays``."""

    stage: str
    key: str
    made_at: str
    meta: dict[str, Any]
    arrays: dict[str, np.ndarray]


_cache: dict[tuple[str, str, str], Answer] = {}
_guard = threading.Lock()


def key_of(**parts: Any) -> str:
    """A readable, ordered key: ``key_of(data="r12-l3", settings=4)`` → ``data=r12-l3 settings=4``."""
    return " ".join(f"{name}={parts[name]}" for name in sorted(parts))


def put(db: sqlite_utils.Database, stage: str, key: str, meta: dict, arrays: dict[str, np.ndarray] | None = None) -> Answer:
    """Store an answer (replacing one of the same key) and forget all but the newest few."""
    buffer = io.BytesIO()
    np.savez_compressed(buffer, **(arrays or {}))
    made_at = clock.of(db).stamp()
    with atomic(db):
        db.execute(
            "INSERT INTO answer (stage, key, made_at, meta, arrays) VALUES (?, ?, ?, ?, ?) "
            "ON CONFLICT (stage, key) DO UPDATE SET made_at = excluded.made_at, meta = excluded.meta, arrays = excluded.arrays",
            [stage, key, made_at, json.dumps(meta, allow_nan=False, sort_keys=True), buffer.getvalue()])
        db.execute("DELETE FROM answer WHERE stage = ? AND rowid NOT IN (SELECT rowid FROM answer WHERE stage = ? ORDER BY made_at DESC, rowid DESC LIMIT ?)",
                   [stage, stage, KEPT_PER_STAGE])
    return get(db, stage, key)  # read back: what is served is what is stored


def get(db: sqlite_utils.Database, stage: str, key: str) -> Answer | None:
    row = db.conn.execute("SELECT key, made_at FROM answer WHERE stage = ? AND key = ?", [stage, key]).fetchone()
    return _load(db, stage, *row) if row else None


def latest(db: sqlite_utils.Database, stage: str) -> Answer | None:
    """The newest answer whatever its key; the caller compares ``key`` with today's to mark it."""
    row = db.conn.execute("SELECT key, made_at FROM answer WHERE stage = ? ORDER BY made_at DESC, rowid DESC LIMIT 1", [stage]).fetchone()
    return _load(db, stage, *row) if row else None


def _load(db: sqlite_utils.Database, stage: str, key: str, made_at: str) -> Answer:
    where = (path_of(db), stage, f"{key} {made_at}")
    with _guard:
        found = _cache.get(where)
    if found is None:
        meta, blob = db.conn.execute("SELECT meta, arrays FROM answer WHERE stage = ? AND key = ?", [stage, key]).fetchone()
        with np.load(io.BytesIO(blob), allow_pickle=False) as stored:
            arrays = {name: stored[name] for name in stored.files}
        for array in arrays.values():
            array.setflags(write=False)
        found = Answer(stage, key, made_at, json.loads(meta), arrays)
        with _guard:
            for old in [k for k in _cache if k[:2] == where[:2]][:-3]:
                del _cache[old]
            _cache[where] = found
    return found


def forget(db: sqlite_utils.Database) -> None:
    """Take every stored answer out of an estate's copy, and out of this process."""
    with atomic(db):
        db.execute("DELETE FROM answer")
    with _guard:
        for where in [w for w in _cache if w[0] == path_of(db)]:
            del _cache[where]


def bump(db: sqlite_utils.Database, domain: str) -> int:
    """Raise a domain's version counter (inside the caller's atomic block)."""
    db.execute("INSERT INTO version_count (domain, n) VALUES (?, 1) ON CONFLICT (domain) DO UPDATE SET n = n + 1", [domain])
    return version(db, domain)


def version(db: sqlite_utils.Database, domain: str) -> int:
    row = db.conn.execute("SELECT n FROM version_count WHERE domain = ?", [domain]).fetchone()
    return row[0] if row else 0
