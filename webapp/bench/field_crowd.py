"""Two hundred phones that send fifty records each at once, against the same transactions straight into SQLite."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
import threading
import time
import uuid
from datetime import timedelta
from pathlib import Path

import numpy as np

from .. import clock
from ..database import Database, backup, rows
from ..land import service as land
from . import field_office

PHONES, RECORDS, REPEATS = 200, 50, 5
TARGET = 1.5


def measure(estate: Path, folder: Path, repeats: int = REPEATS, phones: int = PHONES) -> dict[str, float]:
    """Seconds to the last reply, seconds of the floor, and the ratio of their medians (with the worst pair).

    The floor writes the very rows the server stored (the records, the install's and the phone's last
    time), in a copy of the estate taken just before (same tables, same indexes, as full), one transaction a
    phone, WAL and ``synchronous=FULL``, from one connection; beside it the time of the same transactions
    from as many connections at once. Phones were last seen the day before, so each one's return is noted
    too. The two take turns, so that a busy machine burdens both. ``floor_cpu_s`` of ``floor_s`` is reckoning
    and the rest waits for the disk: a disk that answers at once leaves only the former, which one
    transaction for many phones can't save. A receipt that is not ``kept`` for exactly what was sent ends
    the measurement.

    The phones are one process that sends ready-made bytes and only looks whether each reply is whole
    (``field_client``: about 20 ms of processor a crowd); every receipt is read when the clock has stopped.
    """
    with field_office.opened(estate) as (db, office):
        cookies = field_office.phones(db, phones)
        plots = list(land.plots(db).index)
        ours, bare, cpu, at_once, slow, most = [], [], [], [], [], []
        for turn in range(repeats + 1):  # the first warms server and disk, and is not counted
            field_office.seen_yesterday(db)
            copy = folder / f"crowd-{turn}.db"
            backup(db, copy)
            last = db.conn.execute("SELECT coalesce(max(n), 0) FROM record").fetchone()[0]
            told = _send(office, _requests(db, cookies, plots, turn, office.port), folder / f"crowd-{turn}")
            stored = [tuple(row.values()) for row in rows(db, "SELECT * FROM record WHERE n > ? ORDER BY n", [last])]
            if len(stored) != phones * RECORDS:
                raise RuntimeError(f"{len(stored)} rows stored of {phones * RECORDS}")
            second = folder / f"crowd-{turn}-at-once.db"
            shutil.copy(copy, second)
            (floor, reckoned), crowd_floor = _floor(copy, stored), _floor_at_once(second, stored)
            copy.unlink()
            second.unlink()
            if turn:
                ours.append(told["last_s"])
                bare.append(floor)
                cpu.append(reckoned)
                at_once.append(crowd_floor)
                slow.append(float(np.median(told["each_s"])))
                most.append(told["most_at_once"])
    ratio = float(np.median(ours) / np.median(bare))
    return {"met": ratio <= TARGET, "phones": float(phones), "records_each": float(RECORDS), "last_s": float(np.median(ours)), "last_worst_s": max(ours), "floor_s": float(np.median(bare)), "floor_worst_s": max(bare), "floor_cpu_s": float(np.median(cpu)),
            "floor_at_once_s": float(np.median(at_once)), "ratio_at_once": float(np.median(ours) / np.median(at_once)), "reply_median_s": float(np.median(slow)), "most_at_once": float(min(most)), "ratio": ratio, "ratio_worst": max(a / b for a, b in zip(ours, bare)), "target_ratio": TARGET}


def _send(office: field_office.Office, requests: dict[str, tuple[bytes, list[str]]], folder: Path) -> dict:
    folder.mkdir()
    for name, (body, _) in requests.items():
        (folder / f"{name}.request").write_bytes(body)
    done = subprocess.run([sys.executable, "-m", "webapp.bench.field_client", str(office.port), str(folder)], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    for name, (_, ids) in requests.items():
        head, _, body = (folder / f"{name}.reply").read_bytes().partition(b"\r\n\r\n")
        results = json.loads(body)["results"] if b" 200 " in head.split(b"\r\n")[0] else None
        if results is None or [(r["id"], r["status"]) for r in results] != [(record, "kept") for record in ids]:
            raise RuntimeError(f"phone {name}: {head[:200]!r} {body[:300]!r}")
    for path in folder.iterdir():
        path.unlink()
    return json.loads(done.stdout)


INSTALL = "INSERT INTO install (id, sender, first_at, last_at) VALUES (?, ?, ?, ?) ON CONFLICT (id) DO UPDATE SET last_at = excluded.last_at"
SEEN = "UPDATE device SET last_seen = ? WHERE id = ?"


def _floor(copy: Path, stored: list[tuple]) -> tuple[float, float]:
    """Seconds of one connection that writes the rows, grouped as they were sent; and of these, seconds of the processor."""
    conn = sqlite3.connect(copy)
    conn.execute("PRAGMA journal_mode=WAL")
    conn.execute("PRAGMA synchronous=FULL")
    by_phone: dict[str, list[tuple]] = {}
    names = [row[1] for row in conn.execute("PRAGMA table_info(record)")]
    for row in stored:
        by_phone.setdefault(row[names.index("install")], []).append(row)
    insert = f"INSERT INTO record VALUES ({', '.join('?' * len(names))})"
    came, who = names.index("received_at"), names.index("sender")
    started, busy = time.perf_counter(), time.process_time()
    for install, group in by_phone.items():
        with conn:
            conn.executemany(insert, group)
            conn.execute(INSTALL, (install, group[0][who], group[0][came], group[0][came]))
            conn.execute(SEEN, (group[0][came], group[0][who]))
    seconds = time.perf_counter() - started, time.process_time() - busy
    conn.close()
    for left in copy.parent.glob(copy.name + "-*"):
        left.unlink()
    return seconds


def _floor_at_once(copy: Path, stored: list[tuple]) -> float:
    """Seconds until the last of as many connections as phones, let go together, has written its rows straight into SQLite.

    The same transactions, arriving as the phones do: each waits by SQLite's own back-off.
    """
    conn = sqlite3.connect(copy)
    names = [row[1] for row in conn.execute("PRAGMA table_info(record)")]
    conn.close()
    by_phone: dict[str, list[tuple]] = {}
    for row in stored:
        by_phone.setdefault(row[names.index("install")], []).append(row)
    came, who, sent_by = names.index("received_at"), names.index("sender"), names.index("install")
    insert, gate = f"INSERT INTO record VALUES ({', '.join('?' * len(names))})", threading.Barrier(len(by_phone) + 1)

    def phone(group: list[tuple]) -> None:
        own = sqlite3.connect(copy, timeout=120)
        own.execute("PRAGMA synchronous=FULL")
        gate.wait()
        own.execute("BEGIN IMMEDIATE")
        own.executemany(insert, group)
        own.execute(INSTALL, (group[0][sent_by], group[0][who], group[0][came], group[0][came]))
        own.execute(SEEN, (group[0][came], group[0][who]))
        own.commit()
        own.close()

    threads = [threading.Thread(target=phone, args=(group,)) for group in by_phone.values()]
    for thread in threads:
        thread.start()
    gate.wait()
    started = time.perf_counter()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - started
    for left in copy.parent.glob(copy.name + "-*"):
        left.unlink()
    return seconds


def _requests(db: Database, cookies: list[str], plots: list[str], turn: int, port: int) -> dict[str, tuple[bytes, list[str]]]:
    """One whole HTTP request a phone, with the identifiers it holds: a round's start and its readings."""
    found = {}
    for number, cookie in enumerate(cookies):
        body, ids = _batch(db, turn, number, plots[number % len(plots)])
        head = (f"POST /field/records HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nContent-Type: application/json\r\nAccept: application/json\r\nAccept-Language: es\r\n"
                f"Sec-Fetch-Site: same-origin\r\nCookie: {field_office.COOKIE}={cookie}\r\nContent-Length: {len(body)}\r\nConnection: close\r\n\r\n")
        found[f"{number:03d}"] = (head.encode() + body, ids)
    return found


