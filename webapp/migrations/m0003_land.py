"""Parcels, zones, plots with every version of their outlines, cohorts, road closures."""

from . import script, steps


@steps()
def m0003_land(db):
    script(db, """
CREATE TABLE zone (
  name TEXT PRIMARY KEY, altitude_m REAL, haul_km REAL, truck_max_t REAL, wet_road INTEGER NOT NULL DEFAULT 1,
  note TEXT NOT NULL DEFAULT '') STRICT;
CREATE TABLE parcel (
  code TEXT PRIMARY KEY, name TEXT NOT NULL, registry_number TEXT NOT NULL DEFAULT '', tenure TEXT NOT NULL DEFAULT 'owned'
  CHECK (tenure IN ('owned', 'leased', 'shared')), lease_end TEXT, registered_plants INTEGER, share REAL NOT NULL DEFAULT 1.0,
  note TEXT NOT NULL DEFAULT '') STRICT;
CREATE TABLE plot (
  code TEXT PRIMARY KEY, name TEXT NOT NULL, parcel TEXT REFERENCES parcel(code), zone TEXT REFERENCES zone(name),
  variety TEXT NOT NULL DEFAULT 'azul', row_spacing_m REAL, plant_spacing_m REAL, planted_on TEXT, offset_size_cm REAL,
  status TEXT NOT NULL DEFAULT 'standing' CHECK (status IN ('standing', 'cut', 'fallow', 'retired')), gate TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '') STRICT;
CREATE TABLE outline (
  id INTEGER PRIMARY KEY, plot TEXT NOT NULL REFERENCES plot(code), geometry TEXT NOT NULL, area_ha REAL NOT NULL,
  perimeter_m REAL NOT NULL, lat REAL NOT NULL, lon REAL NOT NULL, source TEXT NOT NULL, since TEXT NOT NULL, by TEXT NOT NULL) STRICT;
CREATE INDEX outline_plot ON outline (plot, id);
CREATE TABLE cohort (
  id INTEGER PRIMARY KEY, plot TEXT NOT NULL REFERENCES plot(code), kind TEXT NOT NULL CHECK (kind IN ('first', 'replanting')),
  planted_on TEXT, plants INTEGER, note TEXT NOT NULL DEFAULT '') STRICT;
CREATE INDEX cohort_plot ON cohort (plot, planted_on);
CREATE TABLE closure (
  id INTEGER PRIMARY KEY, scope TEXT NOT NULL CHECK (scope IN ('zone', 'plot')), subject TEXT NOT NULL,
  from_week TEXT NOT NULL, to_week TEXT NOT NULL, reason TEXT NOT NULL DEFAULT '', by TEXT NOT NULL) STRICT;
CREATE TABLE waiting_plot (
  id INTEGER PRIMARY KEY, file TEXT NOT NULL, feature INTEGER NOT NULL, code TEXT NOT NULL DEFAULT '', geometry TEXT,
  attributes TEXT NOT NULL, findings TEXT NOT NULL, at TEXT NOT NULL, by TEXT NOT NULL, settled_at TEXT, settled_by TEXT) STRICT;
""")
