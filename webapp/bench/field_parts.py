"""What the phone reaches, part by part: each on a copy of one made-up estate of two hundred plots."""

from __future__ import annotations

import shutil
from importlib import import_module
from pathlib import Path
from typing import Callable, Iterable

NAMES = ("shell", "paint", "saving", "crowd", "day", "pack")


def measure(folder: Path, names: Iterable[str], tell: Callable[[str], object]) -> dict[str, dict[str, float]]:
    """Part → figures with units in their names, their targets, and ``met``."""
    from . import field_estate

    made = folder / "field.db"
    db = field_estate.build(made)
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    found = {}
    for name in names:
        tell(name)
        estate = folder / f"field-{name}.db"
        shutil.copy(made, estate)
        found[name] = import_module(f".field_{name}", __package__).measure(estate, folder)
    return found
