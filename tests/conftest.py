"""An estate per test, in a folder of its own; nothing is shared and no clock is asked."""

from __future__ import annotations

import contextlib
import fcntl
import os
import shutil
from datetime import time

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy: many small matrices are slower on several threads, and solvers share the machine
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest  # noqa: E402

from webapp.database import open_estate  # noqa: E402

from .hours import beginning_at  # noqa: E402


@pytest.fixture()
def estate_path(tmp_path):
    return tmp_path / "estate.db"


def founded(path):
    """An empty estate with a frozen today (2026-11-23, the Monday of 2026-W48), opened."""
    opened = open_estate(path, create=True)
    opened["estate"].insert({"id": 1, "name": "Rancho de prueba", "time_zone": "America/Mexico_City", "frozen_today": "2026-11-23",
                             "created_at": "2026-11-23T12:00:00Z", "store_epoch": "prueba"})
    return opened


def closed(db):
    """Everything into the one file, which may then be copied."""
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()


@contextlib.contextmanager
def copied(made, path):
    """A closed estate file copied to ``path`` and opened there; what made it is left as it was."""
    shutil.copy(made, path)
    opened = open_estate(path)
    yield opened
    opened.conn.close()


@pytest.fixture()
def db(estate_path):
    opened = founded(estate_path)
    yield opened
    opened.conn.close()


@pytest.fixture(scope="session")
def playwright():
    """Playwright, started once a run: it can't be started twice in one thread."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def demo_made(tmp_path_factory):
    """The demo estate with its estimates, made once a run by whichever worker comes first; tests get copies."""
    from webapp.commands.seeding import demo_estate
    from webapp.work import estimates

    own = tmp_path_factory.getbasetemp()
    folder = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own  # all workers of one run share the parent
    path, making = folder / "demo.db", folder / "demo-in-the-making.db"
    with (folder / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            with beginning_at(time(0)):  # its answers are older than whatever a test makes, at any hour: a journey begins at noon
                made = open_estate(making, create=True)
                demo_estate(made)
                estimates(made)
                closed(made)
            making.rename(path)
    return path


@pytest.fixture()
def demo_path(demo_made, tmp_path):
    """A copy of the demo estate that a test may change."""
    return shutil.copy(demo_made, tmp_path / "demo.db")


@pytest.fixture()
def demo(demo_path):
    opened = open_estate(demo_path)
    yield opened
    opened.conn.close()


@pytest.fixture(scope="module")
def demo_site(demo_made, tmp_path_factory):
    """A Flask test application on one copy of the demo for a whole module (tests that only read)."""
    from webapp import create_app

    return create_app(shutil.copy(demo_made, tmp_path_factory.mktemp("site") / "demo.db"), testing=True)


@pytest.fixture()
def sign_in(demo_site):
    """``sign_in("jefa")`` → a test client of that demo person; None → nobody."""
    from webapp.commands.seeding import SIGN_INS

    def enter(login):
        client = demo_site.test_client()
        if login:
            password = next(p for _, l, p, _ in SIGN_INS if l == login)
            assert client.post("/sign-in", data={"login": login, "password": password}).status_code == 303
        return client

    return enter
