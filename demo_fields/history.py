"""Eighteen months of cutting: which plots were jimados, load by load, and what was lost on the way.

The planner of the story cuts al tanteo: the oldest that looks ripe, three plots at a time, a selective
pass where the plot is uneven, roads closed in the rains where there is no gravel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone

from demo_fields import laws
from demo_fields.planting import TODAY, Plot
from demo_fields.streams import Luck

LOCAL = timezone(timedelta(hours=-6))
FIRST_DAY = date(2025, 5, 19)
FORGOTTEN = 5
NEED_T_WEEK, OPEN_AT_ONCE, NORMAL_TRUCK_T = 280.0, 3, 20.0
STOPS = {(2025, 27), (2025, 52), (2026, 1), (2026, 27)}
WET_WEEKS = range(26, 40)
CREWS = (("Los Tordos", 7, "Los Hornos"), ("Los Mezquites", 7, "Vado Seco"), ("La Cuadrilla de Chema", 6, "Mesa del Tule"), ("Los de la Loma", 6, "Loma Alta"))
TRUCKS = ("T-11", "T-12", "T-14", "T-17", "T-21", "T-23")
STYLE_KG = {"long": 1.05, "short": 1.0, "shaved": 0.95}


@dataclass
class Campaign:
    """One pass of one plot: ``share`` of the standing plants it means to take (1 = clearing)."""

    plot: Plot
    number: int
    share: float
    style: str
    crew: str
    left: float = 0.0
    start: date | None = None
    end: date | None = None
    taken: float = 0.0
    at_start: float = 0.0

    @property
    def clearing(self) -> bool:
        return self.share >= 1.0


@dataclass
class Load:
    """One truck: what it held and what the scale said."""

    campaign: Campaign
    at: datetime
    plants: int
    gross_kg: int
    tare_kg: int
    brix_deg: float
    truck: str
    number: int
    pieces: int | None = None

    @property
    def net_kg(self) -> int:
        return self.gross_kg - self.tare_kg


def lose(plots: list[Plot]) -> None:
    """Frost on the high young plots, fire by a road, thieves, hail, and the disease people noticed."""
    luck = Luck("losses")
    for plot in plots:
        year = plot.planted_on.year
        if plot.zone == "Loma Alta" and year in (2023, 2024, 2025) and luck.chance(0.45):
            plot.losses.append((date(2026, 1, 15), "frost", round(luck.uniform(0.03, 0.14), 3)))
        if plot.zone == "Mesa del Tule" and year == 2025 and luck.chance(0.5):
            plot.losses.append((date(2026, 1, 16), "frost", round(luck.uniform(0.01, 0.05), 3)))
        if plot.sick and luck.chance(0.7):
            plot.losses.append((date(2026, 5, 4) + timedelta(days=luck.whole(0, 90)), "disease", round(luck.uniform(0.02, 0.07), 3)))
    valley = [p for p in plots if p.zone == "Vado Seco" and 2020 <= p.planted_on.year <= 2024]
    for plot, share in zip(luck.shuffled(valley)[:2], (0.21, 0.07)):
        plot.losses.append((date(2026, 3, 29), "fire", share))
    ripe = [p for p in plots if p.planted_on.year in (2018, 2019, 2020)]
    for plot in luck.shuffled(ripe)[:4]:
        plot.losses.append((date(2025, 9, 1) + timedelta(days=luck.whole(0, 400)), "theft", round(luck.uniform(0.004, 0.012), 4)))
    for plot in luck.shuffled([p for p in plots if p.planted_on.year == 2024])[:2]:
        plot.losses.append((date(2026, 8, 12), "hail", round(luck.uniform(0.01, 0.04), 3)))
    for plot in plots:
        plot.losses = sorted(loss for loss in plot.losses if loss[0] > plot.planted_on + timedelta(days=90))


def spread_at(plot: Plot, day: date) -> laws.Spread:
    """How the °Brix of the plants still standing lies around the plot's unpicked mean."""
    spread = laws.whole_spread()
    for ended, share in plot.passes:
        if ended <= day:
            spread = laws.after_pass(spread, share)
    return spread


def cut(plots: list[Plot], gone_ha: float) -> tuple[list[Campaign], list[Load]]:
    """Cut ``gone_ha`` of the oldest before anything was recorded, then week by week up to today."""
    luck = Luck("cutting")
    line = sorted((p for p in plots if p.planted_on.year <= 2019),
                  key=lambda p: p.age_months(TODAY) - 0.8 * p.place.delay_months + 0.6 * p.pace_months + luck.normal(0, 6.0), reverse=True)
    forgotten = luck.shuffled([p for p in line if p.planted_on.year in (2017, 2018) and p.zone != "Loma Alta"])[:FORGOTTEN]
    line = [p for p in line if p not in forgotten]   # far corners nobody got round to: they stand past their best
    before = 0.0
    while line and before < gone_ha:
        plot = line.pop(0)
        plot.status = "cut"
        before += plot.area_ha
    queue = [_campaign(plot, 1, luck.uniform(0.38, 0.55) if luck.chance(0.34) else 1.0, luck) for plot in line]
    later: list[Campaign] = []
    doing: list[Campaign] = []
    done: list[Campaign] = []
    loads: list[Load] = []
    monday = FIRST_DAY
    while monday <= TODAY - timedelta(days=7):
        if monday.isocalendar()[:2] not in STOPS:
            wet = monday.isocalendar()[1] in WET_WEEKS
            _one_week(monday, wet, queue, doing, later, done, loads, luck)
        monday += timedelta(days=7)
    for campaign in doing:
        if campaign.taken and not campaign.clearing:
            campaign.plot.passes.append((TODAY, campaign.taken / campaign.at_start))
    return done + [c for c in doing if c.taken], loads


