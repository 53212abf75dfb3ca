"""A real server on loopback and a real Chromium: started, stopped and killed for the tests.

A stop is believed only when the port is closed: a server left over from an earlier run once gave a
false green.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path

from tests.browsers import STARTED_BY_US

from . import standby

PATIENCE_S = 30


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def listening(port: int) -> bool:
    with socket.socket() as probe:
        probe.settimeout(0.5)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def wait_until(true, what: str, patience_s: float = PATIENCE_S):
    deadline = time.monotonic() + patience_s
    while not (found := true()):
        assert time.monotonic() < deadline, f"waited {patience_s:.0f} s in vain until {what}"
        time.sleep(0.05)
    return found


class Office:
    """``pinario serve`` on one estate file and one fixed port."""

    def __init__(self, estate: Path, log: Path) -> None:
        self.estate, self.log, self.port, self.process = estate, log, free_port(), None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> "Office":
        assert not listening(self.port), "something else listens on the office's port"
        self.process = standby.run("webapp.cli", ["--estate", str(self.estate), "serve", "--port", str(self.port), "--no-worker"], self.log)
        wait_until(lambda: listening(self.port) or self.process.poll() is not None, "the server listens")
        assert self.process.poll() is None, self.log.read_text()
        return self

    def stop(self, with_signal: int = signal.SIGTERM) -> None:
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, with_signal)
            self.process.wait(PATIENCE_S)
            self.process = None
        wait_until(lambda: not listening(self.port), "the port is closed")
        assert not listening(self.port)


class Chromium:
    """A Chromium of its own process group and profile, reached over CDP, killed with SIGKILL."""

    def __init__(self, playwright, executable: str, profile: Path) -> None:
        self.playwright, self.executable, self.profile, self.process, self.browser = playwright, executable, profile, None, None

    def start(self):
        """A page of the browser's own persistent context."""
        mark = self.profile / "DevToolsActivePort"
        mark.unlink(missing_ok=True)
        self.process = subprocess.Popen([self.executable, "--headless", *STARTED_BY_US, "--lang=es-MX", f"--user-data-dir={self.profile}", "--remote-debugging-port=0", "about:blank"],
                                        start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        port = wait_until(lambda: mark.exists() and mark.read_text().splitlines()[:1], "Chromium names its port")[0]
        self.browser = self.playwright.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        return self.browser.contexts[0].new_page()

    def kill(self) -> None:
        """As if the battery came out: no goodbye, the whole group at once."""
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(PATIENCE_S)
            with contextlib.suppress(Exception):  # the connection is gone with the browser
                self.browser.close()
            self.process = self.browser = None

    def quit(self) -> None:
        """Leave as a person would, so that the cookie of an enrolment, which Chromium writes every half minute, is on the disk."""
        self.browser.new_browser_cdp_session().send("Browser.close")
        self.process.wait(PATIENCE_S)
        with contextlib.suppress(Exception):
            self.browser.close()
        self.process = self.browser = None

    def forget(self) -> None:
        self.kill()
        shutil.rmtree(self.profile, ignore_errors=True)
