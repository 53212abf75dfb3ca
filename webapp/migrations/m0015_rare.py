"""The part of a forecast's variance that is rare, kept with what is said. Answers of ripeness, crop and outlook in the form before: made again when asked for."""

from . import script, steps


@steps()
def m0015_rare(db):
    script(db, """
ALTER TABLE said ADD COLUMN rare_part REAL;
DELETE FROM answer WHERE stage IN ('ripeness', 'crop', 'outlook');
""")
