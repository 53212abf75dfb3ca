"""The search for the standard deviations, falling back step by step where it does not converge, and saying which step was taken.

0 *whole*: all of them by REML from the usual ones. 1 *again*: from other starts, the best that converges. 2 *held*: only level, visit, plant
and zone are sought, the rest held at the usual ones. 3 *usual*: nothing is sought; the closed form with the usual ones.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Callable

import numpy as np

from .estimate import Grouped, Solution, fit, solve

WHOLE, AGAIN, HELD, USUAL = range(4)
STARTS = (0.4, 2.5)
HELD_LOG_SD = 1e-3
SOUGHT_ALONE = ("level", "visit", "plant", "zone")


def sound(found: Solution) -> bool:
    """Whether everything a forecast needs of it is a number."""
    return bool(np.isfinite(found.criterion) and np.isfinite(found.sds).all() and np.isfinite(found.theta).all() and np.isfinite(found.cov).all() and np.isfinite(found.q).all())


def sought(data: Grouped, start: np.ndarray, usual: np.ndarray, names: tuple[str, ...], seek: Callable[..., Solution] | None = None, **how: float) -> tuple[Solution, int]:
    """(solution, step taken). ``start`` and ``usual`` [K + pooled] sds, ``names`` of theirs; ``how`` goes to the search."""
    def tried(data: Grouped, begin: np.ndarray) -> Solution | None:
        try:
            with np.errstate(all="ignore"):
                found = (seek or fit)(data, begin, **how)
        except (np.linalg.LinAlgError, ValueError, FloatingPointError):
            return None
        return found if found.converged and sound(found) else None

    found = tried(data, start)
    if found is not None:
        return found, WHOLE
    again = [other for factor in STARTS if (other := tried(data, usual * factor)) is not None]
    if again:
        return min(again, key=lambda s: s.criterion), AGAIN
    tight = tuple(prior if name in SOUGHT_ALONE else (float(sd), HELD_LOG_SD) for name, sd, prior in zip(names, usual, data.priors or (None,) * len(names)))
    found = tried(replace(data, priors=tight), usual)
    if found is not None:
        return found, HELD
    return solve(data, usual), USUAL
