"""What was said when: forecasts kept as they were made, to be held against what came."""

from __future__ import annotations

from ..database import Database


def keep_said(db: Database, rows: list[tuple]) -> None:
    """Rows (fit, day, plot, week, mean °Bx, sd °Bx, share, chance); the last word of a day counts."""
    db.conn.executemany("INSERT OR REPLACE INTO said (fit, on_day, plot, week, mean_deg, sd_deg, share, chance) VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)
