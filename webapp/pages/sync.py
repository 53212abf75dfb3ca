"""Between phones and the estate: enrolling, receiving records and photos, the pack for offline work."""

from __future__ import annotations


from flask import Blueprint, Response, current_app, g, jsonify, request

from ..people import service as people
from ..problems import Problem
from ..survey import service as survey
from . import phone_pack, wire_digest
from .access import db, device_cookie
from .phone import compressed

bp = Blueprint("sync", __name__)
COOKIE_S = 400 * 24 * 3600  # the longest a browser keeps one (RFC 6265bis)
PHOTO_BYTES = 200 * 1024
REFUSED = "pinario.refused"
"""Where ``records_door`` leaves why a batch was not taken, so that it is said here and not tried again."""
PICTURES = {"image/jpeg": (b"\xff\xd8\xff",), "image/png": (b"\x89PNG\r\n\x1a\n",), "image/webp": (b"RIFF",)}


def _json_only() -> None:
    if request.mimetype != "application/json":
        raise Problem("sync_media", where=request.path, status=415)


def _keep_cookie(response: Response, value: str) -> Response:
    response.set_cookie(device_cookie(), value, max_age=COOKIE_S, httponly=True, secure=request.is_secure, samesite="Strict", path="/")
    response.headers["Cache-Control"] = "no-store"
    return response


@bp.post("/field/enrol")
def enrol() -> Response:
    """A one-time code (from the QR's fragment) against this phone's cookie."""
    _json_only()
    asked = request.get_json(silent=True)
    if not isinstance(asked, dict) or not isinstance(asked.get("code"), str):
        raise Problem("enrol_unreadable", where=request.path, status=400)
    _, value = people.enrol(db(), asked["code"].strip(), request.remote_addr or "")
    device = people.device_for(db(), value)
    return _keep_cookie(jsonify({"device": {"id": device.id, "name": device.name, "crew": device.crew}}), value)


@bp.post("/field/records")
def records() -> Response:
    _json_only()
    body = wire_digest.checked(request.get_data(cache=False))
    if REFUSED in request.environ:
        raise request.environ[REFUSED]
    device, path = g.device, current_app.config["ESTATE"]
    told = survey.receive_json(path, db, body, lambda _: sender(device), g.language)
    return wire_digest.signed(Response(told, content_type="application/json"))


def sender(device: people.Device) -> survey.Sender:
    return survey.Sender(device.id, people.seen_long_ago(device))


@bp.post("/field/photos/<record>/<digest>")
def photo(record: str, digest: str) -> Response:
    """One scaled picture, after its record; kept under the digest of its bytes."""
    if (request.content_length or 0) > PHOTO_BYTES:
        raise Problem("photo_too_big", where=digest[:12], status=413, limit_kb=200)
    data = request.get_data(cache=False)
    if not data.startswith(PICTURES.get(request.mimetype, (b"\0never",))):
        raise Problem("photo_not_picture", where=digest[:12], status=422)
    survey.add_photo(db(), record, digest, request.mimetype, data)
    return wire_digest.signed(jsonify({"status": "kept"}))


@bp.get("/field/pack")
def pack() -> Response:
    response = compressed(phone_pack.packed(db(), g.device), "application/json; charset=utf-8")
    return _keep_cookie(response, request.cookies[device_cookie()])
