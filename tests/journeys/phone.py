"""A phone of the estate as the server sees it: enrolled, with one batch made offline and sent when there is signal."""

from __future__ import annotations

import json

PREFIX = "0193c000-0000-7000-8000-"
INSTALL = "0193c000-aaaa-7000-8000-00000000c0de"
SPREAD_DEG = (-2.2, -1.6, -1.2, -0.8, -0.5, -0.2, 0.2, 0.5, 0.8, 1.2, 1.6, 2.2)
"""Twelve plants around their plot's mean; they sum to nothing."""


def enrolled(app, db, name: str = "Teléfono de prueba"):
    """A test client that holds the cookie of a phone enrolled through the door that phones use."""
    from webapp.people import service as people

    client = app.test_client()
    code = people.new_device(db, name, "Cuadrilla 1", "prueba")[1]
    assert client.post("/field/enrol", json={"code": code}).status_code == 200
    return client


def rounds_of_twelve(means_deg: dict[str, float], day: str = "2026-11-23") -> bytes:
    """One batch of bytes: per plot a round (no ATC, zero checked) and twelve readings at 20 °C around the given mean."""
    records, seq = [], 0

    def add(kind: str, plot: str, round_id: str | None, minute: int, **fields) -> str:
        nonlocal seq
        seq += 1
        name = f"{PREFIX}{seq:012x}"
        records.append({"id": name, "install": INSTALL, "seq": seq, "round": round_id, "kind": kind, "plot": plot, "taken_at": f"{day}T{6 + minute // 60:02d}:{minute % 60:02d}:00-06:00",
                        "position": None, "confirmed": False, "replaces": None, **fields})
        return name

    for k, (plot, mean) in enumerate(sorted(means_deg.items())):
        first = add("round", plot, None, 25 * k, crew="Cuadrilla 1", people="IR", instrument="R-7", atc="no", zero_check_deg=0.0, start_row=3)
        for i, apart in enumerate(SPREAD_DEG):
            add("reading", plot, first, 25 * k + 1 + i, row=3 + 4 * i, plant=5, brix_raw_deg=round(mean + apart, 1), juice_temp_c=20.0)
    return json.dumps({"schema": 1, "sent_at": f"{day}T12:00:00-06:00", "records": records}, ensure_ascii=False).encode()
