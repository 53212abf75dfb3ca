"""Crews and trucks, cutting plans with the inputs they were made from, and orders."""

from . import script, steps


@steps()
def m0006_cutting(db):
    script(db, """
CREATE TABLE crew (name TEXT PRIMARY KEY, people INTEGER NOT NULL, home_zone TEXT, active INTEGER NOT NULL DEFAULT 1) STRICT;
CREATE TABLE week_need (week TEXT PRIMARY KEY, need_t REAL NOT NULL, by TEXT NOT NULL, at TEXT NOT NULL) STRICT;
CREATE TABLE week_caution (week TEXT PRIMARY KEY, kind TEXT NOT NULL, by TEXT NOT NULL, at TEXT NOT NULL) STRICT;
CREATE TABLE plan (
  id INTEGER PRIMARY KEY, made_at TEXT NOT NULL, made_by TEXT NOT NULL, how TEXT NOT NULL, key TEXT NOT NULL,
  first_week TEXT NOT NULL, weeks INTEGER NOT NULL, outcome TEXT NOT NULL, value REAL NOT NULL, bound REAL,
  meta TEXT NOT NULL, inputs BLOB NOT NULL, published_at TEXT, published_by TEXT) STRICT;
CREATE TABLE plan_cut (
  plan INTEGER NOT NULL REFERENCES plan(id), plot TEXT NOT NULL, week TEXT NOT NULL, pass INTEGER NOT NULL,
  clearing INTEGER NOT NULL, mass_t REAL NOT NULL, plants REAL NOT NULL, sugar_t REAL NOT NULL,
  PRIMARY KEY (plan, plot, week)) STRICT;
CREATE TABLE cutting_order (
  id TEXT NOT NULL, day TEXT NOT NULL, plan INTEGER NOT NULL REFERENCES plan(id), crew TEXT NOT NULL, week TEXT NOT NULL,
  plot TEXT NOT NULL, pass INTEGER NOT NULL, clearing INTEGER NOT NULL, mass_t REAL NOT NULL, plants REAL NOT NULL, pina_kg REAL NOT NULL,
  cut_style TEXT NOT NULL, trucks TEXT NOT NULL, how_to_tell TEXT NOT NULL, cautions TEXT NOT NULL, published_at TEXT NOT NULL,
  PRIMARY KEY (id, day)) STRICT;
CREATE INDEX order_week ON cutting_order (week, crew);
""")
