"""Doubts of rounds from the stored fit, told to the page of held records beside the survey's own."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..database import Database
from ..land import service as land
from ..survey import brix, quality_range
from ..survey import service as survey
from ..survey.quality import FAR_OFF, OF_ESTIMATES
from . import doubts, ripening
from . import inputs_service as inputs
from . import service as ripeness


def rounds_of(db: Database) -> pd.DataFrame:
    """One row a round of a standing plot that the fit has taken in (``doubts.COLUMNS``): what it said and what was expected of it without it.

    Readings of a plot and day without a round are one too, named by the first of them, without crew or instrument.
    """
    a = ripeness.answer(db)
    model, ground, seen = ripeness.model_of(a)
    if not seen.mask.any():
        return pd.DataFrame(columns=list(doubts.COLUMNS))
    off = doubts.left_out(model, ripening.posterior(model, seen, ground, model.about))
    plots = a.meta["plots"]
    place: dict[tuple, list[tuple[int, int]]] = {}
    for i, j in zip(*np.nonzero(seen.mask)):
        place.setdefault((plots[i], int(seen.day[i, j]), int(seen.alike[i, j] or seen.n[i, j])), []).append((int(i), int(j)))
    readings = survey.readings(db)
    readings = readings[readings["plot"].isin(plots) & readings["brix20_deg"].notna()]
    readings = readings[~inputs.set_aside(db, readings)]
    alone = {name: first for first, ids in quality_range.first_of_unnamed(readings).items() for name in ids}
    readings = readings.assign(round=readings["round"].where(readings["round"].notna(), readings["id"].map(alone)), alone=readings["id"].isin(alone))
    heads = survey.rounds(db)
    heads = heads.assign(name=heads["round"].where(heads["round"].notna(), heads["id"])).drop_duplicates("name", keep="last").set_index("name")  # a corrected one has a name of its own
    groups, rows = [], []
    for (name, plot), part in readings.assign(other=_other_flag(readings)).groupby(["round", "plot"], sort=True):
        groups.append((plot, part["day"].min(), len(part), float(part["brix20_deg"].mean()), name, part))
    for plot, day, n, mean, name, part in sorted(groups, key=lambda group: group[:5]):  # the fit's visits of a day stand in the order of their means
        here = place.get((plot, day.toordinal(), n))
        if not here:
            continue
        found = here.pop(0)
        head = heads.loc[name] if name in heads.index else None
        text = lambda column: None if head is None or head[column] is None or head[column] != head[column] else str(head[column])  # noqa: E731
        rows.append((*found, name, plot, day, None if part["alone"].iat[0] else text("crew") or part["install"].iat[0], text("instrument"), text("atc"), n, mean, float(off.off_deg[found]), float(off.var[found]),
                     float(off.noise[found]), float((part["other"] - part["brix20_deg"]).mean())))
    return pd.DataFrame(rows, columns=list(doubts.COLUMNS))


def _other_flag(readings: pd.DataFrame) -> np.ndarray:
    """What each reading would be at 20 °C had its round said the other of ATC; NaN where it said nothing or no temperature."""
    flag = np.select([readings["atc"] == "yes", readings["atc"] == "no"], [0.0, 1.0], np.nan)
    value, _, _ = brix.correct_many(readings["brix_raw_deg"].to_numpy(float), readings["juice_temp_c"].to_numpy(float), flag, readings["atc_low_c"].to_numpy(float), readings["atc_high_c"].to_numpy(float))
    return np.where(np.isfinite(flag) & np.isfinite(readings["juice_temp_c"].to_numpy(float)), value, np.nan)


def review(db: Database) -> int:
    """Look for doubts against the newest fit and put them beside the survey's; how many are new. A round that no juice reads has its doubt already."""
    readings, standing, table = survey.readings(db), ripeness.answer(db).meta["plots"], rounds_of(db)
    odd = [d for d in quality_range.all_doubts(readings, land.plots(db), set()) if d["code"] in quality_range.OF_ROUNDS]
    told = {name for d in odd for name in (d["record"], *quality_range.named(d["proposal"]))}
    senseless = {d["record"] for d in odd if d["code"] != quality_range.TOO_LOW}  # too low may still be another plot's: then the swap says more
    found = doubts.find(table[~table["round"].isin(senseless)])
    alone = quality_range.first_of_unnamed(readings)
    found = [d | {"proposal": {"void_records": alone[d["record"]]}} if d["code"] == FAR_OFF and d["record"] in alone else d for d in found]
    readings = readings[readings["plot"].isin(standing) & ~readings["id"].isin(told)]
    return survey.propose(db, OF_ESTIMATES, [*doubts.all_equal(readings), *(d for d in found if d["code"] != FAR_OFF or d["record"] not in told)])
