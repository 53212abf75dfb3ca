"""A small estate with two plots, and short ways to make records."""

import json
import uuid

import pytest

from webapp.land import service as land

SQUARE = [[-103.0, 20.6], [-102.997, 20.6], [-102.997, 20.603], [-103.0, 20.603], [-103.0, 20.6]]


@pytest.fixture()
def field(db):
    def feature(code, dx):
        return {"type": "Feature", "properties": {"code": code, "name": {"VS-04": "El Tapia", "LA-07": "Encinal"}[code], "parcel": "P1", "planted_on": "2020-07-01", "zone": "Vado", "registered_plants": 30000},
                "geometry": {"type": "Polygon", "coordinates": [[[x + dx, y] for x, y in SQUARE]]}}

    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": [feature("VS-04", 0), feature("LA-07", 0.02)]}).encode(), "t.geojson"), "Ana")
    return db


def record(number, kind="reading", plot="VS-04", install="0193aaaa-0000-7000-8000-000000000001", **more):
    base = {"id": str(uuid.UUID(int=(0x0193 << 112) | (7 << 76) | (2 << 62) | number)), "install": install, "seq": number, "round": None, "kind": kind, "plot": plot,
            "taken_at": "2026-11-20T09:12:03-06:00", "position": None, "confirmed": False, "replaces": None}
    own = {"brix_raw_deg": 24.0, "juice_temp_c": 20.0} if kind == "reading" else {}
    return {**base, **own, **more}


def batch(*records, sent_at="2026-11-23T12:00:00-06:00", schema=1):
    return json.dumps({"schema": schema, "sent_at": sent_at, "records": list(records)}).encode()
