"""Of which kind the rare part of a forecast was when it was said; until here as likely up as down, of chance 0.07. Answers in the form before: made again when asked for."""

from . import script, steps


@steps()
def m0016_mostly_up(db):
    script(db, """
ALTER TABLE said ADD COLUMN rare_chance REAL;
ALTER TABLE said ADD COLUMN rare_up REAL;
UPDATE said SET rare_chance = 0.07, rare_up = 0 WHERE rare_part IS NOT NULL;
DELETE FROM answer WHERE stage IN ('ripeness', 'crop', 'outlook');
""")
