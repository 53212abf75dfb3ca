"""A phone of the estate as the server sees it: enrolled, with one batch made offline and sent when there is signal."""

from __future__ import annotations

import json

INSTALL = "0193c000-0000-7000-8000-00000000c0de"
SPREAD_DEG = (-2.2, -1.6, -1.2, -0.8, -0.5, -0.2, 0.2, 0.5, 0.8, 1.2, 1.6, 2.2)
"""Twelve plants around their plot's mean; they sum to nothing."""


def enrolled(app, db, name: str = "Teléfono de prueba"):
    """A test client that holds the cookie of a phone enrolled through the door that phones use."""
    from webapp.people import service as people

    client = app.test_client()
    code = people.new_device(db, name, "Cuadrilla 1", "prueba")[1]
    assert client.post("/field/enrol", json={"code": code}).status_code == 200
    return client


class Log:
    """What a phone wrote down, in order: ids and sequence numbers as it gives them out."""

    def __init__(self, install: str = INSTALL, first_seq: int = 1) -> None:
        self.install, self.seq, self.records = install, first_seq - 1, []

    def add(self, kind: str, plot: str, taken_at: str, round_id: str | None = None, **fields) -> str:
        self.seq += 1
        name = f"{self.install[:24]}{self.seq:012x}"
        self.records.append({"id": name, "install": self.install, "seq": self.seq, "round": round_id, "kind": kind, "plot": plot, "taken_at": taken_at,
                             "position": None, "confirmed": False, "replaces": None, **fields})
        return name

    def round_of_twelve(self, plot: str, mean_deg: float, day: str, minute: int = 0) -> None:
        """A round (no ATC, zero checked) and twelve readings at 20 °C around a mean."""
        at = lambda m: f"{day}T{6 + m // 60:02d}:{m % 60:02d}:00-06:00"  # noqa: E731
        first = self.add("round", plot, at(minute), crew="Cuadrilla 1", people="IR", instrument="R-7", atc="no", zero_check_deg=0.0, start_row=3)
        for i, apart in enumerate(SPREAD_DEG):
            self.add("reading", plot, at(minute + 1 + i), first, row=3 + 4 * i, plant=5, brix_raw_deg=round(mean_deg + apart, 1), juice_temp_c=20.0)

    def body(self, sent_at: str = "2026-11-23T12:00:00-06:00") -> bytes:
        return json.dumps({"schema": 1, "sent_at": sent_at, "records": self.records}, ensure_ascii=False).encode()


def rounds_of_twelve(means_deg: dict[str, float], day: str = "2026-11-23") -> bytes:
    """One batch of bytes: a round of twelve in each plot, a quarter of an hour apart."""
    log = Log()
    for k, (plot, mean) in enumerate(sorted(means_deg.items())):
        log.round_of_twelve(plot, mean, day, 14 * k)
    return log.body()
