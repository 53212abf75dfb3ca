"""Every figure of the map as whole numbers, rounded once, so that picture, list and table can't say different things."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from hashlib import sha256
from typing import Any

import numpy as np

from .. import settings
from ..answers import Answer
from ..database import Database, path_of
from ..land import service as land
from ..ripeness import service as ripeness
from ..ripeness.readiness import ripe_and_maybe
from ..survey import service as survey
from ..weeks import monday_of
from .charts import RAMP
from .conditions import doubted, little_known, read_plots

SHOWN = 26
SICK = ("sick_wilt", "sick_bud_rot", "sick_weevil")
WIDE_MASS, WIDE_MASS_T_HA = 0.5, 10.0
"""Width of the 80 % interval of a plot's tonnes, as a part of them and in t/ha, beyond both of which it is hatched."""


@dataclass(frozen=True)
class Figures:
    """Arrays are [plot] or [plot, week]; ``codes`` are the standing plots of the answers, ``cut`` those that are jimado."""

    tag: str
    weeks: list[str]
    codes: list[str]
    names: list[str]
    zones: list[str]
    years: list[int]
    cut: list[tuple[str, str]]
    outlines: dict[str, dict]
    area_ha: np.ndarray
    share: np.ndarray
    share_lo: np.ndarray
    share_hi: np.ndarray
    chance: np.ndarray
    mass_t: np.ndarray
    mass_lo_t: np.ndarray
    mass_hi_t: np.ndarray
    mass_t_ha: np.ndarray
    tone: np.ndarray
    condition: np.ndarray
    read: np.ndarray
    wide: np.ndarray
    wide_mass: np.ndarray
    ripe: np.ndarray
    maybe: np.ndarray
    likely: np.ndarray
    exact_mass_t: np.ndarray
    total_t: np.ndarray
    unvisited_weeks: np.ndarray
    sick: list[dict[str, Any] | None]
    to_come: np.ndarray
    """[plot, week] not planted by then: no layer says anything of plants that are not there."""
    doubted: int = 0
    """Rounds in doubt of plots without any that counts."""

    @cached_property
    def unvisited(self) -> np.ndarray:
        """[plot, week] whole weeks without a round by then if nobody goes; −1 where none was ever made."""
        then = self.unvisited_weeks[:, None] + np.arange(len(self.weeks))
        return np.where(self.unvisited_weeks[:, None] < 0, -1, then)


_kept: dict[Any, tuple[tuple, Figures]] = {}
_guard = threading.Lock()


def figures(db: Database, ripe: Answer, crop: Answer) -> Figures:
    """The map's figures of these answers; kept until answers, land or row counts change."""
    where = path_of(db) or id(db)
    this = key(db, ripe, crop)
    with _guard:
        found = _kept.get(where)
    if found is None or found[0] != this:
        found = (this, _make(db, ripe, crop, sha256(repr(this).encode()).hexdigest()[:12]))
        with _guard:
            _kept[where] = found
    return found[1]


def key(db: Database, ripe: Answer, crop: Answer) -> tuple:
    """What the map's figures rest on."""
    return ripe.key, ripe.made_at, crop.key, crop.made_at, land.version(db), survey.data_version(db), settings.load(db).version