def _batch(db: Database, turn: int, phone: int, plot: str) -> tuple[bytes, list[str]]:
    now = clock.of(db).now()
    begun = now - timedelta(hours=3)

    def name(kind: int, number: int) -> str:
        return str(uuid.UUID(int=(0x0193 << 112) | (kind << 96) | (turn << 84) | (7 << 76) | (2 << 62) | (phone << 16) | number))

    install, visit = name(1, 0), name(2, 0)
    common = {"install": install, "round": visit, "plot": plot, "confirmed": False, "replaces": None}
    records = [{"id": name(3, i), "seq": 1 + i + turn * RECORDS, "kind": "reading" if i else "round", "taken_at": (begun + timedelta(seconds=100 * i)).isoformat(timespec="milliseconds"),
                "position": {"lat": 20.0 + i * 1e-5, "lon": -103.0 + phone * 1e-5, "accuracy_m": 6.0}, **common,
                **({"row": 1 + 2 * i, "plant": 3 + i, "brix_raw_deg": 19.0 + (7 * i + phone) % 60 / 10, "juice_temp_c": 22.0} if i else {"instrument": "Refractómetro 1", "atc": "no", "zero_check_deg": 0.0})} for i in range(RECORDS)]
    records[0]["id"] = visit
    return json.dumps({"schema": 1, "sent_at": now.isoformat(timespec="milliseconds"), "records": records}, separators=(",", ":")).encode(), [r["id"] for r in records]