def _campaign(plot: Plot, number: int, share: float, luck: Luck) -> Campaign:
    home = [name for name, _, zone in CREWS if zone == plot.zone]
    crew = home[0] if luck.chance(0.7) else luck.pick(CREWS)[0]
    return Campaign(plot, number, share, luck.pick(("short",) * 8 + ("long", "shaved")), crew)


def _passable(campaign: Campaign, wet: bool) -> bool:
    return not wet or campaign.plot.place.wet_road == 1


def _one_week(monday: date, wet: bool, queue, doing, later, done, loads, luck: Luck) -> None:
    aim = NEED_T_WEEK * 1000 * luck.uniform(0.93, 1.02)
    sent = 0.0
    times = sorted(datetime(monday.year, monday.month, monday.day, 9, 0, tzinfo=LOCAL) + timedelta(days=luck.whole(0, 5), minutes=luck.whole(0, 420)) for _ in range(22))
    for at in times:
        open_now = [c for c in doing if _passable(c, wet)]
        while len(open_now) < OPEN_AT_ONCE:
            following = next((c for c in sorted(later, key=lambda c: c.start) if c.start <= monday and _passable(c, wet)), None) or next(
                (c for c in queue if _passable(c, wet) and _looks_ripe(c.plot, monday, luck)), None)
            if following is None:
                break
            (later if following in later else queue).remove(following)
            _start(following, at.date())
            doing.append(following)
            open_now.append(following)
        if not open_now or aim - sent < 9000:
            return
        campaign = luck.pick(open_now)
        load = _load(campaign, at, len(loads), luck)
        loads.append(load)
        sent += load.net_kg
        if campaign.left < 40:
            _finish(campaign, at.date(), doing, done, later, luck)


def _looks_ripe(plot: Plot, day: date, luck: Luck) -> bool:
    return plot.unpicked_mean(day) + luck.normal(0, 0.8) > laws.TARGET_DEG - 0.6


def _start(campaign: Campaign, day: date) -> None:
    campaign.start = day
    campaign.at_start = campaign.plot.standing(day)
    campaign.left = campaign.at_start * (0.975 if campaign.clearing else campaign.share)


def _finish(campaign: Campaign, day: date, doing, done, later, luck: Luck) -> None:
    campaign.end = day
    doing.remove(campaign)
    done.append(campaign)
    plot = campaign.plot
    if campaign.clearing:
        plot.status = "cut"
        return
    plot.passes.append((day, campaign.taken / campaign.at_start))
    following = _campaign(plot, campaign.number + 1, 1.0, luck)
    following.start = day + timedelta(weeks=luck.whole(18, 44))
    later.append(following)


def _load(campaign: Campaign, at: datetime, number: int, luck: Luck) -> Load:
    plot, day = campaign.plot, at.date()
    limit = min(NORMAL_TRUCK_T + 1.5, plot.place.truck_max_t)
    aim = min(luck.normal(min(NORMAL_TRUCK_T, limit - 0.9), 0.7), limit) * 1000
    mean = plot.pina_kg(day) * STYLE_KG[campaign.style] * math.exp(luck.normal(0, 0.018))
    plants = min(round(aim / mean), round(campaign.left))
    net = plants * mean * math.exp(luck.normal(0, laws.PLANT_CV / math.sqrt(max(plants, 1))))
    tare = luck.whole(780, 1130) * 10 if limit > 17 else luck.whole(620, 760) * 10
    campaign.left -= plants
    campaign.taken += plants
    plot.taken.append((day, plants))
    spread = spread_at(plot, day - timedelta(days=1))
    brix = plot.unpicked_mean(day) + luck.normal(0, 0.25) + (spread.mean() if campaign.clearing else _mean_taken(spread, campaign.share))
    pieces = None
    if mean > 37 and luck.chance(0.6):
        pieces = plants + round(plants * luck.uniform(0.06, 0.25))   # the biggest are halved to be lifted
    return Load(campaign, at, plants, tare + round(net / 10) * 10, tare, brix, luck.pick(TRUCKS), number, pieces)


def _mean_taken(spread: laws.Spread, share: float) -> float:
    """Mean deviation of what a pass takes: whole = share·taken + (1 − share)·left."""
    return (spread.mean() - (1 - share) * laws.after_pass(spread, share).mean()) / share
