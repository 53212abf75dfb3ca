"""Answers of ripeness and crop in the form before passes, generations and events were told to the ripening model: made again when asked for."""

from . import script, steps


@steps()
def m0012_answers_standing(db):
    script(db, """
DELETE FROM answer WHERE stage IN ('ripeness', 'crop');
""")
