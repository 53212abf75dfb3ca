"""The append-only log of field records, what is held for the office, and the phones' sequences."""

from . import script, steps


@steps()
def m0004_survey(db):
    script(db, """
CREATE TABLE record (
  n INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, install TEXT NOT NULL, seq INTEGER, round TEXT,
  kind TEXT NOT NULL, plot TEXT, taken_at TEXT, taken_fixed TEXT, received_at TEXT NOT NULL, lat REAL, lon REAL,
  accuracy_m REAL, confirmed INTEGER NOT NULL DEFAULT 0, replaces TEXT, schema INTEGER NOT NULL, fields TEXT NOT NULL,
  bytes BLOB NOT NULL, digest TEXT NOT NULL, source TEXT NOT NULL, sender TEXT NOT NULL,
  state TEXT NOT NULL CHECK (state IN ('kept', 'held', 'set_aside'))) STRICT;
CREATE INDEX record_kind ON record (kind, state, plot);
CREATE INDEX record_plot ON record (plot, kind);
CREATE INDEX record_replaces ON record (replaces);
CREATE INDEX record_install ON record (install, seq);
CREATE TABLE held (
  record TEXT PRIMARY KEY REFERENCES record(id), code TEXT NOT NULL, params TEXT NOT NULL, proposal TEXT,
  at TEXT NOT NULL, settled TEXT, settled_at TEXT, settled_by TEXT, why TEXT) STRICT;
CREATE TABLE conflict (
  id INTEGER PRIMARY KEY, record TEXT NOT NULL, bytes BLOB NOT NULL, digest TEXT NOT NULL, received_at TEXT NOT NULL,
  sender TEXT NOT NULL, settled_at TEXT, settled_by TEXT) STRICT;
CREATE TABLE doubt (
  id INTEGER PRIMARY KEY, code TEXT NOT NULL, record TEXT NOT NULL, params TEXT NOT NULL, proposal TEXT, at TEXT NOT NULL,
  settled TEXT, settled_at TEXT, settled_by TEXT, UNIQUE (code, record)) STRICT;
CREATE TABLE install (
  id TEXT PRIMARY KEY, sender TEXT NOT NULL, first_at TEXT NOT NULL, last_at TEXT NOT NULL, clock_error_s REAL) STRICT;
CREATE TABLE photo (
  digest TEXT PRIMARY KEY, record TEXT NOT NULL, media TEXT NOT NULL, size INTEGER NOT NULL, bytes BLOB NOT NULL, at TEXT NOT NULL) STRICT;
""")


@steps()
def m0004_survey_mark(db):
    script(db, """
CREATE TABLE survey_mark (name TEXT PRIMARY KEY, mark TEXT NOT NULL) STRICT;
""")
