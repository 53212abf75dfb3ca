"""Plots as flat rows for files that go out, under the same names that files come in with."""

from __future__ import annotations

import csv
import io


def flat(row: dict, parcel: dict, zone: dict, plot_fields: tuple, parcel_fields: dict, zone_fields: tuple) -> dict:
    """One plot with what its parcel and zone know, in the order of the file's columns."""
    return {"code": row["code"], **{name: row[name] for name in plot_fields}, "planted_plants": row["cohort_plants"], "area_ha": row["area_ha"],
            "perimeter_m": row["perimeter_m"], **{name: parcel.get(column) for name, column in parcel_fields.items()}, **{n: zone.get(n) for n in zone_fields}}


def as_csv(rows: list[dict]) -> bytes:
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, fieldnames=list(rows[0]) if rows else ["code"])
    writer.writeheader()
    writer.writerows(rows)
    return buffer.getvalue().encode()
