"""People with their roles, phones with their crews; enrol with a QR, revoke in one touch."""

from __future__ import annotations

from io import BytesIO
from shlex import quote

from flask import Blueprint, Response, current_app, g, redirect, request, url_for

from .. import clock, settings
from ..people import devices, permissions
from ..people import service as people
from ..problems import Problem
from ..survey import service as survey
from .access import db
from .layout import render, words

bp = Blueprint("people", __name__)
CLOCK_LIMIT_S, HOUR_S, DAY_S = 120, 3600, 86_400


def _off_by(error_s: float | None) -> str:
    """How far a phone's clock is off, in minutes, hours or days; "" within two minutes."""
    off = abs(error_s or 0.0)
    if off <= CLOCK_LIMIT_S:
        return ""
    unit, seconds = ("minutes", 60) if off < 2 * HOUR_S else ("hours", HOUR_S) if off < 2 * DAY_S else ("days", DAY_S)
    return words(f"pages.people.clock_{unit}", n=round(off / seconds))


@bp.get("/people")
def page(problem: Problem | None = None) -> str:
    """Phones, people and, for whoever keeps the system, backup; what a refused form held is still in it."""
    frozen = clock.of(db()).frozen_today is not None  # phones run on real days: on a frozen estate every clock would seem wrong
    phones, persons = people.devices(db()), people.people(db())
    installs: dict[str, list[dict]] = {}
    for row in survey.phones(db()):  # a phone whose storage was wiped has more than one
        runs = ", ".join(str(first) if first == last else f"{first}–{last}" for first, last in row["holes"])
        installs.setdefault(row["sender"], []).append({**row, "runs": runs, "clock": "" if frozen else _off_by(row["clock_error_s"])})
    active = [p for p in phones if p["enrolled_at"] and not p["revoked_at"]]
    title = words("pages.people.title", people=words("pages.people.count_people", n=len(persons)), phones=words("pages.people.count_phones", n=len(active)))
    return render("people.html", title=title, people=persons, phones=phones, installs=installs, roles=permissions.ROLES, problem=problem,
                  typed=request.form if problem else {}, typed_roles=request.form.getlist("role") if problem else [], of=request.endpoint, estate=quote(current_app.config["ESTATE"]))


@bp.post("/people/add")
def add() -> Response | tuple[str, int]:
    form = request.form
    try:
        people.add_person(db(), form.get("name", ""), form.get("login", ""), form.get("password", ""), tuple(form.getlist("role")), by=g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return redirect(url_for("people.page"), 303)


@bp.post("/people/<int:person>/roles")
def roles(person: int) -> Response | tuple[str, int]:
    try:
        people.set_roles(db(), person, tuple(request.form.getlist("role")), g.person.name)
        people.set_active(db(), person, request.form.get("active") == "1", g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return redirect(url_for("people.page"), 303)


@bp.post("/phones/add")
def add_phone() -> str | tuple[str, int]:
    name = request.form.get("name", "")
    try:
        _, code = people.new_device(db(), name, request.form.get("crew", ""), g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return _show_code(name, code)


@bp.post("/phones/<device>/code")
def new_code(device: str) -> str | tuple[str, int]:
    """Another code for a phone that still waits for one; the code before it is void."""
    try:
        name, code = people.new_code(db(), device, g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return _show_code(name, code)


def _show_code(name: str, code: str) -> str:
    """Show a one-time code once, as a QR and in groups to type: it is kept only hashed."""
    import segno

    address = (settings.load(db())["public_address"] or request.host_url).rstrip("/") + f"/field/#enrol={code}"
    buffer = BytesIO()
    segno.make(address, error="m").save(buffer, kind="svg", scale=6, border=4, xmldecl=False, svgns=True, dark="#12211d", light="#ffffff")
    return render("phone_code.html", title=words("pages.people.code_title", name=name), qr=buffer.getvalue().decode(), address=address, code=devices.in_groups(code))


@bp.post("/phones/<device>/revoke")
def revoke_phone(device: str) -> Response:
    people.revoke_device(db(), device, g.person.name)
    return redirect(url_for("people.page"), 303)
