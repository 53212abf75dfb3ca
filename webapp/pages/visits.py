"""Where to sample next: one crew's morning in walking order, and every other visit by what it tells in an hour."""

from __future__ import annotations

from flask import Blueprint, request

from .. import settings
from ..crop import worth_service as worth
from ..land import naming
from ..land import service as land
from ..problems import Problem
from .access import db, may
from .first import first_page
from .layout import render, words
from .resting import estimates

bp = Blueprint("visits", __name__)
LISTED = 20
MOST_OFFERED = 300
"""Plots up to which the field offers them all; 5,000 choices weighed more than the page."""
LEAST_MINUTES, MOST_MINUTES = 30, 720


@bp.get("/visits")
def page() -> str | tuple[str, int]:
    if (first := first_page()) is not None:
        return first
    _, _, _, stale = estimates()
    plots, usual = land.plots(db()), int(settings.load(db())["visit_morning_minutes"])
    standing = plots[plots["status"] == "standing"]["name"].to_dict()
    typed = {"from": request.args.get("from", "").strip(), "minutes": request.args.get("minutes", str(usual)).strip()}
    start, minutes, problems = None, usual, {}
    try:
        start = naming.code_of(typed["from"], standing) if typed["from"] else None
    except Problem as problem:
        problems["from"] = problem
    try:
        minutes = _minutes(typed["minutes"])
    except Problem as problem:
        problems["minutes"] = problem
    rows = worth.visits_worth_making(db(), LISTED, start)
    found = worth.morning(db(), start, minutes)
    there = {stop["code"] for stop in found["stops"]}
    typed["from"] = f"{standing[start]}, {start}" if start else typed["from"]
    n = len(found["stops"])
    title = words("pages.visits.title", n=n, took=took(found["minutes"])) if n else words("pages.visits.title_none")
    shown = render("visits.html", title=title, stale=stale, round=found, rows=[row for row in rows if row["code"] not in there], plots=plots, start=start, typed=typed, took=took, per_hour=worth.per_hour, problems=problems, standing=len(standing),
                   offered=sorted((f"{name}, {code}" for code, name in standing.items()), key=str.lower) if len(standing) <= MOST_OFFERED else [], can_set=may("change_settings"))
    return (shown, next(iter(problems.values())).status) if problems else shown


def _minutes(typed: str) -> int:
    """Minutes of the morning as typed; Problem ``minutes_unclear``."""
    if not typed.isascii() or not typed.isdigit() or not LEAST_MINUTES <= int(typed[:6]) <= MOST_MINUTES:
        raise Problem("minutes_unclear", where=typed[: naming.LONGEST], least=LEAST_MINUTES, most=MOST_MINUTES)
    return int(typed)


def took(minutes: float) -> str:
    """«4 h 12 min» or «46 min»: hours and minutes as both languages write them."""
    whole = round(minutes)
    return f"{whole // 60}\u00a0h\u00a0{whole % 60:02d}\u00a0min" if whole >= 60 else f"{whole}\u00a0min"
