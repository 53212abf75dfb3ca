"""What was said of plots' tonnes, held against what the scale gave when they were cut whole."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from .. import settings
from ..database import Database
from ..land import service as land
from ..ripeness import track
from ..ripeness import track_service as said_brix
from ..ripeness.track import HORIZONS_WEEKS, Pairs
from ..survey import service as survey
from ..tonnage import accounting, estimate
from ..tonnage.lines import by_plot
from . import cut_whole, said_service


@dataclass(frozen=True)
class Held:
    """``pairs`` on the log of tonnes; ``came`` a row a plot cut whole; ``left_out`` plots by reason, and ``passed`` words with a pass between.
    Of each pair ``said_t`` as the pages said it, moved like the pair, and ``is_median`` where only the median of then is kept."""

    pairs: Pairs
    came: pd.DataFrame
    left_out: dict[str, int]
    said_t: np.ndarray
    is_median: np.ndarray

    def only_said(self) -> "Held":
        own = ~self.pairs.replayed
        return Held(self.pairs.at(own), self.came, self.left_out, self.said_t[own], self.is_median[own])


def held(db: Database) -> Held:
    """Tonnes as said 4, 12 and 26 weeks ahead of the week in which a clearing began, against all that came out of it."""
    loads, frame = survey.loads(db), land.plots(db)
    came, left_out = cut_whole.whole(loads, frame["status"].to_dict())
    said = said_brix.said_frame(said_service.said(db, said_brix.until_week(db)))
    found = track.match(said, came)
    between = cut_whole.passed(found, loads)
    left_out["passed"], found = int(between.sum()), found[~between].reset_index(drop=True)
    if not len(found):
        return Held(Pairs(*(np.zeros(0) for _ in range(7)), np.zeros(0, bool)), came, left_out, np.zeros(0), np.zeros(0, bool))
    mean, sd = cut_whole.said_then(found, said)
    rule = cut_whole.by_plants(found, came, loads, survey.weighings(db), _plants(db, frame), settings.load(db)["pina_asymptote_kg"])
    on_day, middle, weeks = (found[name].to_numpy(np.int64) for name in ("on_day", "middle", "weeks"))
    moved = np.exp(mean) / found["mass_t"].clip(lower=1e-6).to_numpy(float)
    return Held(Pairs(found["plot"].to_numpy(object), on_day, middle, weeks, mean, sd, np.log(found["came_t"].to_numpy(float)), found["replayed"].to_numpy(bool), {"plants": rule}), came, left_out,
                found["said_t"].to_numpy(float) * moved, found["is_median"].to_numpy(bool))


def _plants(db: Database, frame: pd.DataFrame) -> dict[str, list[tuple[int, float]]]:
    """Plot → (day, plants) as put in and as counted in rows, in order of day."""
    s = settings.load(db)
    put_in = accounting.planted_plants(list(frame.index), frame, accounting.Usual(s["planting_density_ha"], s["annual_mortality"], s["annual_mortality_sd"]))
    rows = by_plot(survey.row_counts(db), "plants_standing", "part_of_row", "rows_in_plot", "row_length_m", "quiote", "capon")
    out = {}
    for code, area, spacing, around in zip(frame.index, frame["area_ha"], frame["row_spacing_m"], frame["perimeter_m"]):
        counted = estimate.count_events(rows.get(code, []), float(area) if area == area else 0.0, spacing, float(around or 0))
        out[code] = [(0, put_in[code][0]), *((event.day.toordinal(), float(event.plants)) for event in counted)]
    return out


def record(h: Held) -> dict[str, Any]:
    """Judged as the rest of the track record, with sums (t) by horizon and every plot cut whole, the farthest off first."""
    p = h.pairs
    sums = {}
    for weeks in HORIZONS_WEEKS:
        mine = p.at(p.weeks == weeks)
        said, came = float(h.said_t[p.weeks == weeks].sum()), float(np.exp(mine.seen).sum())
        sums[str(weeks)] = {"n": len(mine), "said_t": said, "came_t": came, "inside80": int(mine.inside().sum())}
    sums["all"] = {"n": len(p), "said_t": None, "came_t": None, "inside80": sum(part["inside80"] for part in sums.values())}  # a plot stands in several horizons: no sum of tonnes
    return {"all": track.judge(p), "by_weeks": {str(w): track.judge(p.at(p.weeks == w)) for w in HORIZONS_WEEKS}, "sums": sums, "plots": _plots(h), "left_out": h.left_out, "medians": int(h.is_median.sum())}


def _plots(h: Held) -> list[dict[str, Any]]:
    p, out = h.pairs, []
    (low, high), inside = p.ends(), p.inside()
    for row in h.came.sort_values(["day", "plot"], ascending=[False, True]).itertuples():
        said = {}
        for i in np.flatnonzero(p.plot == row.plot):
            said[str(int(p.weeks[i]))] = {"said_t": float(h.said_t[i]), "is_median": bool(h.is_median[i]), "low80_t": float(np.exp(low[i])), "high80_t": float(np.exp(high[i])), "inside": bool(inside[i]), "off_percent": 100 * (float(row.came_t) / max(float(h.said_t[i]), 1e-9) - 1),
                                          "on_day": date.fromordinal(int(p.on_day[i])).isoformat(), "replayed": bool(p.replayed[i])}
        out.append({"plot": row.plot, "began": date.fromordinal(row.day).isoformat(), "ended": date.fromordinal(row.ended).isoformat(), "trucks": int(row.trucks), "came_t": float(row.came_t), "said": said})
    miss = lambda row: max((abs(one["off_percent"]) for one in row["said"].values()), default=-1.0)  # noqa: E731
    return sorted(out, key=miss, reverse=True)  # stable: the newest first among those of which nothing was said
