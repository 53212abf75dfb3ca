"""The estate file itself: make it, serve it, show the demo, back it up and bring it back."""

from __future__ import annotations

import gc
import logging
import os
import shlex
import subprocess
import sys
import time
from pathlib import Path

import click

from .. import jobs
from ..cli import Edge
from ..database import backup, open_estate, restore
from ..people import service as people
from ..problems import Problem

PORT = 8350
THREADS = 64
"""As many as batches go into one group (``survey.together_service``): those who wait sleep and need no connection of their own."""


@click.command("init")
@click.option("--name", required=True)
@click.option("--time-zone", default="America/Mexico_City", show_default=True)
@click.pass_obj
def init_command(edge: Edge, name: str, time_zone: str) -> None:
    """Make an empty estate file and print the one-time link of its owner."""
    if Path(edge.path).exists():
        raise Problem("restore_exists", where=edge.path, status=409)
    db = open_estate(edge.path, create=True)
    people.setup(db, name, time_zone)
    edge.say("commands.init.done", path=edge.path)
    edge.say("commands.init.owner", link=f"/owner/{people.owner_link(db)}")


@click.command("backup")
@click.argument("target", type=click.Path(path_type=Path))
@click.pass_obj
def backup_command(edge: Edge, target: Path) -> None:
    """A consistent copy of the estate file while the server runs."""
    backup(edge.open(), target)
    edge.say("commands.backup.done", path=target, size_mb=target.stat().st_size / 1e6)


@click.command("restore")
@click.argument("source", type=click.Path(path_type=Path))
@click.pass_obj
def restore_command(edge: Edge, source: Path) -> None:
    """Put a backup where the estate file is expected (which must not exist)."""
    restore(source, edge.path)
    edge.say("commands.restore.done", path=edge.path, shown=shlex.quote(edge.path))


@click.command("serve")
@click.option("--host", default="127.0.0.1", show_default=True)
@click.option("--port", default=PORT, show_default=True, type=int)
@click.option("--no-worker", is_flag=True)
@click.pass_obj
def serve_command(edge: Edge, host: str, port: int, no_worker: bool) -> None:
    """Serve the estate on loopback; put a TLS proxy in front for phones."""
    db = edge.open()
    if not people.people(db):
        edge.say("commands.init.owner", link=f"http://{host}:{port}/owner/{people.owner_link(db)}")
    serve(edge, host, port, worker=not no_worker)


@click.command("demo")
@click.option("--port", default=PORT, show_default=True, type=int)
@click.option("--folder", default=".demo", show_default=True, type=click.Path(path_type=Path))
@click.option("--fresh", is_flag=True, help="Empieza de nuevo / start over.")
@click.option("--prepare-only", is_flag=True, help="Sin servidor / no server.")
@click.pass_obj
def demo_command(edge: Edge, port: int, folder: Path, fresh: bool, prepare_only: bool) -> None:
    """The invented estate, on loopback, with its sign-ins printed."""
    from .seeding import SIGN_INS

    edge.path = str(folder / "estate.db")
    if fresh:
        for old in folder.glob("estate.db*"):
            old.unlink()
    if not Path(edge.path).exists():
        prepare_demo(edge, folder)
    edge.say("commands.demo.sign_ins")
    for name, login, password, roles in SIGN_INS:
        click.echo(f"  {login:<11} {password:<19} {name} ({edge.words('role.' + roles[0])})")
    if not prepare_only:
        serve(edge, "127.0.0.1", port, worker=True)


def prepare_demo(edge: Edge, folder: Path) -> None:
    """Build the demo beside its final name, so that an interrupted start leaves nothing half made."""
    from ..work import estimates
    from .seeding import demo_estate

    partial = folder / "building.db"
    for old in folder.glob("building.db*"):
        old.unlink()
    started = time.monotonic()
    db = open_estate(partial, create=True)
    with click.progressbar(length=30, label=edge.words("commands.demo.building"), file=sys.stderr) as bar:
        demo_estate(db, step=lambda name: bar.update(1))
        estimates(db, progress=lambda done, code: bar.update(1) or True)
        jobs.ask(db, "replay", "demo")
        jobs.ask(db, "outlook", "demo")
        jobs.ask(db, "cutting", "demo")
        bar.update(30)
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    partial.rename(edge.path)
    for left in folder.glob("building.db-*"):
        left.unlink()
    edge.say("commands.demo.built", seconds=time.monotonic() - started)


def serve(edge: Edge, host: str, port: int, worker: bool) -> None:
    """Waitress in this process and one worker beside it, which ends when we do."""
    from waitress import create_server

    from .. import create_app

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # two hundred phones in a queue are no news, and writing so of each took a twentieth of the time
    sys.setswitchinterval(0.001)  # a fifth of the usual: whoever writes for many phones gets the interpreter back sooner; at a tenth of this, taking it from each other cost more
    app = create_app(edge.path)
    gc.freeze()  # what is loaded stays, and a batch of records is ten thousand short-lived things
    gc.set_threshold(50_000, 20, 50)
    try:
        server = create_server(app, host=host, port=port, threads=THREADS, recv_bytes=65_536, send_bytes=65_536, ident="pinario", connection_limit=600, max_request_body_size=32 * 1024 * 1024)
    except OSError as error:
        raise Problem("port_taken", where=f"{host}:{port}", reason=error.strerror or str(error)) from error
    child = subprocess.Popen([sys.executable, "-m", "webapp.cli", "--estate", edge.path, "work", "--parent", str(os.getpid())]) if worker else None
    edge.say("commands.serve.address", address=f"http://{host}:{port}/")
    edge.say("commands.serve.stop")
    sys.stdout.flush()
    try:
        server.run()
    except KeyboardInterrupt:
        pass
    finally:
        server.close()
        if child:
            child.terminate()


@click.command("work", hidden=True)
@click.option("--parent", type=int, default=0, help="Ends with this process.")
@click.option("--until-idle", is_flag=True)
@click.pass_obj
def work_command(edge: Edge, parent: int, until_idle: bool) -> None:
    """The worker process: runs the jobs that pages ask for, at low priority."""
    from ..work import KINDS

    if hasattr(os, "nice"):
        os.nice(5)  # pages answer first
    db = edge.open()
    if until_idle:
        while jobs.run_next(db, KINDS) is not None:
            pass
        return
    jobs.work_forever(db, KINDS, lambda: not parent or os.getppid() == parent)
