"""Where to sample next: one crew's morning in walking order, and every other visit by what it tells in an hour."""

from __future__ import annotations

from flask import Blueprint, request

from .. import settings
from ..crop import worth_service as worth
from ..land import service as land
from ..problems import Problem
from .access import db, may
from .layout import render, words
from .resting import estimates

bp = Blueprint("visits", __name__)
LISTED = 20
LEAST_MINUTES, MOST_MINUTES = 30, 720


@bp.get("/visits")
def page(problem: Problem | None = None) -> str:
    _, _, _, stale = estimates()
    plots, usual = land.plots(db()), int(settings.load(db())["visit_morning_minutes"])
    start, minutes = request.args.get("from") or None, request.args.get("minutes", usual, type=int)
    minutes = min(max(minutes, LEAST_MINUTES), MOST_MINUTES)
    rows = worth.visits_worth_making(db(), LISTED, start)
    found = worth.morning(db(), start, minutes)
    there = {stop["code"] for stop in found["stops"]}
    codes = sorted(plots.index[plots["status"] == "standing"], key=lambda code: (plots.at[code, "name"].lower(), code))
    n = len(found["stops"])
    title = words("pages.visits.title", n=n, took=took(found["minutes"])) if n else words("pages.visits.title_none")
    return render("visits.html", title=title, stale=stale, round=found, rows=[row for row in rows if row["code"] not in there], plots=plots, codes=codes, start=start, minutes=minutes, took=took,
                  problem=problem, can_set=may("change_settings"))


def took(minutes: float) -> str:
    """«4 h 12 min» or «46 min»: hours and minutes as both languages write them."""
    whole = round(minutes)
    return f"{whole // 60}\u00a0h\u00a0{whole % 60:02d}\u00a0min" if whole >= 60 else f"{whole}\u00a0min"
