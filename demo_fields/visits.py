"""Who goes where when: ripe plots every five weeks, young ones hardly ever, some never."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from demo_fields.history import FIRST_DAY, LOCAL, WET_WEEKS
from demo_fields.planting import TODAY, Plot
from demo_fields.streams import Luck

LAST_DAY = TODAY - timedelta(days=2)
TEAMS = ("muestreo-1", "muestreo-2", "agronomia")


@dataclass(frozen=True)
class Visit:
    plot: Plot
    team: str
    at: datetime


def interval_days(effective_months: float, luck: Luck) -> float:
    if effective_months >= 62:
        return luck.normal(33, 7)
    if effective_months >= 50:
        return luck.normal(62, 14)
    if effective_months >= 34:
        return luck.normal(105, 25)
    return luck.normal(240, 55)


def due_days(plot: Plot, busy: list[tuple[date, date]]) -> list[date]:
    """Days on which a plot is due, from its age as the office knows it; none while it is being cut, none after."""
    luck = Luck(f"visits {plot.code}")
    young = plot.age_months(TODAY) - plot.place.delay_months < 30
    if luck.chance(0.4 if young else 0.05) or (plot.status == "cut" and not plot.taken):
        return []
    last = min(plot.taken[-1][0], LAST_DAY) if plot.status == "cut" else LAST_DAY
    day, days = FIRST_DAY + timedelta(days=round(interval_days(plot.age_months(FIRST_DAY) - plot.place.delay_months, luck) * luck.uniform())), []
    while day <= last:
        shut = plot.place.wet_road == 0 and day.isocalendar()[1] in WET_WEEKS and luck.chance(0.7)
        if plot.age_months(day) >= 10 and not shut and not any(a <= day <= b for a, b in busy):
            days.append(day)
        day += timedelta(days=max(18, round(interval_days(plot.age_months(day) - plot.place.delay_months, luck))))
    return days


def plan(plots: list[Plot], busy: dict[str, list[tuple[date, date]]]) -> list[Visit]:
    """Visits gathered into team-days: one zone a day, at most four plots, from half past seven on."""
    weeks: dict[date, list[Plot]] = {}
    for plot in plots:
        for day in due_days(plot, busy.get(plot.code, [])):
            weeks.setdefault(day - timedelta(days=day.weekday()), []).append(plot)
    luck, visits = Luck("team days"), []
    for monday in sorted(weeks):
        chunks: list[list[Plot]] = []
        for plot in sorted(weeks[monday], key=lambda p: (p.zone, p.parcel, p.code)):
            if chunks and chunks[-1][0].zone == plot.zone and len(chunks[-1]) < 4:
                chunks[-1].append(plot)
            else:
                chunks.append([plot])
        slots = luck.shuffled([(d, t) for d in range(5) for t in TEAMS])
        for chunk, (weekday, team) in zip(chunks, sorted(slots[:len(chunks)])):
            day = monday + timedelta(days=weekday)
            if day > LAST_DAY:
                continue
            at = datetime(day.year, day.month, day.day, 7, luck.whole(20, 55), tzinfo=LOCAL)
            for plot in chunk:
                if not any(a <= day <= b for a, b in busy.get(plot.code, [])) and not (plot.status == "cut" and day >= plot.taken[-1][0]):
                    visits.append(Visit(plot, team, at))
                    at += timedelta(minutes=luck.whole(55, 95))
    return visits
