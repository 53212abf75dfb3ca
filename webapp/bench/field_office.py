"""An office to measure phones against: two hundred plots, its server as a process of its own on loopback, enrolled phones."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from datetime import timedelta
from pathlib import Path

from .. import clock
from ..database import Database, atomic, open_estate
from ..people import service as people
from ..problems import Problem

PATIENCE_S = 30.0
COOKIE = "device"  # loopback is plain http, so without the prefix that needs TLS


class Office:
    """``pinario serve`` on one estate file. A stop is believed only when the port is closed."""

    def __init__(self, estate: Path, log: Path) -> None:
        self.estate, self.log, self.port, self.process = Path(estate), Path(log), _free_port(), None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> "Office":
        """Problem ``bench_no_server`` when it does not listen in time."""
        words = [sys.executable, "-m", "webapp.cli", "--estate", str(self.estate), "serve", "--port", str(self.port), "--no-worker"]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(words, start_new_session=True, stdout=log, stderr=log, cwd=Path(__file__).parents[2])
        deadline = time.monotonic() + PATIENCE_S
        while not self.listening():
            if self.process.poll() is not None or time.monotonic() > deadline:
                self.stop()
                raise Problem("bench_no_server", where=self.address, reason=self.log.read_text()[-300:])
            time.sleep(0.05)
        return self

    def listening(self) -> bool:
        with socket.socket() as probe:
            probe.settimeout(0.5)
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def stop(self) -> None:
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGTERM)
            self.process.wait(PATIENCE_S)
            self.process = None
        deadline = time.monotonic() + PATIENCE_S
        while self.listening():
            if time.monotonic() > deadline:
                raise Problem("bench_no_server", where=self.address, reason="the port stays open")
            time.sleep(0.05)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextlib.contextmanager
def opened(estate: Path):
    """(its database, its running office); both closed at the end."""
    db = open_estate(estate)
    office = Office(estate, Path(estate).with_suffix(".log"))
    try:
        yield db, office.start()
    finally:
        office.stop()
        db.conn.close()


def phones(db: Database, count: int, crew: str = "Cuadrilla 1") -> list[str]:
    """Cookies of ``count`` newly enrolled phones, last seen the day before, as phones that come home in the evening are."""
    found = []
    for number in range(count):
        _, code = people.new_device(db, f"Teléfono {number + 1}", crew, "bench")
        found.append(people.enrol(db, code, "127.0.0.1")[1])
    seen_yesterday(db)
    return found


def seen_yesterday(db: Database) -> None:
    with atomic(db):
        db.execute("UPDATE device SET last_seen = ? WHERE last_seen IS NOT NULL", [(clock.utc_now() - timedelta(days=1)).isoformat(timespec="microseconds")])
