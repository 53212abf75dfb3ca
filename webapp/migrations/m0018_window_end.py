"""A cutting window ends the week before the word turns *passing*; until here it held that week too. Answers told by the old rule: made again when asked for."""

from . import script, steps


@steps()
def m0018_window_end(db):
    script(db, "DELETE FROM answer WHERE stage = 'ripeness';")
