"""What was said of piñas and tonnes, and saying it again on the copy of a past day."""

from __future__ import annotations

from datetime import date

from ..database import Database, atomic
from . import service, store


def said(db: Database, until_week: str = "9999-W53", plot: str | None = None) -> list[dict]:
    """What was said about piñas and tonnes (of one plot), as stored."""
    return store.SAID.about(db, until_week, plot=plot)


def say_again(db: Database, copy: Database, on_day: date) -> int:
    """Estimate on the copy of a past day and keep what it says as made afterwards; how many words."""
    service.make(copy)
    with atomic(db):
        return store.SAID.repeat(db, copy, on_day.isoformat())


def forget_replayed(db: Database, but: list[str]) -> None:
    """Words made afterwards on other days than these."""
    with atomic(db):
        store.SAID.drop_replayed(db, but)
