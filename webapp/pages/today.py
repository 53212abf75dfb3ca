"""What needs a person now: the few things that will not mend themselves, each with its place to act."""

from __future__ import annotations

from datetime import timedelta

from flask import Blueprint, g, url_for

from .. import clock, jobs, settings
from ..crop import worth_service as worth
from ..cutting import service as cutting
from ..land import service as land
from ..survey import service as survey
from ..weeks import monday_of
from .access import db, may
from .conditions import CODES
from .first import no_land
from .layout import render, words
from .resting import estimates, known_doubts

bp = Blueprint("today", __name__)
LEASE_SOON_DAYS, OLD_VISIT_DAYS, LOST_PHONE_DAYS = 270, 84, 2
MOST_NAMED = 4


@bp.get("/today")
def page() -> str:
    today, week = clock.of(db()).today(), clock.of(db()).week()
    stale, tasks = "", []
    empty = no_land()
    if may("see_field") and not empty:
        ripe, _, _, stale = estimates()
        tasks += _from_plots(ripe, today)
    if may("see_held"):
        tasks += _from_records()
    if may("manage_devices"):
        tasks += _from_phones()
    orders = cutting.orders(db(), week=week)
    if may("see_plan") and not empty:
        tasks += _from_plan(orders, week)
    failed = [job for job in jobs.recent(db(), 10) if job["state"] == "failed"] if may("make_plan") else []
    tasks += [{"text": words("pages.today.failed", kind=words(f"pages.job.{job['kind']}")), "href": url_for("cutting.page")} for job in failed[:1]]
    title = words("pages.first.none") if empty and not tasks else words("pages.today.title", n=len(tasks), name=g.person.name.split()[0])
    return render("today.html", title=title, empty=empty, tasks=tasks, orders=_by_crew(orders), week=week, stale=stale)


def _names(codes, plots) -> list[str]:
    named = [f"{plots.at[c, 'name']} ({c})" for c in codes[:MOST_NAMED]]
    return named + ([words("pages.today.and_more", n=len(codes) - MOST_NAMED)] if len(codes) > MOST_NAMED else [])


def _task(code: str, href: str, n: int, **params) -> list[dict]:
    return [{"text": words(f"pages.today.{code}", n=n, **params), "href": href}] if n else []


def _from_plots(ripe, today) -> list[dict]:
    """Passing plots, leases that end with plants standing, near-ripe plots nobody has visited for long."""
    plots, codes = land.plots(db()).loc[ripe.meta["plots"]], ripe.meta["plots"]
    letters = [CODES[int(c)] for c in ripe.arrays["condition"][:, 0]]
    visits = {c: ripe.meta["by_plot"][c]["n_visits"] for c in codes}
    passing = [c for c, l in zip(codes, letters) if l == "P" and visits[c]]
    unread = [c for c, l in zip(codes, letters) if l in "CMP" and not visits[c]]
    ending = [c for c in codes if plots.at[c, "lease_end"] and plots.at[c, "lease_end"] <= today + timedelta(days=LEASE_SOON_DAYS)]
    old = [c for c, l in zip(codes, letters) if l in "CM" and visits[c] and _days_since(ripe.meta["by_plot"][c]["last_visit"], today) > OLD_VISIT_DAYS]
    round_ = [stop["code"] for stop in worth.morning(db())["stops"] if stop["code"] in plots.index]
    undated = [c for c in codes if not plots.at[c, "planted_on"]]
    return (_task("passing", url_for("ripeness.page", condition="P"), len(passing), names=_names(passing, plots))
            + _task("leases", url_for("land.page"), len(ending), names=_names(ending, plots), days=LEASE_SOON_DAYS)
            + _task("unvisited", url_for("ripeness.page", by="visit"), len(old), names=_names(old, plots), weeks=OLD_VISIT_DAYS // 7)
            + _task("unread_doubted" if any(ripe.meta["by_plot"][c].get("n_doubted") for c in unread) else "unread", url_for("ripeness.page", by="visit"), len(unread), names=_names(unread, plots))
            + _task("undated", url_for("land.page"), len(undated), names=_names(undated, plots))
            + _task("visits", url_for("visits.page"), len(round_), names=_names(round_, plots)))


def _days_since(day, today) -> int:
    from datetime import date

    return 10_000 if not day else (today - (date.fromisoformat(day[:10]) if isinstance(day, str) else day)).days


def _from_records() -> list[dict]:
    held, doubts, waiting = survey.held(db()), known_doubts(), land.waiting(db())
    return (_task("held", url_for("held.page"), len(held)) + _task("doubts", url_for("held.page"), len(doubts)) + _task("outlines", url_for("held.page"), len(waiting) + len(survey.walks_waiting(db()))))


def _from_phones() -> list[dict]:
    holes = [p for p in survey.phones(db()) if p["missing"]]
    return _task("holes", url_for("people.page"), len(holes))


def _by_crew(orders: list[dict]) -> list[dict]:
    """One line a crew and plot: from which day to which, and how many tonnes."""
    lines: dict[tuple[str, str], dict] = {}
    for o in orders:
        line = lines.setdefault((o["crew"], o["plot"]), {**o, "first": o["day"], "last": o["day"], "mass_t": 0.0})
        line |= {"first": min(line["first"], o["day"]), "last": max(line["last"], o["day"]), "mass_t": line["mass_t"] + o["mass_t"]}
    return sorted(lines.values(), key=lambda line: (line["first"], line["crew"], line["plot"]))


def _from_plan(orders: list[dict], week: str) -> list[dict]:
    plan = cutting.plan(db())
    if plan is None:
        return _task("no_plan", url_for("cutting.page"), 1)
    out = _task("no_orders", url_for("cutting.page"), int(not orders), week=week)
    short = [w for w, t in plan.short_weeks()]
    need = settings.load(db())["need_t_week"]
    first = min(short, key=monday_of) if short else ""
    return out + _task("short", url_for("cutting.page"), len(short), first=first, need_t=need)
