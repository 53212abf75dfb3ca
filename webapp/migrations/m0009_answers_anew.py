"""Answers of ripeness, tonnage and crop in the form before the estate's own movement and the bending growth curve: made again when asked for."""

from . import script, steps


@steps()
def m0009_answers_anew(db):
    script(db, """
DELETE FROM answer WHERE stage IN ('ripeness', 'tonnage', 'crop');
""")
