"""Every setting with its value, unit, source and whether it is still an assumption."""

from __future__ import annotations

from flask import Blueprint, Response, g, redirect, request, url_for

from .. import jobs, settings
from ..config import SETTINGS
from ..database import atomic
from ..people import service as people
from ..problems import Problem
from .access import db, may
from .layout import render, words

bp = Blueprint("settings", __name__)
GROUPS = ("ripeness", "visits", "tonnage", "cutting", "outlook", "estate")


@bp.get("/settings")
def page(problem: Problem | None = None, typed: dict | None = None) -> str:
    values = settings.load(db())
    assumed = sum(s.assumption and not values.changed(s.name) for s in SETTINGS)
    groups = [(group, [{"setting": s, "value": values[s.name], "changed": values.changed(s.name), "history": settings.history(db(), s.name)} for s in SETTINGS if s.group == group])
              for group in GROUPS]
    return render("settings.html", title=words("pages.settings.title", n=assumed, of=sum(s.assumption for s in SETTINGS)), groups=groups,
                  problem=problem, typed=typed or {}, can_change=may("change_settings"),
                  saved=request.args.get("saved", type=int))


@bp.post("/settings")
def change() -> Response | tuple[str, int]:
    names = {s.name for s in SETTINGS}
    typed = {name: value for name, value in request.form.items() if name in names}
    before = settings.load(db())
    try:
        with atomic(db()):
            after = settings.change(db(), typed, g.person.name)
            changed = [name for name in typed if before[name] != after[name]]
            for name in changed:
                people.note(db(), g.person.name, "change_setting", name, before=str(before[name]), after=str(after[name]))
    except Problem as problem:
        return page(problem, typed), problem.status
    if changed:
        jobs.ask(db(), "estimates", g.person.name)
    return redirect(url_for("settings.page", saved=len(changed)), 303)
