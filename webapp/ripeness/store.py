"""What was said when: forecasts kept as they were made, to be held against what came."""

from __future__ import annotations

from ..database import Database, rows

_COLUMNS = ("fit", "on_day", "plot", "week", "mean_deg", "sd_deg", "share", "chance", "rate_deg_week", "visit_sd_deg", "plant_sd_deg")
_UNLESS_SAID = "WHERE said_from = 'replayed'"


def keep_said(db: Database, said: list[tuple], replayed: bool = False) -> None:
    """Rows of (fit, day, plot, week, mean °Bx, sd °Bx, share, chance, °Bx a week, visit sd, plants' sd); the last word of a day counts.

    What is made afterwards (``replayed``) never takes the place of what was said at the time.
    """
    names, marks = ", ".join((*_COLUMNS, "said_from")), ", ".join("?" * (len(_COLUMNS) + 1))
    sets = ", ".join(f"{name} = excluded.{name}" for name in (*_COLUMNS, "said_from"))
    db.conn.executemany(f"INSERT INTO said ({names}) VALUES ({marks}) ON CONFLICT (on_day, plot, week) DO UPDATE SET {sets} {_UNLESS_SAID if replayed else ''}",
                        [(*row, "replayed" if replayed else "when_said") for row in said])


def said(db: Database, until_week: str = "9999-W53", on_day: str | None = None, plot: str | None = None) -> list[dict]:
    """What was said about weeks up to one (of one day, of one plot), by day, plot and week."""
    return rows(db, f"SELECT {', '.join(_COLUMNS)}, said_from FROM said WHERE week <= ? AND (? IS NULL OR on_day = ?) AND (? IS NULL OR plot = ?) ORDER BY on_day, plot, week",
                [until_week, on_day, on_day, plot, plot])


def said_days(db: Database) -> list[dict]:
    """Days on which something was said: {on_day, said_from, plots}."""
    return rows(db, "SELECT on_day, min(said_from) AS said_from, count(DISTINCT plot) AS plots FROM said GROUP BY on_day, said_from ORDER BY on_day")


def said_mark(db: Database) -> str:
    """Changes whenever something is said."""
    return "-".join(str(part) for part in db.conn.execute("SELECT coalesce(max(id), 0), count(*), total(mean_deg), total(sd_deg) FROM said").fetchone())


def drop_replayed(db: Database, keep_days: list[str]) -> None:
    """Forget what was made afterwards on other days than these."""
    db.conn.execute(f"DELETE FROM said WHERE said_from = 'replayed' AND on_day NOT IN ({', '.join('?' * len(keep_days))})", keep_days)
