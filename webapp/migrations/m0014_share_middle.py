"""Answers of ripeness and crop in the form before the ripe share was the middle of what it may be: made again when asked for."""

from . import script, steps


@steps()
def m0014_share_middle(db):
    script(db, """
DELETE FROM answer WHERE stage IN ('ripeness', 'crop');
""")
