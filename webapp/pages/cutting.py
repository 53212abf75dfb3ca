"""The weekly cutting plan: the answer, what it beats, what gave way, the picture, and what would change."""

from __future__ import annotations

from flask import Blueprint, Response, g, redirect, request, url_for

from .. import jobs
from ..crop import service as crop_service
from ..cutting import explain, plot_service
from ..cutting import service as cutting
from ..land import service as land
from ..problems import Problem
from .access import db, may
from .conditions import letter, little_known, read_plots
from .first import first_page
from .layout import n0, render, words
from .picture_plan import PlanRow, plan_rows

bp = Blueprint("cutting", __name__)
REASONS = 6
"""Plots whose reasons an empty plan gives: those with most ripe tonnes."""


@bp.get("/cutting")
def page(problem: Problem | None = None) -> str:
    view = cutting.plan(db(), request.args.get("plan", type=int))
    job = next(iter(jobs.pending(db(), "cutting")), None)
    published = next((p for p in cutting.plans(db()) if p["published_at"] and (view is None or p["id"] != view.id)), None)
    context: dict = {"view": view, "job": job, "problem": problem, "can_make": may("make_plan"), "can_publish": may("publish_orders"), "money": may("see_money")}
    if view is None:
        if (first := first_page()) is not None:
            return first
        return render("cutting.html", title=words("pages.cutting.title_none"), **context)
    total = sum(w["delivered_t"] for w in view.weeks)
    short = view.short_weeks()
    context |= {
        "total_t": total, "total_lo": sum(w["lo80_t"] for w in view.weeks), "total_hi": sum(w["hi80_t"] for w in view.weeks), "short": short,
        "better": view.better_than("oldest_plain"), "picture": _picture(view), "outcome": view.outcome_said(),
        "gave_way": [explain.said(item) for item in view.gave_way], "changes": [_change(c) for c in cutting.compare(db(), published["id"], view.id)] if published else None, "names": land.plots(db())["name"].to_dict(),
        "missing_t": sum(t for _, t in short), "extra_sugar_t": sum(w["sugar_t"] for w in view.weeks) - next((h["sugar_t"] for h in view.hand if h["how"] == "oldest_plain"), 0.0)}
    if not view.cuts:  # an empty plan owes its reasons before its figures
        crop = crop_service.answer(db())
        largest = sorted(range(len(crop.meta["plots"])), key=lambda i: -float(crop.arrays["ripe_tonnes"][i, 0]))[:REASONS]
        context["nothing"] = [reason for i in largest for reason in cutting.explain(db(), view.id, crop.meta["plots"][i], plot_service.shares(db(), crop.meta["plots"][i]))[:1]]
    ripe = crop_service.basis(db(), crop_service.answer(db()))[0]
    planned = {c["plot"] for c in view.cuts}
    unread = [code for code in planned if not ripe.meta["by_plot"].get(code, {"n_visits": 1})["n_visits"]]
    context["unread"] = len(unread), len(planned), any(ripe.meta["by_plot"][code].get("n_doubted") for code in unread)
    title = words("pages.cutting.title_short", n=len(short), missing_t=context["missing_t"], first=short[0][0]) if short else words("pages.cutting.title_full", total_t=total)
    return render("cutting.html", title=title, **context)


def _change(c: dict) -> str:
    return words(f"cutting.change.{c['kind']}", name=c["name"], plot=c["plot"], from_week=c["from_week"], to_week=c["to_week"], before_t=c["before_t"], after_t=c["after_t"])


def _picture(view) -> str:
    crop = crop_service.answer(db())
    ripe, _ = crop_service.basis(db(), crop)
    weeks = [w["week"] for w in view.weeks]
    plots = land.plots(db())
    cut: dict[str, dict[str, dict]] = {}
    for c in view.cuts:
        cut.setdefault(c["plot"], {})[c["week"]] = c
    ordered = {(o["plot"], o["week"]) for w in weeks[:4] for o in cutting.orders(db(), week=w)}
    known = {code: i for i, code in enumerate(ripe.meta["plots"]) if code in crop.meta["plots"]}
    mass = {code: float(crop.arrays["tonnes"][i, 0]) for i, code in enumerate(crop.meta["plots"])}
    at = [ripe.meta["weeks"].index(w) if w in ripe.meta["weeks"] else None for w in weeks]
    wide, read = little_known(ripe), read_plots(ripe)
    groups: dict[str, list[PlanRow]] = {}
    order = sorted((c for c in cut if c in known), key=lambda c: (plots.at[c, "zone"] or "", min(cut[c]), c))
    for code in order:
        i, mine = known[code], cut[code]
        shares = [float(ripe.arrays["share"][i, a]) if a is not None else 0.0 for a in at]
        letters = [letter(ripe.arrays["condition"][i, a], read[i]) if a is not None else "" for a in at]
        cleared = [k for k, w in enumerate(weeks) if w in mine and mine[w]["clearing"]]
        year = plots.at[code, "planted_on"].year if plots.at[code, "planted_on"] else "–"
        groups.setdefault(plots.at[code, "zone"] or "–", []).append(PlanRow(
            f"{plots.at[code, 'name']}, {code}", f"{year}  {n0(mass[code])} t", shares, letters, [mine[w]["mass_t"] if w in mine else 0.0 for w in weeks],
            bool(wide[i, 0]), [(code, w) in ordered for w in weeks], max(cleared) if cleared else None))
    return plan_rows("plan", weeks, sorted(groups.items()), [w["delivered_t"] for w in view.weeks], [w["lo80_t"] for w in view.weeks], [w["hi80_t"] for w in view.weeks],
                     [w["need_t"] for w in view.weeks],
                     {"planted": words("pages.cutting.planted"), "factory": words("pages.cutting.factory"), "tonnes_week": words("pages.cutting.tonnes_week"), "stop": words("pages.cutting.stop"),
                      "asks": words("pages.cutting.asks", need_t=max((w["need_t"] for w in view.weeks), default=0)), "title": words("pages.cutting.picture"),
                      "desc": words("pages.cutting.picture_desc"), "cleared": words("pages.cutting.cleared")})


@bp.post("/cutting/make")
def make() -> Response:
    jobs.ask(db(), "cutting", g.person.name)
    return redirect(url_for("cutting.page"), 303)


@bp.post("/cutting/<int:plan>/publish")
def publish(plan: int) -> Response | tuple[str, int]:
    """Make the orders of the plan's first weeks, after the person saw what changes."""
    try:
        cutting.publish(db(), plan, g.person.name, request.form.get("weeks", 1, type=int))
    except Problem as problem:
        return page(problem), problem.status
    return redirect(url_for("orders.page"), 303)


@bp.get("/cutting/plan.ics")
def calendar() -> Response:
    return Response(cutting.calendar(db(), None, g.language), content_type="text/calendar; charset=utf-8", headers={"Content-Disposition": 'attachment; filename="plan-de-jima.ics"'})
