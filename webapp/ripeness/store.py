"""What was said when: forecasts kept as they were made, to be held against what came."""

from __future__ import annotations

from ..database import Database, rows
from ..said import SaidTable

SAID = SaidTable("said", ("fit", "on_day", "plot", "week", "mean_deg", "sd_deg", "share", "chance", "rate_deg_week", "visit_sd_deg", "plant_sd_deg", "rare_part", "rare_chance", "rare_up"))
"""fit, day, plot, week, mean °Bx, sd °Bx, share, chance, °Bx a week, visit sd, plants' sd, part of the variance that is rare (none where said before there was one)
and of which kind it then was (``rare.Kind``)."""


def said_days(db: Database) -> list[dict]:
    """Days on which something was said: {on_day, said_from, plots}."""
    return rows(db, "SELECT on_day, min(said_from) AS said_from, count(DISTINCT plot) AS plots FROM said GROUP BY on_day, said_from ORDER BY on_day")


def said_mark(db: Database) -> str:
    """Changes whenever something is said."""
    return "-".join(str(part) for part in db.conn.execute("SELECT coalesce(max(id), 0), count(*), total(mean_deg), total(sd_deg) FROM said").fetchone())
