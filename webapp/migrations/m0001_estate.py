"""The estate itself, its settings, its jobs and its version counters."""

from . import script, steps


@steps()
def m0001_estate(db):
    script(db, """
CREATE TABLE estate (
  id INTEGER PRIMARY KEY CHECK (id = 1), name TEXT NOT NULL, time_zone TEXT NOT NULL,
  frozen_today TEXT, created_at TEXT NOT NULL, store_epoch TEXT NOT NULL) STRICT;
CREATE TABLE setting_value (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, value TEXT NOT NULL, set_at TEXT NOT NULL, set_by TEXT NOT NULL) STRICT;
CREATE INDEX setting_value_name ON setting_value (name, id);
CREATE TABLE version_count (domain TEXT PRIMARY KEY, n INTEGER NOT NULL) STRICT;
CREATE TABLE job (
  id INTEGER PRIMARY KEY, kind TEXT NOT NULL, params TEXT NOT NULL, state TEXT NOT NULL,
  asked_at TEXT NOT NULL, asked_by TEXT NOT NULL, started_at TEXT, ended_at TEXT, beat_at TEXT,
  done REAL NOT NULL DEFAULT 0, note TEXT NOT NULL DEFAULT '', result TEXT, stop_asked INTEGER NOT NULL DEFAULT 0) STRICT;
CREATE INDEX job_state ON job (state, id);
""")
