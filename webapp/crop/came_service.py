"""What was said of one plot's tonnes and what came out of it over the scale, cut by cut."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from ..database import Database
from ..land import service as land
from ..ripeness import track
from ..ripeness import track_service as said_brix
from ..ripeness.readiness import Z80
from ..survey import service as survey
from . import cut_whole, said_service

SAME_CUT_DAYS = 21


def of_plot(db: Database, code: str) -> dict[str, Any] | None:
    """{whole, n, cuts} newest first; None where no load of the plot was ever noted.

    Each of ``cuts``: {began, ended, trucks, unweighed, came_t, whole, said: [{weeks, on, said_t, low80_t, high80_t, share, inside, replayed, is_median}]}.
    Of a plot cut whole the tonnes are held against what was said, moved to the middle of the cut as in the track record (``tonnes_service``): ``share``
    is what came of what was said, ``inside`` whether the 80 % interval holds it; ``n`` counts these. A pass takes a part that nobody foretold: ``inside`` is then None.
    """
    loads = survey.loads(db)
    mine = loads[(loads["plot"] == code) & loads["day"].notna()]
    if not len(mine):
        return None
    said = said_brix.said_frame(said_service.said(db, said_brix.until_week(db), code))
    came, _ = cut_whole.whole(mine, {code: land.plot(db, code)["status"]})
    parts = _parts(mine[[d.toordinal() < came["day"].iloc[0] for d in mine["day"]]] if len(came) else mine)
    cuts = [_told(row, _match(said, parts.iloc[[i]]), None, False) for i, row in enumerate(parts.itertuples())]
    if len(came):
        found = _match(said, came)
        found = found[~cut_whole.passed(found, mine)].reset_index(drop=True)
        row = next(came.assign(unweighed=0).itertuples())
        cuts.append(_told(row, found, cut_whole.said_then(found, said) if len(found) else None, True))
    return {"whole": bool(len(came)), "n": sum(one["inside"] is not None for cut in cuts for one in cut["said"]), "cuts": cuts[::-1]}


def last_cut(db: Database, code: str) -> dict[str, Any] | None:
    """A plot's last cut for its headline: {began, ended, came_t, kg_each (of the loads weighed with their plants counted; None without), unweighed}; None without loads.

    A plot cut whole is spoken of from its first clearing load on, however long the cut took."""
    loads = survey.loads(db)
    mine = loads[(loads["plot"] == code) & loads["day"].notna()]
    if not len(mine):
        return None
    whole, _ = cut_whole.whole(mine, {code: land.plot(db, code)["status"]})
    began = date.fromordinal(int(whole["day"].iloc[0] if len(whole) else _parts(mine)["day"].iloc[-1]))
    part = mine[mine["day"] >= began]
    kg, plants = part["net_kg"].where(part["net_kg"] > 0).to_numpy(float), part["plants"].where(part["plants"] > 0).to_numpy(float)
    both = np.isfinite(kg) & np.isfinite(plants)
    return {"began": began, "ended": max(part["day"]), "came_t": float(np.nansum(kg)) / 1000, "kg_each": float(kg[both].sum() / plants[both].sum()) if both.any() else None, "unweighed": int(np.isnan(kg).sum())}


def _match(said: pd.DataFrame, came: pd.DataFrame) -> pd.DataFrame:
    return track.match(said, came).sort_values("weeks").reset_index(drop=True)


def _parts(loads: pd.DataFrame) -> pd.DataFrame:
    """Loads at most three weeks apart as one cut, oldest first: plot, day it began, ended (ordinals), trucks, unweighed, came_t."""
    at = loads.assign(at=[d.toordinal() for d in loads["day"]], kg=loads["net_kg"].where(loads["net_kg"] > 0)).sort_values(["at", "id"])
    groups = at.groupby((at["at"].diff() > SAME_CUT_DAYS).cumsum().to_numpy(), sort=True)
    return pd.DataFrame([(part["plot"].iloc[0], int(part["at"].min()), int(part["at"].max()), len(part), int(part["kg"].isna().sum()), float(part["kg"].sum()) / 1000) for _, part in groups],
                        columns=["plot", "day", "ended", "trucks", "unweighed", "came_t"])


def _told(row: Any, found: pd.DataFrame, judged: tuple[np.ndarray, np.ndarray] | None, whole: bool) -> dict[str, Any]:
    """One cut with what was said of its week; ``judged`` (log t, its sd) as moved to the middle of a plot cut whole."""
    out = []
    for i, one in enumerate(found.itertuples()):
        low, high, value, inside = one.mass_low80_t, one.mass_high80_t, one.said_t, None
        if judged is not None:
            mean, half = float(judged[0][i]), Z80 * float(judged[1][i])
            low, high, value = float(np.exp(mean - half)), float(np.exp(mean + half)), one.said_t * float(np.exp(mean)) / max(one.mass_t, 1e-6)
            inside = bool(low <= row.came_t <= high)
        out.append({"weeks": int(one.weeks), "on": date.fromordinal(int(one.on_day)), "said_t": float(value), "low80_t": float(low), "high80_t": float(high), "share": float(row.came_t / max(value, 1e-9)),
                    "inside": inside, "replayed": bool(one.replayed), "is_median": bool(one.is_median)})
    return {"began": date.fromordinal(int(row.day)), "ended": date.fromordinal(int(row.ended)), "trucks": int(row.trucks), "unweighed": int(row.unweighed), "came_t": float(row.came_t), "whole": whole, "said": out}
