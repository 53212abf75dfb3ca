"""Tonnes as the pages say them, kept when said: the mean of the joint draws with its 80 % interval. What ``said_mass`` holds of tonnes are medians.
Answers of tonnage and crop in the form before piñas and ripeness were drawn together: made again when asked for."""

from . import script, steps


@steps()
def m0013_tonnes_said(db):
    script(db, """
CREATE TABLE said_tonnes (
  id INTEGER PRIMARY KEY, key TEXT NOT NULL, on_day TEXT NOT NULL, plot TEXT NOT NULL, week TEXT NOT NULL,
  mass_t REAL NOT NULL, mass_low80_t REAL NOT NULL, mass_high80_t REAL NOT NULL,
  said_from TEXT NOT NULL DEFAULT 'when_said' CHECK (said_from IN ('when_said', 'replayed')), UNIQUE (on_day, plot, week)) STRICT;
DELETE FROM answer WHERE stage IN ('tonnage', 'crop');
""")
