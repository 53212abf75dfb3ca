"""What a phone fetches of two hundred plots, and what it costs when nothing changed."""

from __future__ import annotations

import gzip
import http.client
import json
import time
from pathlib import Path

import numpy as np

from . import field_estate, field_office

REQUESTS = 12
TARGET_KB = 60.0


def measure(estate: Path, folder: Path, requests: int = REQUESTS) -> dict[str, float]:
    """Compressed KB and ms of the pack, head included; ms and bytes of the answer 304. The baseline of time is the phone's manifest from the same server, that of weight the pack as it is before compression."""
    with field_office.opened(estate) as (db, office):
        cookie = field_office.phones(db, 1, field_estate.CREW)[0]
        whole, same, bare = [], [], []
        for _ in range(requests + 2):
            pack, tag, ms, size = _get(office.port, "/field/pack", cookie)
            whole.append(ms)
            unchanged, _, ms, short = _get(office.port, "/field/pack", cookie, tag)
            same.append(ms)
            bare.append(_get(office.port, "/field/manifest.webmanifest", cookie)[2])
    plain = gzip.decompress(pack)
    held = json.loads(plain)
    kb = size / 1024
    return {"met": kb <= TARGET_KB and unchanged == 304, "plots": float(len(held["plots"])), "orders": float(len(held["orders"])), "pack_kb": kb, "plain_kb": len(plain) / 1024, "pack_ms": float(np.median(whole[2:])),
            "unchanged_status": float(unchanged), "unchanged_bytes": float(short), "unchanged_ms": float(np.median(same[2:])), "manifest_ms": float(np.median(bare[2:])), "target_kb": TARGET_KB}


def _get(port: int, address: str, cookie: str, tag: str | None = None):
    """(body or, without one, the status; ETag; ms; bytes of the answer with its head)."""
    link = http.client.HTTPConnection("127.0.0.1", port)
    started = time.perf_counter()
    link.request("GET", address, headers={"Cookie": f"{field_office.COOKIE}={cookie}", "Accept-Encoding": "gzip", "Accept": "application/json", **({"If-None-Match": tag} if tag else {})})
    reply = link.getresponse()
    body = reply.read()
    ms = 1000 * (time.perf_counter() - started)
    head = sum(len(name) + len(value) + 4 for name, value in reply.getheaders()) + 17
    link.close()
    if reply.status not in (200, 304):
        raise RuntimeError(f"{address}: {reply.status} {body[:200]!r}")
    return (body if reply.status == 200 else reply.status), reply.headers["ETag"], ms, head + len(body)
