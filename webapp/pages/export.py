"""The estate's answers as files: the same numbers as the pages, units in the headings."""

from __future__ import annotations

from flask import Blueprint, Response

from ..crop import tables
from ..crop import service as crop
from .access import db

bp = Blueprint("export", __name__)


@bp.get("/export/plots.<kind>")
def file(kind: str) -> Response:
    """Plots with ripeness and tonnes by week, as csv or json."""
    data, name, media = tables.as_file(crop.rows(db()), kind)
    return Response(data, content_type=media, headers={"Content-Disposition": f'attachment; filename="{name}"'})
