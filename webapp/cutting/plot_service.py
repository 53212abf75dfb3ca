"""What cutting says of one plot beside its reasons: the rest that forbids cutting it, the weeks in which the plan cuts it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from .. import clock
from ..database import Database
from ..land import service as land
from ..ripeness import service as ripeness
from ..survey import service as survey
from ..weeks import monday_of, week_of
from . import service
from .assembly import rest_end
from .facts import number


def rest(db: Database, plot: str) -> dict[str, Any] | None:
    """The field work that forbids cutting a plot today and ends last: {until: first day allowed, day, labor, product}; None when none does."""
    rows, today = survey.labors(db), clock.of(db).today()
    mine = rows[(rows["plot"] == plot) & rows["day"].notna()].to_dict("records")
    found = [{"until": rest_end(row["day"], number(row["reentry_hours"]), number(row["harvest_days"])), "day": row["day"], "labor": row["labor"], "product": _text(row["product"])} for row in mine if row["day"] <= today]
    return max((one for one in found if one["until"] > today), key=lambda one: (one["until"], one["day"]), default=None)


def spans(db: Database, plot: str) -> list[tuple[str, str]]:
    """(first, last) week of each run of weeks, from this one on, in which the latest plan cuts a plot."""
    out: list[tuple[str, str]] = []
    for week in sorted({cut["week"] for cut in service.cuts_of(db, plot)}):
        if week < clock.of(db).week():
            continue
        follows = bool(out) and (monday_of(week) - monday_of(out[-1][1])).days == 7
        out = [*out[:-1], (out[-1][0], week)] if follows else [*out, (week, week)]
    return out


def shares(db: Database, plot: str) -> dict[str, float] | None:
    """A plot's ripe share by week as its page tells it, for the reasons of :func:`service.explain`; None of one that does not stand or is not reckoned yet."""
    if plot not in ripeness.answer(db).meta["plots"] or land.plot(db, plot)["status"] != "standing":
        return None
    now = ripeness.plot_now(db, plot)
    return dict(zip(now["weeks"], map(float, now["share"])))


def plan_until(db: Database) -> str | None:
    """The last week that the latest plan speaks of; None without a plan."""
    made = service.plans(db)
    return week_of(monday_of(made[0]["first_week"]) + timedelta(weeks=made[0]["weeks"] - 1)) if made else None


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None
