"""A synthetic estate of a thousand plots with walked-looking outlines, to weigh what grows with their number."""

from __future__ import annotations

import json
from math import cos, pi, sin
from pathlib import Path

from ..database import Database, open_estate
from ..land import service as land
from ..people import service as people

CORNERS, ACROSS, STEP_DEG, RADIUS_DEG = 24, 40, 0.01, 0.003


def build(path: Path, count: int = 1000) -> Database:
    """An estate file with ``count`` plots of 24 corners, four zones, ten planting years; no records, estimates made."""
    from ..work import estimates

    db = open_estate(path, create=True)
    people.setup(db, "Mil tablas", "America/Mexico_City", "2026-11-23")
    features = [{"type": "Feature", "geometry": _outline(i), "properties": {"code": f"X-{i:04d}", "name": f"Tabla número {i}", "zone": f"Zona {i % 4}", "planted_on": f"{2016 + i % 10}-07-{1 + i % 28:02d}"}} for i in range(count)]
    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "mil.geojson"), "bench")
    estimates(db)
    return db


def _outline(i: int) -> dict:
    lon, lat = -103 + STEP_DEG * (i % ACROSS), 20 + STEP_DEG * (i // ACROSS)
    angles = [2 * pi * k / CORNERS for k in range(CORNERS)]
    ring = [[lon + RADIUS_DEG * (1 + 0.08 * sin(5 * t + i)) * cos(t), lat + RADIUS_DEG * (1 + 0.05 * cos(3 * t + i)) * sin(t)] for t in angles]
    return {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}
