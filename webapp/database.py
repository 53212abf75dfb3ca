"""One SQLite file per estate: opening, migrating, one atomic block, backup and restore.

WAL with ``synchronous=FULL`` so that what was acknowledged survives a power cut; foreign keys on;
STRICT tables. Writers of one process queue on one lock instead of SQLite's busy back-off, which
was measured to push the slowest of eight writers past a second.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
import threading
from contextlib import contextmanager
from pathlib import Path
from typing import Iterator

import sqlite_utils

from .migrations import apply_all
from .problems import Problem

Database = sqlite_utils.Database
_locks: dict[str, threading.RLock] = {}
_locks_guard = threading.Lock()
_local = threading.local()
BUSY_MS = 15_000
WAL_PAGES = 4000
"""Pages (4 kB) of the write-ahead log before they go into the file: a crowd's records fill SQLite's usual thousand several times a second, and all wait each time."""


def _lock_for(db: Database) -> threading.RLock:
    path = path_of(db)
    with _locks_guard:
        return _locks.setdefault(path, threading.RLock())


def path_of(db: Database) -> str:
    """Absolute path of the estate file ("" for a database in memory), asked of SQLite once a connection."""
    known = getattr(db, "estate_path", None)
    if known is None:
        known = next((row[2] for row in db.conn.execute("PRAGMA database_list") if row[1] == "main"), "") or ""
        db.estate_path = known
    return known


def open_estate(path: str | os.PathLike, *, create: bool = False, read_only: bool = False) -> Database:
    """Open an estate file and bring its tables up to date.

    Raises Problem ``estate_missing``, ``estate_not_ours`` or ``estate_unreadable``.
    """
    path = Path(path)
    if not create and not path.exists():
        raise Problem("estate_missing", where=str(path), status=404)
    if create:
        path.parent.mkdir(parents=True, exist_ok=True)
    try:
        uri = f"{path.absolute().as_uri()}?mode={'ro' if read_only else 'rwc'}"
        conn = sqlite3.connect(uri, uri=True, timeout=BUSY_MS / 1000, check_same_thread=False)
        conn.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.DatabaseError as error:
        raise Problem("estate_unreadable", where=str(path), reason=str(error), status=500) from error
    db = sqlite_utils.Database(conn, strict=True)
    conn.execute(f"PRAGMA busy_timeout={BUSY_MS}")
    conn.execute("PRAGMA foreign_keys=ON")
    if not read_only:
        conn.execute("PRAGMA journal_mode=WAL")
        conn.execute("PRAGMA synchronous=FULL")
        conn.execute(f"PRAGMA wal_autocheckpoint={WAL_PAGES}")
        with translated_errors(str(path)):
            apply_all(db)
    return db


def thread_estate(path: str | os.PathLike) -> Database:
    """This thread's own open connection to an estate file (opened once, then reused)."""
    opened = getattr(_local, "opened", None)
    if opened is None:
        opened = _local.opened = {}
    found = opened.get(path)  # by the path as it is given, which is always the same one
    if found is None:
        key = str(Path(path).absolute())
        if key not in opened:
            opened[key] = open_estate(key)
        found = opened[path] = opened[key]
    return found


@contextmanager
def translated_errors(where: str = "") -> Iterator[None]:
    """SQLite's refusals of disk and permission in our words, so that every edge shows the same."""
    try:
        yield
    except sqlite3.OperationalError as error:
        text = str(error).lower()
        if "full" in text or "disk i/o" in text:
            raise Problem("database_full", where=where, status=507) from error
        if "readonly" in text or "read-only" in text:
            raise Problem("database_read_only", where=where, status=503) from error
        if "locked" in text or "busy" in text:
            raise Problem("database_busy", where=where, status=503) from error
        raise


@contextmanager
def atomic(db: Database) -> Iterator[Database]:
    """All or nothing. The outermost block takes the write lock at once; inner blocks join it."""
    with _lock_for(db), translated_errors(path_of(db)):
        if db.conn.in_transaction:
            with db.atomic():
                yield db
            return
        db.conn.execute("BEGIN IMMEDIATE")
        try:
            yield db
        except BaseException:
            db.conn.rollback()
            raise
        try:
            db.conn.commit()
        except BaseException:
            db.conn.rollback()
            raise


def rows(db: Database, sql: str, params: dict | list | tuple = ()) -> list[dict]:
    """Plain dictionaries of a query (values always bound, never pasted into the text)."""
    cursor = db.conn.execute(sql, params)
    names = [column[0] for column in cursor.description]
    return [dict(zip(names, row)) for row in cursor.fetchall()]


def backup(db: Database, target: str | os.PathLike) -> Path:
    """A consistent copy while the server runs (SQLite's online backup)."""
    target = Path(target)
    if target.exists():
        raise Problem("backup_exists", where=str(target), status=409)
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = target.with_name(target.name + ".partial")
    partial.unlink(missing_ok=True)
    copy = sqlite3.connect(partial)
    try:
        with translated_errors(str(target)):
            db.conn.backup(copy)
            copy.execute("PRAGMA journal_mode=DELETE")
    finally:
        copy.close()
    partial.replace(target)
    return target


def copy_without(db: Database, target: str | os.PathLike, leave_out: tuple[str, ...]) -> Database:
    """An estate file of its own with all tables but the rows of some (pictures, stored answers): to try something on. Opened."""
    copy = open_estate(target, create=True)
    copy.conn.execute("PRAGMA foreign_keys=OFF")
    copy.conn.execute("PRAGMA synchronous=OFF")
    copy.conn.execute("ATTACH DATABASE ? AS source", [path_of(db)])
    with translated_errors(str(target)), atomic(copy):
        for name in copy.table_names():
            if name not in (*leave_out, "_sqlite_migrations") and not name.startswith("sqlite_"):
                columns = ", ".join(f'"{column.name}"' for column in copy[name].columns)
                copy.conn.execute(f'INSERT OR REPLACE INTO main."{name}" ({columns}) SELECT {columns} FROM source."{name}"')
    copy.conn.execute("DETACH DATABASE source")
    copy.conn.execute("PRAGMA foreign_keys=ON")
    return copy


def restore(source: str | os.PathLike, target: str | os.PathLike) -> Path:
    """Put a backup where an estate file is expected, under a new ``store_epoch``.

    The new epoch tells every phone that acknowledged records may be gone, so each sends again
    what it still keeps; nothing already there is doubled.
    """
    source, target = Path(source), Path(target)
    if target.exists():
        raise Problem("restore_exists", where=str(target), status=409)
    check = open_estate(source, read_only=True)
    try:
        if check.conn.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            raise Problem("estate_unreadable", where=str(source), reason="integrity_check", status=500)
        if "estate" not in check.table_names():
            raise Problem("estate_not_ours", where=str(source), status=422)
        copy = sqlite3.connect(target)
        with translated_errors(str(target)):
            check.conn.backup(copy)
        copy.close()
    finally:
        check.conn.close()
    db = open_estate(target)
    with atomic(db):
        db.execute("UPDATE estate SET store_epoch = ?", [secrets.token_hex(8)])
    db.conn.close()
    return target
