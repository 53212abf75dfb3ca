"""Sales, stock, agave bought outside, and the planting plans that were made."""

from . import script, steps


@steps()
def m0007_outlook(db):
    script(db, """
CREATE TABLE sale (
  market TEXT NOT NULL, category TEXT NOT NULL, class TEXT NOT NULL, month TEXT NOT NULL, litres REAL NOT NULL,
  source TEXT NOT NULL, PRIMARY KEY (market, category, class, month)) STRICT;
CREATE TABLE stock (
  category TEXT NOT NULL, class TEXT NOT NULL, age_years INTEGER NOT NULL, litres REAL NOT NULL, source TEXT NOT NULL,
  PRIMARY KEY (category, class, age_years)) STRICT;
CREATE TABLE agave_bought (year INTEGER PRIMARY KEY, mass_t REAL NOT NULL, paid_mxn REAL, source TEXT NOT NULL) STRICT;
CREATE TABLE growth_path (
  name TEXT NOT NULL, market TEXT NOT NULL, category TEXT NOT NULL, class TEXT NOT NULL, per_year REAL NOT NULL, weight REAL NOT NULL,
  PRIMARY KEY (name, market, category, class)) STRICT;
""")
