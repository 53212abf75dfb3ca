"""Tonnes as they were said: kept with each answer, said again on the copy of a past day, and told with what is kept of earlier days."""

from __future__ import annotations

from datetime import date
from typing import Iterable

import numpy as np

from ..answers import Answer
from ..database import Database, atomic
from ..tonnage import said_service as said_mass
from ..tonnage.service import SAID_WEEKS
from . import store

LEAST_T = 1e-9


def keep(db: Database, key: str, on_day: str, plots: Iterable[str], weeks: list[str], t: np.ndarray, low: np.ndarray, high: np.ndarray) -> None:
    """Keep means and 80 % intervals [P, W] of the tonnes on these weeks, as said on a day."""
    rows = [(key, on_day, code, week, float(t[i, w]), float(low[i, w]), float(high[i, w])) for w, week in enumerate(weeks) for i, code in enumerate(plots)]
    with atomic(db):
        store.SAID.keep(db, rows)


def keep_answer(db: Database, a: Answer, on_day: str) -> None:
    """What a crop answer says 4, 12 and 26 weeks ahead."""
    at = list(SAID_WEEKS)
    keep(db, a.key, on_day, a.meta["plots"], [a.meta["weeks"][w] for w in at], *(a.arrays[name][:, at] for name in ("tonnes", "tonnes_lo", "tonnes_hi")))


def said(db: Database, until_week: str = "9999-W53", plot: str | None = None) -> list[dict]:
    """What was said of tonnes: {on_day, plot, week, mass_t (the middle of the interval on the log scale), mass_low80_t, mass_high80_t, said_t, is_median, said_from}.

    ``said_t`` is what the pages showed, the mean; of days of which only the median was kept it is that, and ``is_median`` says so.
    """
    told = {(row["on_day"], row["plot"], row["week"]): row for row in store.SAID.about(db, until_week, plot=plot)}
    out = []
    for row in said_mass.said(db, until_week, plot):
        mine = told.pop((row["on_day"], row["plot"], row["week"]), None)
        if mine is not None and (mine["said_from"] == "when_said" or row["said_from"] == "replayed"):
            out.append(_mean(mine))
        else:
            out.append({**{name: row[name] for name in ("on_day", "plot", "week", "mass_t", "mass_low80_t", "mass_high80_t", "said_from")}, "said_t": row["mass_t"], "is_median": True})
    return sorted([*out, *(_mean(row) for row in told.values())], key=lambda row: (row["on_day"], row["plot"], row["week"]))


def _mean(row: dict) -> dict:
    low, high = (max(row[name], LEAST_T) for name in ("mass_low80_t", "mass_high80_t"))
    return {**{name: row[name] for name in ("on_day", "plot", "week", "said_from")}, "mass_t": float(np.sqrt(low * high)), "mass_low80_t": low, "mass_high80_t": high, "said_t": row["mass_t"], "is_median": False}


def repeat(db: Database, copy: Database, on_day: date) -> int:
    """Keep what a copy said of a past day as made afterwards; how many words."""
    with atomic(db):
        return store.SAID.repeat(db, copy, on_day.isoformat())


def forget_replayed(db: Database, but: list[str]) -> None:
    """Words made afterwards on other days than these."""
    with atomic(db):
        store.SAID.drop_replayed(db, but)
