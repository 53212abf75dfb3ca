"""Numbered steps of the estate file, each in its own transaction, applied once and in order."""

from __future__ import annotations

from importlib import import_module

import sqlite_utils
from sqlite_utils.migrations import Migrations

steps = Migrations("pinario")
FILES = ("m0001_estate", "m0002_people", "m0003_land", "m0004_survey", "m0005_answers", "m0006_cutting", "m0007_outlook", "m0008_walks", "m0009_answers_anew", "m0010_growth_anew", "m0011_track", "m0012_answers_standing", "m0013_tonnes_said", "m0014_share_middle", "m0015_rare", "m0016_mostly_up", "m0017_sequences", "m0018_window_end")


def apply_all(db: sqlite_utils.Database) -> None:
    """Bring an estate file up to date; nothing happens when it is."""
    for name in FILES:
        import_module(f"{__name__}.{name}")
    if not steps.pending(db):
        return
    steps.apply(db)


def script(db: sqlite_utils.Database, sql: str) -> None:
    """Run several statements inside the step's transaction (executescript would commit it)."""
    for statement in sql.split(";\n"):
        if statement.strip():
            db.conn.execute(statement)
