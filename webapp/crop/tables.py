"""The crop as flat rows and files: one row a plot and week, units in the names."""

from __future__ import annotations

import csv
import io

from .. import valid_json
from ..problems import Problem


def as_file(rows: list[dict], kind: str) -> tuple[bytes, str, str]:
    """(bytes, file name, media type). Problem ``format_unknown``."""
    if kind == "json":
        return valid_json.text(rows, indent=1).encode(), "plots.json", "application/json"
    if kind != "csv":
        raise Problem("format_unknown", where=kind, formats="csv, json", status=404)
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, fieldnames=list(rows[0]) if rows else ["plot"])
    writer.writeheader()
    writer.writerows(rows)
    return buffer.getvalue().encode(), "plots.csv", "text/csv; charset=utf-8"
