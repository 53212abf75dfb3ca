"""People with their roles, phones with their crews; enrol with a QR, revoke in one touch."""

from __future__ import annotations

from io import BytesIO

from flask import Blueprint, Response, g, redirect, request, url_for

from .. import settings
from ..people import permissions
from ..people import service as people
from ..problems import Problem
from ..survey import service as survey
from .access import db
from .layout import render, words

bp = Blueprint("people", __name__)


@bp.get("/people")
def page(problem: Problem | None = None) -> str:
    phones = people.devices(db())
    installs: dict[str, list[dict]] = {}
    for row in survey.phones(db()):  # a phone whose storage was wiped has more than one
        runs = ", ".join(str(first) if first == last else f"{first}–{last}" for first, last in row["holes"])
        installs.setdefault(row["sender"], []).append({**row, "runs": runs})
    active = [p for p in phones if not p["revoked_at"]]
    return render("people.html", title=words("pages.people.title", n=len(people.people(db())), phones=len(active)), people=people.people(db()),
                  phones=phones, installs=installs, roles=permissions.ROLES, problem=problem)


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
def add_phone() -> Response | tuple[str, int]:
    """Show the one-time code once, as a QR: it is kept only hashed."""
    import segno

    try:
        device, code = people.new_device(db(), request.form.get("name", ""), request.form.get("crew", ""), g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    address = (settings.load(db())["public_address"] or request.host_url).rstrip("/") + f"/field/#enrol={code}"
    buffer = BytesIO()
    segno.make(address, error="m").save(buffer, kind="svg", scale=6, border=4, xmldecl=False, svgns=True, dark="#12211d", light="#ffffff")
    return render("phone_code.html", title=words("pages.people.code_title", name=request.form.get("name", "")), qr=buffer.getvalue().decode(), address=address)


@bp.post("/phones/<device>/revoke")
def revoke_phone(device: str) -> Response:
    people.revoke_device(db(), device, g.person.name)
    return redirect(url_for("people.page"), 303)
