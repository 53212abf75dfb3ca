"""What was said about piñas and tonnes when: kept as it was made, to be held against the scale."""

from __future__ import annotations

from ..database import Database, rows

_COLUMNS = ("key", "on_day", "plot", "week", "pina_kg", "pina_log_sd", "mass_t", "mass_low80_t", "mass_high80_t")
_UNLESS_SAID = "WHERE said_from = 'replayed'"


def keep_said(db: Database, said: list[tuple], replayed: bool = False) -> None:
    """Rows of (key, day, plot, week, kg per piña, its log sd, t, t low and high at 80 %); what is made afterwards never takes the place of what was said."""
    names, marks = ", ".join((*_COLUMNS, "said_from")), ", ".join("?" * (len(_COLUMNS) + 1))
    sets = ", ".join(f"{name} = excluded.{name}" for name in (*_COLUMNS, "said_from"))
    db.conn.executemany(f"INSERT INTO said_mass ({names}) VALUES ({marks}) ON CONFLICT (on_day, plot, week) DO UPDATE SET {sets} {_UNLESS_SAID if replayed else ''}",
                        [(*row, "replayed" if replayed else "when_said") for row in said])


def said(db: Database, until_week: str = "9999-W53", on_day: str | None = None, plot: str | None = None) -> list[dict]:
    """What was said about weeks up to one (of one day, of one plot), by day, plot and week."""
    return rows(db, f"SELECT {', '.join(_COLUMNS)}, said_from FROM said_mass WHERE week <= ? AND (? IS NULL OR on_day = ?) AND (? IS NULL OR plot = ?) ORDER BY on_day, plot, week",
                [until_week, on_day, on_day, plot, plot])


def drop_replayed(db: Database, keep_days: list[str]) -> None:
    """Forget what was made afterwards on other days than these."""
    db.conn.execute(f"DELETE FROM said_mass WHERE said_from = 'replayed' AND on_day NOT IN ({', '.join('?' * len(keep_days))})", keep_days)
