"""Who did what, newest first."""

from __future__ import annotations

from flask import Blueprint, request

from ..people import service as people
from ..sentences import known
from .access import db
from .layout import render, words

bp = Blueprint("trail", __name__)


@bp.get("/trail")
def page() -> str:
    subject = request.args.get("subject") or None
    rows = people.trail(db(), subject, limit=300)
    for row in rows:
        row["words"] = words(f"act.{row['act']}") if known(f"act.{row['act']}") else row["act"]
    return render("trail.html", title=words("pages.trail.title", n=len(rows)), rows=rows, subject=subject or "")
