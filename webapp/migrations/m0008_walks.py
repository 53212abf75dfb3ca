"""What the office decided about outlines walked in the field."""

from . import script, steps


@steps()
def m0008_walks(db):
    script(db, """
CREATE TABLE walk_decision (
  record TEXT PRIMARY KEY REFERENCES record(id), action TEXT NOT NULL CHECK (action IN ('replaced', 'new_plot', 'set_aside')),
  plot TEXT, why TEXT NOT NULL DEFAULT '', at TEXT NOT NULL, by TEXT NOT NULL) STRICT;
""")
