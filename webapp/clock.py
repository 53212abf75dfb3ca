"""The only place that asks the time. An estate file may hold a frozen *today* (the demo does)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timezone
from zoneinfo import ZoneInfo

import sqlite_utils

from .weeks import week_of


@dataclass(frozen=True)
class Clock:
    """The estate's time: its zone and, when frozen, its day (the hours still run)."""

    zone: ZoneInfo
    frozen_today: date | None = None

    def now(self) -> datetime:
        """Aware time in the estate's zone; on a frozen estate the frozen day at today's hour."""
        real = datetime.now(self.zone)
        if self.frozen_today is None:
            return real
        return real.replace(year=self.frozen_today.year, month=self.frozen_today.month, day=self.frozen_today.day)

    def today(self) -> date:
        return self.frozen_today or datetime.now(self.zone).date()

    def week(self) -> str:
        return week_of(self.today())

    def stamp(self) -> str:
        """UTC in RFC 3339, to the microsecond: what stores write beside every change."""
        return self.now().astimezone(timezone.utc).isoformat(timespec="microseconds").replace("+00:00", "Z")


def of(db: sqlite_utils.Database) -> Clock:
    """The clock of an estate file (Mexico City's zone before the estate is set up)."""
    try:
        row = db.conn.execute("SELECT time_zone, frozen_today FROM estate").fetchone()
    except db.conn.OperationalError:  # no such table yet; asking for the tables first cost more than the question, with every request
        if "estate" in db.table_names():
            raise
        row = None
    zone, frozen = row if row else ("America/Mexico_City", None)
    return Clock(ZoneInfo(zone), date.fromisoformat(frozen) if frozen else None)


def utc_now() -> datetime:
    """Real time, for sessions, one-time codes and job heartbeats, which no frozen day may stop."""
    return datetime.now(timezone.utc)
