"""Piñario: what stands in the agave fields, how ripe it is, what to cut and how much to plant."""

from __future__ import annotations

from pathlib import Path

__version__ = "0.1.0"
STATIC = Path(__file__).parent.parent / "static"


def create_app(estate_path: str | Path, *, testing: bool = False):
    """The Flask application on one estate file.

    ``app.config["ESTATE"]`` is the file's path; every thread opens its own connection through
    ``database.thread_estate``. Raises Problem when the file is missing or not ours.
    """
    from flask import Flask

    from .database import open_estate
    from .pages import register
    from .pages.records_door import RecordsDoor

    open_estate(estate_path).conn.close()  # migrations run, and a wrong file is refused, before the first request
    app = Flask("webapp", static_folder=None)
    app.config.update(ESTATE=str(estate_path), TESTING=testing, MAX_CONTENT_LENGTH=32 * 1024 * 1024, TRUSTED_HOSTS=None)
    app.json.sort_keys = False
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    register(app)
    app.wsgi_app = RecordsDoor(app)
    return app
