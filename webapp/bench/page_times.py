"""How long each page takes on the server, the first after a new record included."""

from __future__ import annotations

import json
import time

import numpy as np

from ..database import thread_estate
from ..survey import service as survey

PAGES = ("/today", "/map", "/map/plots.json", "/ripeness", "/cutting", "/orders", "/outlook", "/sales", "/land", "/held", "/settings", "/method", "/people", "/trail")
ROUNDS = 12


def measure(estate_path: str, login: str, password: str, plot: str) -> dict[str, dict[str, float]]:
    """Page → median and 95th percentile in ms over repeated requests, every third after a new record."""
    from .. import create_app

    app = create_app(estate_path, testing=True)
    client = app.test_client()
    client.post("/sign-in", data={"login": login, "password": password})
    pages = [*PAGES, f"/plots/{plot}"]
    for page in pages:
        client.get(page)  # imports and caches of a server that has just started are told apart from serving
    taken: dict[str, list[float]] = {page: [] for page in pages}
    for k in range(ROUNDS):
        for page in pages:
            if k % 3 == 0:
                _new_record(estate_path, plot, k * 100 + pages.index(page))
            started = time.perf_counter()
            reply = client.get(page)
            taken[page].append(1000 * (time.perf_counter() - started))
            assert reply.status_code == 200, (page, reply.status_code)
    return {page: {"median_ms": float(np.median(t)), "p95_ms": float(np.percentile(t, 95))} for page, t in taken.items()}


def _new_record(estate_path: str, plot: str, number: int) -> None:
    record = {"id": f"0193aaaa-0000-7000-8000-{number:012x}", "install": "0193aaaa-ffff-7000-8000-000000000001", "seq": number, "round": None, "kind": "remark",
              "plot": plot, "taken_at": "2026-11-20T10:00:00-06:00", "position": None, "confirmed": False, "replaces": None, "text": "medición"}
    body = json.dumps({"schema": 1, "sent_at": "2026-11-23T12:00:00-06:00", "records": [record]}).encode()
    survey.receive(thread_estate(estate_path), body, "bench", None)
