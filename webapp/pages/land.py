"""Parcels and plots: load a file with a preview of what changes, see the findings, take the land out again."""

from __future__ import annotations

from flask import Blueprint, Response, g, redirect, request, url_for

from .. import jobs
from ..land import service as land
from ..problems import Problem
from . import planted_list
from .access import db, may
from .layout import n0, n1, render, words

bp = Blueprint("land", __name__)
LIMIT_BYTES = 32 * 1024 * 1024


@bp.get("/land")
def page(problem: Problem | None = None, preview=None, name: str = "") -> str:
    plots = land.plots(db())
    standing, year = plots[plots["status"] == "standing"], request.args.get("year", "")
    planted, areas = [str(d.year) if d else "–" for d in plots["planted_on"]], plots["area_ha"].fillna(0.0).tolist()
    every = [i for i in range(len(plots)) if not year or planted[i] == year]
    return render("land.html", empty=not len(plots), title=words("pages.first.none") if not len(plots) else words("pages.land.title", n=len(standing), parcels=len(land.parcels(db())), area_ha=float(standing["area_ha"].sum())),
                  plots=plots.reset_index().to_dict("records"), every=every, shown=planted_list.arranged(every, planted.__getitem__, bool(year) or request.args.get("list") == planted_list.ONE),
                  sums=lambda members: [n0(len(members)), n1(sum(areas[i] for i in members))], year=year, parcels=land.parcels(db()), closures=land.closures(db()), zones=list(land.zones(db()).index),
                  problem=problem, preview=preview, name=name, can_load=may("load_land"))


def _sent() -> tuple[bytes, str]:
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        raise Problem("no_file", where="file")
    return sent.read(LIMIT_BYTES + 1), sent.filename


@bp.post("/land/preview")
def preview() -> str | tuple[str, int]:
    """What the file would change; nothing is stored."""
    try:
        data, name = _sent()
        return page(preview=land.preview(db(), land.read(data, name)), name=name)
    except Problem as problem:
        return page(problem), problem.status


@bp.post("/land/load")
def load() -> Response | tuple[str, int]:
    try:
        data, name = _sent()
        land.load(db(), land.read(data, name), g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    jobs.ask(db(), "estimates", g.person.name)
    return redirect(url_for("land.page"), 303)


@bp.post("/land/closures")
def close_road() -> Response | tuple[str, int]:
    form = request.form
    try:
        land.add_closure(db(), form.get("scope", "zone"), form.get("subject", ""), form.get("from_week", ""), form.get("to_week", ""), form.get("reason", ""), g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return redirect(url_for("land.page"), 303)


@bp.post("/land/closures/<int:closure>/remove")
def open_road(closure: int) -> Response:
    land.remove_closure(db(), closure, g.person.name)
    return redirect(url_for("land.page"), 303)


@bp.get("/land/export/<kind>")
def export(kind: str) -> Response:
    data, name, media = land.export_plots(db(), kind)
    return Response(data, content_type=media, headers={"Content-Disposition": f'attachment; filename="{name}"'})
