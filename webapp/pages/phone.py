"""The phone's shell, its service worker and its files. All open: they hold nothing of the estate."""

from __future__ import annotations

from hashlib import sha256

from flask import Blueprint, Response, abort, current_app, request

from . import phone_files
from .access import content_policy
from .phone_files import TYPES, Build, squeeze

bp = Blueprint("phone", __name__)
FOR_EVER = "public, max-age=31536000, immutable"


def _build() -> Build:
    """The release of this process; a test may point ``PHONE_FOLDER`` at another one."""
    return phone_files.build(current_app.config.get("PHONE_FOLDER", phone_files.FOLDER))


def compressed(body: bytes, media: str, packed: bytes | None = None, cache: str = "no-cache") -> Response:
    """A byte-stable answer with an ETag, compressed for whoever accepts it."""
    tag = sha256(body).hexdigest()[:32]
    if request.if_none_match.contains(tag):
        response = Response(status=304)
    elif len(body) > 500 and "gzip" in request.headers.get("Accept-Encoding", "") and media != "image/png":
        response = Response(packed or squeeze(body), content_type=media)
        response.headers["Content-Encoding"] = "gzip"
    else:
        response = Response(body, content_type=media)
    response.set_etag(tag)
    response.headers["Cache-Control"] = cache
    response.headers["Vary"] = "Accept-Encoding"
    return response


@bp.get("/field/")
def shell() -> Response:
    """The page, its style inside it and allowed by its digest."""
    response = compressed(_build().shell, "text/html; charset=utf-8")
    response.headers["Content-Security-Policy"] = content_policy(style=f"'{_build().style_sri}'")
    return response


@bp.get("/field/sw.js")
def worker() -> Response:
    return compressed(_build().worker, "text/javascript; charset=utf-8")


@bp.get("/field/manifest.webmanifest")
def manifest() -> Response:
    return compressed(_build().manifest, "application/manifest+json; charset=utf-8")


@bp.get("/s/<name>/<path:file>")
def release(name: str, file: str) -> Response:
    build = _build()
    if name != build.name or file not in build.files:
        abort(404)
    media = TYPES[file[file.rindex("."):]]
    return compressed(build.files[file], media, build.packed[file], FOR_EVER)
