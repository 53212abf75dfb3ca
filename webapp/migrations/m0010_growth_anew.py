"""Answers of tonnage and crop in the form before one fit of weighings, loads, years and generations: made again when asked for."""

from . import script, steps


@steps()
def m0010_growth_anew(db):
    script(db, """
DELETE FROM answer WHERE stage IN ('tonnage', 'crop');
""")
