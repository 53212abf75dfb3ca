"""What a visit weighs that lies far from all that the others say: little, until somebody looks at it; nothing is dropped.

A visit whose distance z, in sds, from what all others say of it (``doubts.left_out``) is beyond a limit that one estate in twenty would see passed
by chance is taken to have a variance (z / limit)³ times as large: just beyond the limit it counts nearly in full, twice as far an eighth, and a slipped
decimal next to nothing. The farthest of
a plot goes first, since it drags what is expected of its neighbours. Rounds that the office has looked at and left count in full.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from . import doubts, ripening
from .visits import Visits

PLOTS_AT_ONCE, PASSES = 400, 3
LEAST_Z, BY_CHANCE, LEAST_VISITS = doubts.FAR_Z, 0.05, 30
"""With fewer visits an estate cannot tell a faulty one from a plot that differs."""


def limit(visits: int) -> float:
    """Sds from which a visit is called far: 4, more where among so many visits chance alone would bring one (Dunn 1961, JASA 56:52), and more
    where few visits tell how far visits usually lie (Student's t of so many degrees of freedom)."""
    from scipy.special import ndtr, stdtrit

    return float(-stdtrit(max(visits, 1), min(float(ndtr(-LEAST_Z)), BY_CHANCE / 2 / max(visits, 1))))


def weighed(f: ripening.Fit, visits: Visits, land: ripening.Land, among: int | None = None) -> Visits:
    """The visits with ``doubt`` where they are far off. ``among`` how many visits the fit rests on (None: these)."""
    seen = replace(visits, doubt=np.zeros(visits.mask.shape))
    among = int(visits.mask.sum()) if among is None else among
    if not visits.mask.any() or among < LEAST_VISITS:
        return seen
    far, left, scale = limit(among), np.arange(len(visits.mask)), None
    for _ in range(PASSES):
        total, z = _away(f, seen, land, left)
        if scale is None:
            scale = _scale(z[seen.mask[left]])
        z = np.where(seen.mask[left] & (seen.doubt[left] == 0) & (seen.sure[left] == 0) & (np.maximum(seen.n, seen.alike)[left] >= doubts.FAR_FEWEST), np.abs(z), 0.0)
        worst, row = z.argmax(axis=1), np.arange(len(left))
        found = z[row, worst] > far * scale
        if not found.any():
            break
        at = row[found], worst[found]
        seen.doubt[left[found], worst[found]] = total[at] * ((z[at] / (far * scale)) ** 3 - 1)
        left = left[found]
    return seen


def again(f: ripening.Fit, visits: Visits, land: ripening.Land, among: int | None, before: Visits | None) -> Visits:
    """One plot's visits weighed by a stored fit: those that the fit knew keep the doubt it gave them (``before``, of the same plot), only others are asked anew.

    The fit's doubts are of the round before its last, on the estate's scale; asked again of a single plot they came out otherwise, and the plot's page said other shares than the list.
    """
    seen = weighed(f, visits, land, among)
    if before is None:
        return seen
    known = {(day, round(mean, 9), n): doubt for day, mean, n, doubt, sure in zip(*(getattr(before, name)[before.mask] for name in ("day", "mean", "n", "doubt", "sure"))) if not sure}
    for j in np.flatnonzero(visits.mask[0] & (visits.sure[0] == 0)):
        seen.doubt[0, j] = known.get((visits.day[0, j], round(float(visits.mean[0, j]), 9), visits.n[0, j]), seen.doubt[0, j])
    return seen


def _away(f: ripening.Fit, visits: Visits, land: ripening.Land, plots: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """[n, M] variance °Bx² of the distance of each visit of some plots from what all others say of it, and that distance in its sds."""
    total, z = (np.zeros((len(plots), visits.mask.shape[1])) for _ in range(2))
    for begin in range(0, len(plots), PLOTS_AT_ONCE):
        at = plots[begin: begin + PLOTS_AT_ONCE]
        some, ground, seen = ripening.part(f, land, visits, at)
        out = doubts.left_out(some, ripening.posterior(some, seen, ground, some.about))
        here = slice(begin, begin + len(at))
        total[here] = np.maximum(out.var + out.noise, 1e-9)
        z[here] = out.off_deg / np.sqrt(total[here])
    return total, z


def _scale(z: np.ndarray) -> float:
    """As the middle half of the visits shows it, 1 at the most: a few faulty ones make the fit think all noisy."""
    return float(np.clip(1.4826 * np.median(np.abs(z)), doubts.LEAST_SCALE, 1.0)) if len(z) >= doubts.SCALED_FROM else 1.0
