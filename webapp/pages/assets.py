"""Files of the desk pages: our own CSS and modules, and Leaflet out of its installed package.

Addresses carry a digest of the contents, so they are cached for ever and never mixed between
versions; only names of a fixed list are served.
"""

from __future__ import annotations

from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from flask import Blueprint, Response, abort, url_for

from .. import STATIC

bp = Blueprint("assets", __name__)
TYPES = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml", ".png": "image/png"}


@lru_cache(maxsize=1)
def desk_files() -> dict[str, Path]:
    """Name → path of every file a desk page may ask for."""
    import xstatic.pkg.leaflet

    leaflet = Path(xstatic.pkg.leaflet.BASE_DIR)
    files = {f"desk/{path.relative_to(STATIC / 'desk').as_posix()}": path for path in sorted((STATIC / "desk").rglob("*")) if path.suffix in TYPES}
    files |= {"leaflet/leaflet.js": leaflet / "leaflet.js", "leaflet/leaflet.css": leaflet / "leaflet.css"}
    files |= {f"leaflet/images/{path.name}": path for path in sorted((leaflet / "images").glob("*.png"))}
    return files


@lru_cache(maxsize=None)
def digest(name: str) -> str:
    return sha256(desk_files()[name].read_bytes()).hexdigest()[:12]


def asset(name: str) -> str:
    """Address of a file with its digest. Leaflet's images are found relative to its style sheet."""
    return url_for("assets.file", digest_=digest(name), name=name)


@bp.app_context_processor
def _shared() -> dict:
    return {"asset": asset}


@bp.get("/a/<digest_>/<path:name>")
def file(digest_: str, name: str) -> Response:
    path = desk_files().get(name)
    if path is None:
        abort(404)
    response = Response(path.read_bytes(), content_type=TYPES[path.suffix])
    response.headers["Cache-Control"] = "public, max-age=31536000, immutable" if digest_ == digest(name) else "no-cache"
    return response


@bp.get("/favicon.ico")
def favicon() -> Response:
    path = desk_files().get("desk/icon.svg")
    return Response(path.read_bytes(), content_type="image/svg+xml") if path else abort(404)
