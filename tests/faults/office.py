"""The harness's hold on the office: its process, its orders, its estate file, its backups."""

from __future__ import annotations

import contextlib
import hashlib
import json
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

from tests.browser.conftest import settle
from tests.browser.office import free_port, listening, wait_until
from webapp import STATIC
from webapp.database import backup, open_estate, restore
from webapp.pages import phone_files
from webapp.people import service as people

from . import sabotage
from .ledger import Office as Found


class FaultyOffice:
    """A real server process on one estate file and one port; see ``serving`` for what it can be told."""

    def __init__(self, folder: Path, spoil: str = "") -> None:
        self.folder, self.estate, self.orders, self.port = folder, folder / "estate.db", folder / "orders", free_port()
        self.orders.mkdir(parents=True)
        settle(self.estate).conn.close()
        source = STATIC / "field"
        if spoil == "early_receipt":
            source = sabotage.phone(source, folder / "spoilt")
        self.releases = [folder / "release_0", folder / "release_1"]
        for n, release in enumerate(self.releases):
            shutil.copytree(source, release)
            style = release / "style.css"
            style.write_text(f"{style.read_text()}\n/* release {n} */\n")
        (self.orders / "releases").write_text("\n".join(map(str, self.releases)))
        self.made = [phone_files.build(release) for release in self.releases]
        self.builds = {build.name: release for build, release in zip(self.made, self.releases)}
        (self.orders / "release").write_text(str(self.releases[0]))
        self.log = (folder / "server.log").open("ab")
        self.process = subprocess.Popen([sys.executable, "-m", "tests.faults.serving", str(self.estate), str(self.port), str(self.orders), *([spoil] if spoil in ("no_digest", "not_atomic") else [])],
                                        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self.log, text=True)
        self.up = False
        self.backups: list[Path] = []

    # --- the process -----------------------------------------------------------------------------------

    def tell(self, order: str) -> str:
        self.process.stdin.write(order + "\n")
        self.process.stdin.flush()
        answered = self.process.stdout.readline().strip()
        assert answered, (self.folder / "server.log").read_text()[-3000:]
        return answered

    def start(self) -> "FaultyOffice":
        assert not self.up and not listening(self.port), "something else listens on the office's port"
        self.tell("start")
        self.up = True
        wait_until(lambda: listening(self.port), "the server listens")
        return self

    def stop(self) -> int:
        """SIGKILL; returns how the process ended. Believed only when the port is closed."""
        ended = int(self.tell("stop"))
        self.up = False
        wait_until(lambda: not listening(self.port), "the port is closed")
        return ended

    def dead(self) -> bool:
        return not listening(self.port)

    def revive(self) -> None:
        """After it died of an order."""
        assert self.stop() == -signal.SIGKILL
        self.start()

    def close(self) -> None:
        with contextlib.suppress(Exception):
            if self.up:
                self.stop()
        self.process.stdin.close()
        self.process.wait(20)
        self.log.close()

    # --- orders ----------------------------------------------------------------------------------------

    def order(self, **what) -> None:
        partial = self.orders / "next.partial"
        partial.write_text(json.dumps(what))
        partial.rename(self.orders / "next")

    def withdraw(self) -> bool:
        """Take an order back; whether it was still there."""
        try:
            (self.orders / "next").unlink()
        except FileNotFoundError:
            return False
        return True

    def full(self, yes: bool) -> None:
        (self.orders / "full").touch() if yes else (self.orders / "full").unlink(missing_ok=True)

    def serve_other_release(self, than: str) -> str:
        """Serve the release that is not the build named ``than``; returns its name."""
        name, folder = next((name, folder) for name, folder in self.builds.items() if name != than)
        (self.orders / "release").write_text(str(folder))
        return name

    # --- the estate ------------------------------------------------------------------------------------

    def invite(self) -> str:
        with contextlib.closing(open_estate(self.estate).conn) as conn:
            import sqlite_utils

            return people.new_device(sqlite_utils.Database(conn, strict=True), "Teléfono", "Cuadrilla 2", "prueba")[1]

    def backup(self) -> Path:
        """The product's own backup, while the server runs."""
        db = open_estate(self.estate)
        self.backups.append(backup(db, self.folder / "backups" / f"{len(list(self.folder.glob('backups/*')))}.db"))
        db.conn.close()
        return self.backups[-1]

    def restore(self, source: Path) -> None:
        """The product's own restore, with the server down meanwhile."""
        self.stop()
        assert not listening(self.port)
        for old in self.folder.glob("estate.db*"):
            old.unlink()
        restore(source, self.estate)
        self.start()

    def query(self, sql: str, params=()) -> list[tuple]:
        with contextlib.closing(sqlite3.connect(f"{self.estate.as_uri()}?mode=ro", uri=True, timeout=20)) as conn:
            return conn.execute(sql, params).fetchall()

    def found(self) -> Found:
        return Found(self.query("SELECT id, install, seq, bytes FROM record"), [row[0] for row in self.query("SELECT record FROM conflict")],
                     {digest: hashlib.sha256(data).hexdigest() for digest, data in self.query("SELECT digest, bytes FROM photo")})
