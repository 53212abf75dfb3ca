"""ISO 8601 weeks, written ``2027-W10``; pure calendar arithmetic, no clock."""

from __future__ import annotations

import re
from datetime import date, timedelta

_WEEK = re.compile(r"^(\d{4})-W(\d{2})$")
DAYS_PER_MONTH = 365.25 / 12.0


def week_of(day: date) -> str:
    """ISO week of a date: ``week_of(date(2026, 12, 31)) == "2026-W53"``."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def monday_of(week: str) -> date:
    """First day of an ISO week. Raises ValueError for a week the year does not have."""
    match = _WEEK.match(week)
    if not match:
        raise ValueError(f"not an ISO week like 2027-W10: {week!r}")
    return date.fromisocalendar(int(match[1]), int(match[2]), 1)


def weeks_from(day: date, count: int) -> list[str]:
    """``count`` consecutive ISO weeks, the first being the week of ``day``."""
    start = day - timedelta(days=day.weekday())
    return [week_of(start + timedelta(weeks=i)) for i in range(count)]


def months_between(earlier: date, later: date) -> float:
    """Age in months of 365.25/12 days (negative when ``later`` lies before ``earlier``)."""
    return (later - earlier).days / DAYS_PER_MONTH
