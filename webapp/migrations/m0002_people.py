"""Who may do what: people, sessions, phones, one-time codes, and the trail of what was done."""

from . import script, steps


@steps()
def m0002_people(db):
    script(db, """
CREATE TABLE person (
  id INTEGER PRIMARY KEY, name TEXT NOT NULL, login TEXT NOT NULL UNIQUE, password_hash TEXT NOT NULL,
  roles TEXT NOT NULL, language TEXT NOT NULL DEFAULT 'es', active INTEGER NOT NULL DEFAULT 1, created_at TEXT NOT NULL) STRICT;
CREATE TABLE session (
  token_hash TEXT PRIMARY KEY, person INTEGER NOT NULL REFERENCES person(id), created_at TEXT NOT NULL,
  expires_at TEXT NOT NULL, last_seen TEXT NOT NULL) STRICT;
CREATE TABLE owner_link (token_hash TEXT PRIMARY KEY, created_at TEXT NOT NULL, expires_at TEXT NOT NULL, used_at TEXT) STRICT;
CREATE TABLE device (
  id TEXT PRIMARY KEY, name TEXT NOT NULL, crew TEXT NOT NULL DEFAULT '', secret_hash TEXT, made_by TEXT NOT NULL,
  made_at TEXT NOT NULL, enrolled_at TEXT, last_seen TEXT, revoked_at TEXT) STRICT;
CREATE TABLE enrol_code (
  code_hash TEXT PRIMARY KEY, device TEXT NOT NULL REFERENCES device(id), expires_at TEXT NOT NULL, used_at TEXT) STRICT;
CREATE TABLE attempt (id INTEGER PRIMARY KEY, act TEXT NOT NULL, subject TEXT NOT NULL, at TEXT NOT NULL) STRICT;
CREATE INDEX attempt_subject ON attempt (act, subject, at);
CREATE TABLE trail (
  id INTEGER PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL, act TEXT NOT NULL, subject TEXT NOT NULL,
  before TEXT, after TEXT) STRICT;
CREATE INDEX trail_subject ON trail (subject, id);
""")