def _make(db: Database, ripe: Answer, crop: Answer, tag: str) -> Figures:
    frame = land.plots(db)
    codes, weeks = ripe.meta["plots"], ripe.meta["weeks"][:SHOWN]
    plots = frame.reindex(codes)
    later = ripeness.unplanted(ripe)[:, :SHOWN]
    whole = lambda name, times=1.0: np.where(later, 0, np.rint(times * np.asarray(ripe.arrays[name][:, :SHOWN], float))).astype(int)  # noqa: E731
    at = {code: i for i, code in enumerate(crop.meta["plots"])}
    rows = np.array([at.get(code, -1) for code in codes], int)
    mass, low, high = (np.where(rows[:, None] >= 0, np.asarray(crop.arrays[name][:, :SHOWN], float)[rows], 0.0) if len(at) else np.zeros((len(codes), len(weeks))) for name in ("tonnes", "tonnes_lo", "tonnes_hi"))
    area = np.nan_to_num(plots["area_ha"].to_numpy(float))
    share = np.asarray(ripe.arrays["share"][:, :SHOWN], float)
    gone, read = frame[frame["status"] == "cut"], read_plots(ripe)
    values = settings.load(db)
    known, maybe = ripe_and_maybe(share, read, values["ripe_share_to_cut"])
    return Figures(
        tag=tag, weeks=weeks, codes=list(codes), names=[str(n) if n is not None and n == n else "" for n in plots["name"]], zones=[z if isinstance(z, str) else "" for z in plots["zone"]],
        years=[d.year if isinstance(d, date) else 0 for d in plots["planted_on"]], cut=[(code, name if isinstance(name, str) else "") for code, name in gone["name"].items()], outlines=land.outlines(db, [*codes, *gone.index]), area_ha=area,
        share=np.where(later, 0, percent(share, (values["near_share"], values["ripe_share_to_cut"]))), share_lo=whole("share_lo", 100), share_hi=whole("share_hi", 100), chance=whole("chance", 100),
        mass_t=np.rint(mass).astype(int), mass_lo_t=np.rint(low).astype(int), mass_hi_t=np.rint(high).astype(int), mass_t_ha=np.rint(mass / np.maximum(area, 1e-3)[:, None]).astype(int),
        tone=np.where(later, 0, np.searchsorted(RAMP, share, side="right")), condition=np.asarray(ripe.arrays["condition"][:, :SHOWN], int), read=read, wide=little_known(ripe)[:, :SHOWN] & ~later,
        wide_mass=(high - low > np.maximum(WIDE_MASS * mass, WIDE_MASS_T_HA * area[:, None])) & ~later, ripe=known & ~later, maybe=maybe & ~later, likely=(np.asarray(ripe.arrays["chance"][:, :SHOWN], float) > 0.5) & ~later,
        exact_mass_t=mass, total_t=np.stack([np.asarray(crop.arrays[f"mass_total{end}"][:SHOWN], float) for end in ("", "_lo", "_hi")]),
        unvisited_weeks=_unvisited(ripe, weeks), sick=_sick(db, codes), to_come=later, doubted=doubted(ripe))


def percent(share: np.ndarray, limits: tuple[float, ...]) -> np.ndarray:
    """Whole per cent of shares 0…1; where rounding would carry one across a limit that words go by it is cut instead (0.4994 beside *near* is 49)."""
    out = np.rint(100 * share)
    for limit in limits:
        least = np.ceil(round(100 * limit, 6))
        out = np.where((share < limit) & (out >= 100 * limit), least - 1, np.where((share >= limit) & (out < least), least, out))
    return out.astype(int)


def _unvisited(ripe: Answer, weeks: list[str]) -> np.ndarray:
    """[plot] whole weeks from the week of the last round to the first week shown; −1 where there was none."""
    first = monday_of(weeks[0]).toordinal() if weeks else 0
    last = [ripe.meta["by_plot"][code]["last_visit"] for code in ripe.meta["plots"]]
    return np.array([max((first - date.fromisoformat(day).toordinal() + 6) // 7, 0) if day else -1 for day in last], int)


def _sick(db: Database, codes: list[str]) -> list[dict[str, Any] | None]:
    """Per plot what its latest day of row counts found: {day, rows, standing, sick, percent, grade, cause (index of the commonest) or None}; None without a count."""
    counts = survey.row_counts(db)
    counts = counts[counts["plants_standing"] > 0]
    if not len(counts):
        return [None] * len(codes)
    newest = counts[counts["day"] == counts.groupby("plot")["day"].transform("max")]
    sums = newest.fillna({name: 0 for name in SICK}).groupby("plot").agg(day=("day", "first"), rows=("row", "size"), standing=("plants_standing", "sum"), grade=("sick_grade", "max"), **{name: (name, "sum") for name in SICK})
    out: dict[str, dict] = {}
    for row in sums.itertuples():
        by_cause = [float(getattr(row, name)) for name in SICK]
        sick = sum(by_cause)
        out[row.Index] = {"day": row.day, "rows": int(row.rows), "standing": float(row.standing), "sick": sick, "percent": round(min(100 * sick / row.standing, 100.0), 1),
                          "grade": int(row.grade) if row.grade == row.grade else None, "cause": int(np.argmax(by_cause)) if sick else None}
    return [out.get(code) for code in codes]
