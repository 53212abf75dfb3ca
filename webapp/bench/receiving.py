"""Receiving records against the physical floor: the same rows straight into SQLite at the same durability."""

from __future__ import annotations

import json
import sqlite3
import time
from pathlib import Path

from ..database import Database
from ..survey import service as survey

BATCHES, PER_BATCH = 20, 50


def measure(db: Database, folder: Path, plot: str, seed: int = 1) -> dict[str, float]:
    """Seconds per record and per batch through ``survey.receive`` and as bare inserts; ratios of the two.

    Both commit once a batch with WAL and ``synchronous=FULL``, in the same run on the same disk.
    """
    batches = [_batch(plot, seed * 1000 + b) for b in range(BATCHES)]
    started = time.perf_counter()
    for body in batches:
        reply = survey.receive(db, body, "bench", None)
        assert len(reply["results"]) == PER_BATCH
    ours = time.perf_counter() - started
    single = [_batch(plot, seed * 1000 + 500 + b, 1) for b in range(40)]
    started = time.perf_counter()
    for body in single:
        survey.receive(db, body, "bench", None)
    ours_single = time.perf_counter() - started
    floor, floor_single = _floor(folder / "floor.db", batches), _floor(folder / "floor1.db", single)
    return {
        "batch_ms": 1000 * ours / BATCHES, "floor_batch_ms": 1000 * floor / BATCHES, "batch_ratio": ours / floor,
        "record_ms": 1000 * ours_single / len(single), "floor_record_ms": 1000 * floor_single / len(single), "record_ratio": ours_single / floor_single}


def _batch(plot: str, number: int, size: int = PER_BATCH) -> bytes:
    records = [{
        "id": f"0193{number:04x}-0000-7{i:03x}-8000-{number:012x}", "install": f"0193ffff-0000-7000-8000-{number % 7:012x}", "seq": number * size + i,
        "round": None, "kind": "reading", "plot": plot, "taken_at": "2026-11-20T09:12:03-06:00", "position": None, "confirmed": False, "replaces": None,
        "row": 1 + i, "plant": 1, "brix_raw_deg": 20.0 + i % 7, "juice_temp_c": 22.0} for i in range(size)]
    return json.dumps({"schema": 1, "sent_at": "2026-11-23T12:00:00-06:00", "records": records}).encode()


def _floor(path: Path, batches: list[bytes]) -> float:
    """The same number of rows with the same bytes, one transaction a batch, nothing else done."""
    for old in path.parent.glob(path.name + "*"):
        old.unlink()
    conn = sqlite3.connect(path)
    conn.execute("PRAGMA journal_mode=WAL")
    conn.execute("PRAGMA synchronous=FULL")
    conn.execute("CREATE TABLE record (n INTEGER PRIMARY KEY, id TEXT UNIQUE, plot TEXT, kind TEXT, bytes BLOB)")
    rows = [[(r["id"], r["plot"], r["kind"], json.dumps(r).encode()) for r in json.loads(body)["records"]] for body in batches]
    started = time.perf_counter()
    for batch in rows:
        with conn:
            conn.executemany("INSERT INTO record (id, plot, kind, bytes) VALUES (?, ?, ?, ?)", batch)
    taken = time.perf_counter() - started
    conn.close()
    return taken
