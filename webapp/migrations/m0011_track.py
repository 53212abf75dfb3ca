"""What was said, ready to be held against what came: the noise of a visit and the pace of change beside it, piñas and tonnes, and whether it was said then or made afterwards from the records of then."""

from . import script, steps


@steps()
def m0011_track(db):
    script(db, """
ALTER TABLE said ADD COLUMN rate_deg_week REAL;
ALTER TABLE said ADD COLUMN visit_sd_deg REAL;
ALTER TABLE said ADD COLUMN plant_sd_deg REAL;
ALTER TABLE said ADD COLUMN said_from TEXT NOT NULL DEFAULT 'when_said' CHECK (said_from IN ('when_said', 'replayed'));
CREATE TABLE said_mass (
  id INTEGER PRIMARY KEY, key TEXT NOT NULL, on_day TEXT NOT NULL, plot TEXT NOT NULL, week TEXT NOT NULL,
  pina_kg REAL NOT NULL, pina_log_sd REAL NOT NULL, mass_t REAL NOT NULL, mass_low80_t REAL NOT NULL, mass_high80_t REAL NOT NULL,
  said_from TEXT NOT NULL DEFAULT 'when_said' CHECK (said_from IN ('when_said', 'replayed')), UNIQUE (on_day, plot, week)) STRICT;
DELETE FROM answer WHERE stage = 'crop';
""")
