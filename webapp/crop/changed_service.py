"""One plot's tonnes as other readings of it would have told them: by the same fit, so that a correction's own part is seen."""

from __future__ import annotations

from math import exp
from typing import Any

from ..database import Database
from ..ripeness import plot_service
from . import service, tie_service


def tonnes_as(db: Database, code: str, readings: Any = None) -> tuple[float, float, float]:
    """(tonnes standing today, low, high at 80 %) with these ``readings`` (None: those in force) in place of the ones the answer was made from.

    Plants and weighed piñas are the same; what readings move is the plot's own piña, through what joins piñas and ripeness on this estate (``tie``).
    The interval is moved with it. The plot stands in the crop's answer.
    """
    a = service.answer(db)
    at = a.meta["plots"].index(code)
    by = 0.0
    if "tie_moved" in a.arrays:
        by = tie_service.moved_as(*service.basis(db, a), code, plot_service.effects(db, code, readings)) - float(a.arrays["tie_moved"][at])
    return tuple(float(a.arrays[f"tonnes{end}"][at, 0]) * exp(by) for end in ("", "_lo", "_hi"))
