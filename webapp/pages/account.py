"""Signing in and out, the first start's one-time owner link, and the choice of language."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Blueprint, Response, g, redirect, request, url_for

from ..people import service as people
from ..problems import Problem
from .access import SESSION_DAYS, db, session_cookie
from .layout import LANGUAGE_COOKIE, render, words

bp = Blueprint("account", __name__)
YEAR_S = 365 * 24 * 3600


def _own(address: str | None) -> str:
    """Only an address of our own may follow a sign-in."""
    parts = urlsplit(address or "")
    if address and not parts.scheme and not parts.netloc and address.startswith("/") and not address.startswith(("//", "/\\")):
        return address
    return url_for("account.start")


def _signed_in(token: str, then: str) -> Response:
    response = redirect(then, 303)
    response.set_cookie(session_cookie(), token, max_age=SESSION_DAYS * 24 * 3600, httponly=True, secure=request.is_secure, samesite="Lax")
    return response


@bp.get("/")
def start() -> Response:
    """The first page: today for people of the office, sign-in for anyone else."""
    if g.person is None:
        return redirect(url_for("account.sign_in"))
    return redirect(url_for("today.page"))


@bp.get("/sign-in")
def sign_in() -> str:
    return render("sign_in.html", title=words("pages.sign_in.title"), then=_own(request.args.get("next")), login="", problem=None)


@bp.post("/sign-in")
def sign_in_now() -> Response | tuple[str, int]:
    login = request.form.get("login", "").strip()
    try:
        token = people.sign_in(db(), login, request.form.get("password", ""), request.remote_addr or "")
    except Problem as problem:
        page = render("sign_in.html", title=words("pages.sign_in.title"), then=_own(request.form.get("next")), login=login, problem=problem)
        return page, problem.status
    return _signed_in(token, _own(request.form.get("next")))


@bp.post("/sign-out")
def sign_out() -> Response:
    token = request.cookies.get(session_cookie())
    if token:
        people.sign_out(db(), token)
    response = redirect(url_for("account.sign_in"), 303)
    response.delete_cookie(session_cookie())
    response.headers["Clear-Site-Data"] = '"cache"'
    return response


@bp.get("/owner/<token>")
def owner(token: str) -> str:
    return render("owner.html", title=words("pages.owner.title"), token=token, name="", login="", problem=None)


@bp.post("/owner/<token>")
def owner_now(token: str) -> Response | tuple[str, int]:
    form = request.form
    try:
        person = people.claim_owner(db(), token, form.get("name", ""), form.get("login", ""), form.get("password", ""))
        session = people.sign_in(db(), person.login, form.get("password", ""), request.remote_addr or "")
    except Problem as problem:
        page = render("owner.html", title=words("pages.owner.title"), token=token, name=form.get("name", ""), login=form.get("login", ""), problem=problem)
        return page, problem.status
    return _signed_in(session, url_for("account.start"))


@bp.after_app_request
def _keep_language(response: Response) -> Response:
    if request.args.get("lang") in ("es", "en"):
        response.set_cookie(LANGUAGE_COOKIE, request.args["lang"], max_age=YEAR_S, samesite="Lax", secure=request.is_secure, httponly=True)
    return response
