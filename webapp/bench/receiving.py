"""Receiving records against the physical floor: the same rows straight into SQLite at the same durability."""

from __future__ import annotations

import json
import sqlite3
import time
import uuid
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from .. import clock
from ..database import Database, rows
from ..survey import service as survey

BATCHES, PER_BATCH, SINGLES = 20, 50, 40
SENDER = "bench"


def measure(db: Database, folder: Path, plot: str) -> dict[str, float]:
    """Median ms per batch of fifty readings and per single record, through ``survey.receive`` and as bare inserts.

    The floor writes the very rows that receiving stored (same columns, same indexes) into a file on the
    same disk, one transaction a batch, WAL and ``synchronous=FULL`` like the estate; it judges nothing,
    reads no JSON and keeps no versions. The two take turns, so that a busy machine burdens both.
    """
    floor = _floor(db, folder / "floor.db")
    out: dict[str, float] = {}
    number = 0
    for name, count, size in (("batch", BATCHES, PER_BATCH), ("record", SINGLES, 1)):
        ours, bare = [], []
        for _ in range(count):
            body = batch(db, plot, number, size)
            number += size
            started = time.perf_counter()
            reply = survey.receive(db, body, SENDER, clock.of(db).now())
            ours.append(time.perf_counter() - started)
            if [r["status"] for r in reply["results"]] != ["kept"] * size:
                raise RuntimeError(reply["results"][0])
            stored = [tuple(row.values()) for row in rows(db, "SELECT * FROM record WHERE sender = ? ORDER BY n DESC LIMIT ?", [SENDER, size])]
            started = time.perf_counter()
            with floor:
                floor.executemany(f"INSERT INTO record VALUES ({', '.join('?' * len(stored[0]))})", stored)
            bare.append(time.perf_counter() - started)
        out |= {f"{name}_ms": 1000 * float(np.median(ours)), f"{name}_floor_ms": 1000 * float(np.median(bare)), f"{name}_ratio": float(np.median(ours) / np.median(bare)),
                f"{name}_p95_ms": 1000 * float(np.percentile(ours, 95))}
    floor.close()
    return out | {"records_per_s": PER_BATCH / (out["batch_ms"] / 1000)}


def batch(db: Database, plot: str, number: int, size: int = PER_BATCH) -> bytes:
    """``size`` readings of yesterday as a phone sends them; ``number`` sets their ids and sequence."""
    now = clock.of(db).now()
    taken: datetime = now - timedelta(days=1)
    records = [{
        "id": str(uuid.UUID(int=(0x0193 << 112) | (0xBE << 80) | (7 << 76) | (2 << 62) | (number + i))), "install": "0193ffff-0000-7000-8000-00000000be00", "seq": number + i + 1,
        "round": None, "kind": "reading", "plot": plot, "taken_at": (taken + timedelta(seconds=20 * i)).isoformat(timespec="seconds"), "position": {"lat": 20.6, "lon": -103.0, "accuracy_m": 6.0},
        "confirmed": False, "replaces": None, "row": 1 + i, "plant": 1, "brix_raw_deg": 20.0 + i % 7, "juice_temp_c": 22.0} for i in range(size)]
    return json.dumps({"schema": 1, "sent_at": now.isoformat(timespec="seconds"), "records": records}).encode()


def _floor(db: Database, path: Path) -> sqlite3.Connection:
    """An empty file with the log's own table and indexes."""
    for old in path.parent.glob(path.name + "*"):
        old.unlink()
    conn = sqlite3.connect(path)
    conn.execute("PRAGMA journal_mode=WAL")
    conn.execute("PRAGMA synchronous=FULL")
    for row in rows(db, "SELECT sql FROM sqlite_master WHERE tbl_name = 'record' AND sql IS NOT NULL ORDER BY type = 'index'"):
        conn.execute(row["sql"])
    return conn
