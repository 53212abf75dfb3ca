"""An estate per test, in a folder of its own; nothing is shared and no clock is asked."""

from __future__ import annotations

import pytest

from webapp.database import open_estate


@pytest.fixture()
def estate_path(tmp_path):
    return tmp_path / "estate.db"


@pytest.fixture()
def db(estate_path):
    """An empty estate with a frozen today (2026-11-23, the Monday of 2026-W48)."""
    opened = open_estate(estate_path, create=True)
    opened["estate"].insert({"id": 1, "name": "Rancho de prueba", "time_zone": "America/Mexico_City", "frozen_today": "2026-11-23",
                             "created_at": "2026-11-23T12:00:00Z", "store_epoch": "prueba"})
    yield opened
    opened.conn.close()
