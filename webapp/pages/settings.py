"""Every setting and constant on one page: value, unit, source, status, what the data say; a change shows its effect before it is saved."""

from __future__ import annotations

from flask import Blueprint, Response, g, redirect, request, url_for

from .. import jobs, settings
from ..config import BY_NAME, SETTINGS
from ..database import atomic
from ..people import service as people
from ..problems import Problem
from .access import db, may
from .layout import render, words
from .resting import reckoned
from .settings_effect import Change, shown
from .settings_known import beliefs, constants_of, figure, said_of

bp = Blueprint("settings", __name__)
GROUPS = ("ripeness", "visits", "tonnage", "cutting", "outlook", "estate")


@bp.get("/settings")
def page(problem: Problem | None = None, typed: dict | None = None, effect: dict | None = None) -> str:
    values = settings.load(db())
    told = reckoned()
    said = said_of(values) if told else {}
    groups = [(group, [_row(s, values, said) for s in SETTINGS if s.group == group], beliefs(group, values) if told else [], constants_of(group)) for group in GROUPS]
    assumptions = [s.name for s in SETTINGS if s.assumption]
    theirs = sum(values.changed(name) for name in assumptions)
    kind = "none" if not theirs else "all" if theirs == len(assumptions) else "some"
    title = effect["title"] if effect else words(f"pages.settings.title_{kind}", n=theirs, of=len(assumptions), left=len(assumptions) - theirs)
    saved = request.args.get("saved", type=int)
    return render("settings.html", title=title, groups=groups, problem=problem, wrong={p.where: p for p in (problem.parts or [problem]) if p.where in BY_NAME} if problem else {}, typed=typed or {}, effect=effect,
                  corrected=sum(name in said and not values.changed(name) for name in assumptions), can_change=may("change_settings"), version=values.version, figure=figure, saved=saved if saved in range(len(SETTINGS) + 1) else None)


def _row(s, values: settings.Settings, said: dict) -> dict:
    """One setting as the page shows it; ``status`` says who put the value there."""
    past = settings.history(db(), s.name)
    status = "ours" if values.changed(s.name) else "back" if past else "data" if s.name in said else "assumption" if s.assumption else "default"
    return {"setting": s, "value": values[s.name], "status": status, "who": past[0]["set_by"] if past else "", "day": past[0]["set_at"] if past else None,
            "before": past[1]["value"].strip('"') if len(past) > 1 else s.default, "said": said.get(s.name)}


@bp.post("/settings/preview")
def preview() -> str | tuple[str, int]:
    """What the typed values would change; nothing is stored, nothing is asked of the worker."""
    typed = _typed()
    try:
        current = settings.load(db())
        proposed = current.with_values(**typed)
        changes = [Change(BY_NAME[name], current[name], proposed[name]) for name in typed if proposed[name] != current[name]]
        return page(typed={name: proposed[name] for name in typed}, effect=shown(proposed, changes, trial_fit="trial_fit" in request.form))
    except Problem as problem:
        return page(problem, typed), problem.status


@bp.post("/settings")
def change() -> Response | tuple[str, int]:
    typed = _typed()
    try:
        with atomic(db()):
            before = settings.load(db())
            if request.form.get("version", str(before.version)) != str(before.version):
                raise Problem("settings_moved", status=409)
            after = settings.change(db(), typed, g.person.name)
            changed = [name for name in typed if before[name] != after[name]]
            for name in changed:
                people.note(db(), g.person.name, "change_setting", name, before=str(before[name]), after=str(after[name]))
    except Problem as problem:
        return page(problem, typed), problem.status
    if changed:
        jobs.ask(db(), "estimates", g.person.name)
    return redirect(url_for("settings.page", saved=len(changed)), 303)


def _typed() -> dict[str, str]:
    return {name: value for name, value in request.form.items() if name in BY_NAME}
