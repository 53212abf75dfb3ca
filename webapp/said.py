"""A table of what was said when: forecasts kept as they were made, to be held against what came."""

from __future__ import annotations

from dataclasses import dataclass

from .database import Database, rows


@dataclass(frozen=True)
class SaidTable:
    """One such table and its columns; every row also holds whether it was said at the time (``when_said``) or made afterwards (``replayed``)."""

    name: str
    columns: tuple[str, ...]

    def keep(self, db: Database, said: list[tuple], replayed: bool = False) -> None:
        """Keep rows of ``columns``; the last word of a day counts. What is made afterwards never takes the place of what was said at the time."""
        names = (*self.columns, "said_from")
        sets, unless_said = ", ".join(f"{name} = excluded.{name}" for name in names), f"WHERE {self.name}.said_from = 'replayed'" if replayed else ""
        db.conn.executemany(f"INSERT INTO {self.name} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))}) ON CONFLICT (on_day, plot, week) DO UPDATE SET {sets} {unless_said}",
                            [(*row, "replayed" if replayed else "when_said") for row in said])

    def about(self, db: Database, until_week: str = "9999-W53", on_day: str | None = None, plot: str | None = None) -> list[dict]:
        """What was said about weeks up to one (of one day, of one plot), by day, plot and week."""
        return rows(db, f"SELECT {', '.join(self.columns)}, said_from FROM {self.name} WHERE week <= ? AND (? IS NULL OR on_day = ?) AND (? IS NULL OR plot = ?) ORDER BY on_day, plot, week",
                    [until_week, on_day, on_day, plot, plot])

    def repeat(self, db: Database, copy: Database, on_day: str) -> int:
        """Keep what ``copy`` says of a day as made afterwards; how many rows."""
        words = [tuple(row[name] for name in self.columns) for row in self.about(copy, on_day=on_day)]
        self.keep(db, words, replayed=True)
        return len(words)

    def drop_replayed(self, db: Database, keep_days: list[str]) -> None:
        """Forget what was made afterwards on other days than these."""
        db.conn.execute(f"DELETE FROM {self.name} WHERE said_from = 'replayed' AND on_day NOT IN ({', '.join('?' * len(keep_days))})", keep_days)
