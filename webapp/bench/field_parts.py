"""What the phone reaches, part by part: each on an estate of its own with two hundred plots."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Callable, Iterable

NAMES = ("crowd",)
PLOTS = 200


def measure(folder: Path, names: Iterable[str], tell: Callable[[str], object]) -> dict[str, dict[str, float]]:
    """Part → figures with units in their names, their targets, and ``met``."""
    from . import thousand_plots

    found = {}
    for name in names:
        tell(name)
        estate = folder / f"field-{name}.db"
        thousand_plots.build(estate, PLOTS).conn.close()
        found[name] = import_module(f".field_{name}", __package__).measure(estate, folder)
    return found
