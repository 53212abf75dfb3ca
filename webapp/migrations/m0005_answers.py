"""Stored fits and answers, each under the key it rests on, and what was said when."""

from . import script, steps


@steps()
def m0005_answers(db):
    script(db, """
CREATE TABLE answer (
  stage TEXT NOT NULL, key TEXT NOT NULL, made_at TEXT NOT NULL, meta TEXT NOT NULL, arrays BLOB NOT NULL,
  PRIMARY KEY (stage, key)) STRICT;
CREATE TABLE said (
  id INTEGER PRIMARY KEY, fit TEXT NOT NULL, on_day TEXT NOT NULL, plot TEXT NOT NULL, week TEXT NOT NULL,
  mean_deg REAL NOT NULL, sd_deg REAL NOT NULL, share REAL NOT NULL, chance REAL NOT NULL, mass_t REAL,
  UNIQUE (on_day, plot, week)) STRICT;
""")
