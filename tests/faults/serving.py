"""The office's server process, made to fail on order: ``python -m tests.faults.serving ESTATE PORT ORDERS [SABOTAGE]``.

One process holds the program loaded and forks the real server for each start, so that a server killed by
SIGKILL is back within a moment; it reads "start" and "stop" from its standard input. Orders are files in a
folder, so nothing of them travels with the requests:

- ``next``: JSON for the next POST of records: ``kill_at`` (SIGKILL at that statement of its transaction, or at
  its commit), ``kill_after`` (SIGKILL when the answer is ready), ``refuse`` (an identifier whose storing raises);
- ``full``: while there, the estate file may not grow by a page (SQLITE_FULL for real);
- ``release``: the folder of the phone's release to serve.

SABOTAGE spoils this server: ``no_digest`` or ``not_atomic`` (see ``sabotage.py``).
"""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import sys
import threading
from pathlib import Path

from waitress import create_server

from webapp import create_app
from webapp.pages import phone_files
from webapp.survey import store
from webapp.survey.record import Row

from . import sabotage


class Orders:
    def __init__(self, folder: Path) -> None:
        self.folder, self.kill_at, self.refuse, self.statements, self.inside = folder, 0, "", 0, False

    def take(self) -> dict:
        try:
            text = (self.folder / "next").read_text()
            (self.folder / "next").unlink()
        except FileNotFoundError:
            return {}
        return json.loads(text)

    def there(self, name: str) -> bool:
        return (self.folder / name).exists()


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def watched(orders: Orders):
    """A connection that counts the statements of an armed transaction, and lets the file grow only when it may."""

    class Watched(sqlite3.Connection):
        def __init__(self, *given, **named) -> None:
            super().__init__(*given, **named)
            self.set_trace_callback(self.seen)

        def seen(self, statement: str) -> None:
            if not orders.kill_at:
                return
            if statement.startswith("BEGIN IMMEDIATE"):
                orders.statements, orders.inside = 0, True
            elif orders.inside:
                orders.statements += 1
                if orders.statements >= orders.kill_at or statement.startswith("COMMIT"):
                    die()

        def execute(self, sql, *given):
            if sql.startswith("BEGIN IMMEDIATE"):
                pages = super().execute("PRAGMA page_count").fetchone()[0]
                super().execute(f"PRAGMA max_page_count={pages if orders.there('full') else 1 << 30}").fetchone()
            return super().execute(sql, *given)

    return Watched


def refusing(orders: Orders, add):
    def added(db, records):
        found = list(records)
        if orders.refuse and any(Row(*row).id == orders.refuse for row in found):
            raise RuntimeError("a record that this server can't take")
        return add(db, found)
    return added


def failing(app, orders: Orders):
    def answer(environ, start):
        release = orders.folder / "release"
        if release.exists():
            app.config["PHONE_FOLDER"] = Path(release.read_text())
        if environ["PATH_INFO"] != "/field/records":
            return app(environ, start)
        order = orders.take()
        if "refuse" in order:
            orders.refuse = order["refuse"]
        if order.get("kill_at"):
            orders.kill_at = order["kill_at"]
        said = []
        body = list(app(environ, lambda *given: said.append(given)))
        if order.get("kill_after") and said[0][0].startswith("200"):
            die()
        start(*said[0])
        return body
    return answer


def serve(estate: str, port: int, orders: Orders, spoil: str) -> None:
    sqlite_connect = sqlite3.connect
    sqlite3.connect = lambda *given, **named: sqlite_connect(*given, **{"factory": watched(orders), **named})
    store.add = refusing(orders, store.add)
    app = sabotage.of_server(failing(create_app(estate), orders), spoil, Path(estate))
    create_server(app, host="127.0.0.1", port=port, threads=4).run()


def main() -> None:
    estate, port, folder, *spoil = sys.argv[1:]
    orders = Orders(Path(folder))
    for release in {phone_files.FOLDER, *(Path(line) for line in (orders.folder / "releases").read_text().splitlines())}:
        phone_files.build(release)  # made once, before the fork
    create_app(estate)  # loads every page's module
    child = 0
    for line in sys.stdin:
        if line.strip() == "start":
            assert not child
            child = os.fork()
            if child == 0:
                try:
                    serve(estate, int(port), orders, spoil[0] if spoil else "")
                finally:
                    os._exit(1)
            print(child, flush=True)
        elif line.strip() == "stop":  # also reaps one that died of an order
            os.kill(child, signal.SIGKILL)
            _, status = os.waitpid(child, 0)
            child = 0
            print(os.waitstatus_to_exitcode(status), flush=True)
    if child:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)


if __name__ == "__main__":
    assert threading.active_count() == 1
    main()
