"""How a long job is doing, for the page that asked for it; and stopping it."""

from __future__ import annotations

from flask import Blueprint, Response, jsonify, redirect, request

from .. import jobs
from ..sentences import known
from .access import db
from .layout import words

bp = Blueprint("work_state", __name__)


@bp.get("/jobs/<int:job>.json")
def state(job: int) -> Response:
    row = jobs.state(db(), job)
    note = words(row["note"]) if row["note"] and known(row["note"]) else ""
    return jsonify(id=row["id"], kind=row["kind"], state=row["state"], done=row["done"], note=note)


@bp.post("/jobs/<int:job>/stop")
def stop(job: int) -> Response:
    jobs.stop(db(), job)
    back = request.form.get("back", "/")
    return redirect(back if back.startswith("/") and not back.startswith("//") else "/", 303)
