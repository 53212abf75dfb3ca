"""Who may open what: deny by default, one table of routes, CSRF by Fetch Metadata, strict CSP.

Cross-site writes are refused by ``Sec-Fetch-Site`` (or ``Origin`` where a browser sends none): no
token that could go stale on a page left open overnight.
"""

from __future__ import annotations

from functools import lru_cache
from urllib.parse import urlsplit

from flask import Flask, Response, current_app, g, redirect, request, url_for

from .. import settings
from ..database import Database, thread_estate
from ..people import permissions
from ..people import service as people
from ..problems import Problem

SAFE = ("GET", "HEAD", "OPTIONS")
OPEN, DEVICE = "open", "device"
SESSION_DAYS = 30


def db() -> Database:
    """This thread's connection to the app's estate."""
    return thread_estate(current_app.config["ESTATE"])


def session_cookie() -> str:
    """``__Host-`` needs TLS; a plain loopback server must do without the prefix (WebKit refuses it)."""
    return "__Host-session" if request.is_secure else "session"


def device_cookie() -> str:
    return "__Host-device" if request.is_secure else "device"


def identify(app: Flask) -> None:
    app.before_request(_who)


def guard(app: Flask) -> None:
    app.before_request(_same_site)
    app.before_request(_may)
    app.after_request(_headers)


def _who() -> None:
    g.person = g.device = None
    token = request.cookies.get(session_cookie())
    if token:
        g.person = people.person_for(db(), token)
    cookie = request.cookies.get(device_cookie())
    if cookie:
        g.device = people.device_for(db(), cookie, touch=request.endpoint != "sync.records")  # that one notes it with its records


def _same_site() -> None:
    if request.method in SAFE:
        return
    site = request.headers.get("Sec-Fetch-Site")
    if site in ("same-origin", "none"):
        return
    origin = request.headers.get("Origin")
    if site is None and origin and urlsplit(origin).netloc == request.host:
        return
    if site is None and origin is None and current_app.testing:
        return
    raise Problem("cross_site", where=request.path, status=403)


def _may() -> Response | None:
    endpoint = request.endpoint
    if endpoint is None:
        return None  # no such page: the 404 answer comes from Flask
    need = permissions.ROUTES.get(endpoint)
    if need == OPEN:
        return None
    if need == DEVICE:
        if g.device is None:
            raise Problem("device_unknown", where=request.path, status=401)
        return None
    if g.person is None:
        if request.method in SAFE and _wants_page():
            return redirect(url_for("account.sign_in", next=request.full_path.rstrip("?")))
        raise Problem("sign_in_needed", where=request.path, status=401)
    if need is None or not permissions.allowed(g.person.roles, need):
        raise Problem("not_allowed", where=request.path, status=403)
    return None


def _wants_page() -> bool:
    return request.accept_mimetypes.best_match(["text/html", "application/json"], "text/html") == "text/html"


def may(permission: str) -> bool:
    """For templates: whether the signed-in person has a permission."""
    return g.get("person") is not None and permissions.allowed(g.person.roles, permission)


def _tile_origin() -> str:
    address = settings.load(db())["tile_address"]
    parts = urlsplit(address.replace("{s}", "a"))
    return f" {parts.scheme}://{parts.netloc}" if parts.scheme in ("http", "https") and parts.netloc else ""


def content_policy(style: str = "'self'", images: str = "") -> str:
    """What a page may load: its own address and nothing else; ``style`` the source of its style, ``images`` one more origin of images."""
    return (f"default-src 'none'; script-src 'self'; style-src {style}; connect-src 'self'; manifest-src 'self'; worker-src 'self'; "
            f"font-src 'self'; img-src 'self' data:{images}; form-action 'self'; base-uri 'none'; frame-ancestors 'none'")


def _headers(response: Response) -> Response:
    response.headers.setdefault("X-Content-Type-Options", "nosniff")
    if request.endpoint == "phone.release":  # parts of a page, never one: a page's rules would be a third of what a phone loads
        return response
    if request.endpoint == "map.page":
        response.headers.setdefault("Content-Security-Policy", content_policy(images=_tile_origin()))
    if g.get("person"):
        response.headers.setdefault("Cache-Control", "no-store")
    for name, value in usual_headers(request.is_secure):
        response.headers.setdefault(name, value)
    return response


@lru_cache(maxsize=2)
def usual_headers(secure: bool) -> tuple[tuple[str, str], ...]:
    """What every answer says unless it says otherwise."""
    found = (("X-Content-Type-Options", "nosniff"), ("Content-Security-Policy", content_policy()), ("Referrer-Policy", "same-origin"), ("Cross-Origin-Opener-Policy", "same-origin"),
             ("Permissions-Policy", "geolocation=(self), camera=(self), screen-wake-lock=(self)"))
    return (*found, *((("Strict-Transport-Security", "max-age=31536000"),) if secure else ()), ("Cache-Control", "no-cache"))
