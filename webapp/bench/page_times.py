"""How long each page takes on the server, the first after a new record included, and what it weighs."""

from __future__ import annotations

import gzip
import json
import re
import secrets
import time
from typing import Callable

import numpy as np

from .. import clock
from ..database import thread_estate
from ..people import service as people
from ..survey import service as survey
from . import receiving

PAGES = ("/today", "/map", "/map/plots.bin", "/map/weeks.bin", "/ripeness", "/cutting", "/orders", "/outlook", "/sales", "/land", "/held", "/settings", "/method", "/people", "/trail")
REQUESTS = 20
TARGET_MS = 200.0
FIRST_NUMBER = 1_000_000


def signed_in(estate_path: str):
    """A client of the app on this estate (a copy) for a person with every role, added for the purpose."""
    from .. import create_app

    db = thread_estate(estate_path)
    password = secrets.token_hex(12)
    login = f"bench-{secrets.token_hex(3)}"
    people.add_person(db, "Bench", login, password, ("head", "planner", "agronomist", "keeper"), by="bench")
    client = create_app(estate_path, testing=True).test_client()
    if client.post("/sign-in", data={"login": login, "password": password}).status_code != 303:
        raise RuntimeError("sign-in")
    return client


def measure(estate_path: str, plot: str, requests: int = REQUESTS, tell: Callable[[str], object] = lambda page: None) -> dict[str, dict[str, float]]:
    """Page → ms: median and 95th percentile of all requests, and the 95th of those right after a new reading (every second one).

    One request of each page goes before, so that imports of a server that has just started are not counted.
    """
    client, db = signed_in(estate_path), thread_estate(estate_path)
    pages = [*PAGES, f"/plots/{plot}"]
    for page in pages:
        client.get(page)
    out, number = {}, FIRST_NUMBER
    for page in pages:
        tell(page)
        taken, after = [], []
        for k in range(requests):
            if k % 2 == 0:
                number += 1
                survey.receive(db, receiving.batch(db, plot, number, 1), receiving.SENDER, clock.of(db).now())
            started = time.perf_counter()
            reply = client.get(page)
            taken.append(1000 * (time.perf_counter() - started))
            if k % 2 == 0:
                after.append(taken[-1])
            if reply.status_code != 200:
                raise RuntimeError(f"{page}: {reply.status_code}")
        out[page] = {"median_ms": float(np.median(taken)), "p95_ms": float(np.percentile(taken, 95)), "after_record_p95_ms": float(np.percentile(after, 95)), "html_kb": len(reply.data) / 1024}
    return out


def map_weight(estate_path: str) -> dict[str, float]:
    """Compressed bytes of what the map page loads: its scripts and its data (gzip, level 6, as a proxy does)."""
    client = signed_in(estate_path)
    sources = re.findall(r'<script[^>]*\bsrc="([^"]+)"', client.get("/map").get_data(as_text=True))
    packed = lambda address: len(gzip.compress(client.get(address).get_data(), 6, mtime=0))  # noqa: E731
    data = client.get("/map/plots.bin").get_data()
    head = json.loads(data[4: 4 + int.from_bytes(data[:4], "little")])
    script, body = sum(packed(address) for address in sources), packed("/map/plots.bin") + packed("/map/weeks.bin")
    return {"map_plots": float(len(head["codes"])), "map_script_kb": script / 1024, "map_data_kb": body / 1024, "map_kb": (script + body) / 1024, "map_target_kb": 250.0}


def phone_weight() -> dict[str, float]:
    """Compressed KB of everything a phone's first visit loads."""
    from ..pages import phone_files

    return {"phone_shell_kb": phone_files.build(phone_files.FOLDER).gz_bytes() / 1024, "phone_shell_target_kb": 90.0}
