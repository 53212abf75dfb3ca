"""A process with the program loaded that forks a server when one is wanted: ``python -m tests.browser.standby``.

A server that starts from nothing spends two seconds loading what its first answers need, two hundred times
a run, and a command one. One asked of here runs the same command in the same way, in a process and a session of its
own, and is killed and stopped like any other. It reads lines of JSON {module, argv, log, errors, status} and answers
each with a process number; ``errors`` and ``status`` name files, and may be empty.
"""

from __future__ import annotations

import atexit
import json
import os
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from functools import cache
from importlib import import_module, util
from pathlib import Path
from pkgutil import walk_packages


class Forked:
    """A process of the standby's, with what of ``subprocess.Popen`` the tests use."""

    def __init__(self, pid: int) -> None:
        self.pid = pid

    def poll(self) -> int | None:
        try:
            os.kill(self.pid, 0)
        except ProcessLookupError:
            return -1
        return None

    def wait(self, patience_s: float) -> int:
        deadline = time.monotonic() + patience_s
        while (ended := self.poll()) is None:
            if time.monotonic() > deadline:
                raise subprocess.TimeoutExpired(str(self.pid), patience_s)
            time.sleep(0.005)
        return ended


@cache
def _standby() -> subprocess.Popen:
    process = subprocess.Popen([sys.executable, "-m", "tests.browser.standby"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    atexit.register(process.stdin.close)
    return process


def run(module: str, argv: list[str], log: Path, errors: Path | str = "", status: Path | str = "") -> Forked:
    """``python -m module argv``, its output appended to ``log``, what it says of errors to ``errors`` (else to the log too), how it ended written into ``status``."""
    standby = _standby()
    standby.stdin.write(json.dumps({"module": module, "argv": argv, "log": str(log), "errors": str(errors), "status": str(status)}) + "\n")
    standby.stdin.flush()
    return Forked(int(standby.stdout.readline()))


def completed(module: str, argv: list[str], patience_s: float = 120) -> subprocess.CompletedProcess:
    """``python -m module argv`` run to its end, told as ``subprocess.run`` tells it. It runs in the folder the standby was started in."""
    with tempfile.TemporaryDirectory() as folder:
        out, errors, status = (Path(folder) / name for name in ("out", "errors", "status"))
        forked = run(module, argv, out, errors, status)
        try:
            forked.wait(patience_s)
        except subprocess.TimeoutExpired:
            os.kill(forked.pid, signal.SIGKILL)
            raise
        return subprocess.CompletedProcess(argv, int(status.read_text()) if status.exists() else -signal.SIGKILL, out.read_text(encoding="utf-8"), errors.read_text(encoding="utf-8"))


def _load() -> None:
    """Everything a server loads on its way through enrolling, receiving and packing."""
    import webapp
    from webapp import create_app
    from webapp.database import open_estate
    from webapp.people import service as people

    for found in walk_packages(webapp.__path__, "webapp."):
        if ".bench" not in found.name:
            import_module(found.name)
    with tempfile.TemporaryDirectory() as folder:
        db = open_estate(Path(folder) / "estate.db", create=True)
        people.setup(db, "Rancho", "America/Mexico_City")
        client = create_app(Path(folder) / "estate.db", testing=True).test_client()
        client.get("/field/", headers={"Accept-Encoding": "gzip"})
        client.get("/sign-in")
        code = people.new_device(db, "Teléfono", "Cuadrilla", "prueba")[1]
        assert client.post("/field/enrol", json={"code": code}).status_code == 200
        assert client.post("/field/records", json={"schema": 1, "records": []}).status_code == 200
        assert client.get("/field/pack").status_code == 200
        db.conn.close()


def _become(order: dict) -> None:
    """In the fork: the command's own process."""
    os.setsid()
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    log = os.open(order["log"], os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    os.dup2(log, 1)
    os.dup2(os.open(order["errors"], os.O_WRONLY | os.O_CREAT | os.O_APPEND) if order["errors"] else log, 2)
    sys.argv = [util.find_spec(order["module"]).origin, *order["argv"]]
    sys.modules["__main__"].__package__ = order["module"].rpartition(".")[0]  # a usage message names the program by it
    import_module(order["module"]).main()


def main() -> None:
    _load()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # those that end are forgotten at once
    children = []
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            ended, order = 1, json.loads(line)
            try:
                _become(order)
                ended = 0
            except SystemExit as leaving:
                ended = leaving.code or 0
            except BaseException:
                traceback.print_exc()
            finally:
                sys.stdout.flush()
                sys.stderr.flush()
                if order["status"]:
                    Path(order["status"]).write_text(str(ended))
                os._exit(ended)
        children.append(child)
        print(child, flush=True)
    for child in children:
        if Forked(child).poll() is None:
            os.kill(child, signal.SIGKILL)


if __name__ == "__main__":
    main()
