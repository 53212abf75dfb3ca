"""Where the data are too thin for what is said of them: sentences that a page shows before its figures."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from ..sentences import Sentence
from .readiness import Z95

SEASON_DAYS = 120
"""Visits within a third of the year tell nothing of the rest of it."""
FEW_VISITS, FEW_PLOTS = 8, 3
EQUAL_PLANTS = 5
"""A round of this many plants that all read the same is not what a refractometer gives."""
LOOSE_SD_DEG = 0.3
"""A visit whose temperature correction is in doubt by this much lacks its temperature, or whether the instrument compensates."""
LEAST_OF_A_VARIETY = 10
YEAR_DAYS = 365.2425
STEPS = ("whole", "again", "held", "usual")
"""How far the search for the standard deviations had to fall back (see ``falling_back``)."""


@dataclass(frozen=True)
class Known:
    """What an estate's answer rests on, of visits that count: ``day``, ``plants``, ``squares`` and ``correction_sd`` [N] of its visits (ordinals; plants read; sum of squares
    about their mean, °Bx²; sd of the temperature correction, °Bx), plots ``visited``, ``standing`` and without any note of their age
    (``undated``), ``varieties`` standing, how the fit ended, and how many visits beside these are in doubt and don't count (``doubted``)
    and how many of these are of plants that all read the same and count as one reading (``alike``)."""

    day: np.ndarray
    plants: np.ndarray
    squares: np.ndarray
    correction_sd: np.ndarray
    visited: int
    standing: int
    undated: int
    varieties: tuple[str, ...]
    converged: bool = True
    step: int = 0
    doubted: int = 0
    alike: int = 0


def arc_days(day: np.ndarray) -> float:
    """The least part of the year, in days, that holds all visits (0 for one day, of whatever years)."""
    if not len(day):
        return 0.0
    turn = np.unique(np.asarray(day, float) % YEAR_DAYS)
    return float(YEAR_DAYS - np.diff(np.r_[turn, turn[0] + YEAR_DAYS]).max())


def sentences(k: Known, own: Known | None = None) -> list[Sentence]:
    """The gravest first; none for an estate with enough of everything. ``own`` narrows what is said of single visits to one plot's."""
    out = []
    if k.standing and k.step:
        out.append(Sentence(f"ripeness.thin.{STEPS[k.step]}", {}))
    elif k.standing and not k.converged:
        out.append(Sentence("ripeness.thin.open", {}))
    n, each = len(k.day), own or k
    if k.standing and not n and k.doubted:
        out.append(Sentence("ripeness.thin.none_counts", {"n": k.doubted}))
    elif k.standing and not n:
        out.append(Sentence("ripeness.thin.none", {}))
    elif k.standing and (n < FEW_VISITS or k.visited < min(FEW_PLOTS, k.standing)):
        out.append(Sentence("ripeness.thin.few", {"n": n, "plots": k.visited, "of": k.standing}))
    if n:
        if each.doubted:
            out.append(Sentence("ripeness.thin.doubted", {"n": each.doubted, "of": each.doubted + len(each.day)}))
        out += _season(k.day)
    if each.alike:
        out.append(Sentence("ripeness.thin.equal_one", {"n": each.alike, "of": len(each.day)}))
    alike = (each.plants >= EQUAL_PLANTS) & (each.squares < 1e-9)
    if alike.any():
        out.append(Sentence("ripeness.thin.equal", {"n": int(alike.sum()), "of": len(each.day)}))
    if k.undated:
        out.append(Sentence("ripeness.thin.undated", {"n": k.undated, "of": k.standing}))
    loose = each.correction_sd >= LOOSE_SD_DEG
    if loose.any():
        out.append(Sentence("ripeness.thin.no_temp", {"n": int(loose.sum()), "of": len(each.day), "doubt_deg": Z95 * float(each.correction_sd.max())}))
    if len(k.varieties) > 1:
        out.append(Sentence("ripeness.thin.varieties", {"names": list(k.varieties), "least": LEAST_OF_A_VARIETY}))
    return out


def _season(day: np.ndarray) -> list[Sentence]:
    if arc_days(day) > SEASON_DAYS:
        return []
    first, last = (date.fromordinal(int(d)).isoformat() for d in (day.min(), day.max()))
    name = "one_season" if day.max() - day.min() <= SEASON_DAYS else "same_season"
    return [Sentence(f"ripeness.thin.{name}", {"first": first, "last": last})]
