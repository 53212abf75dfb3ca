"""What the ripening model is fitted to, gathered from land and survey: ages and how they are known, visits."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from ..database import Database
from ..land import service as land
from ..survey import service as survey
from ..survey.constants import BRIX_LOW_SHARE, BRIX_MOST_DEG, BRIX_USUAL_LOW
from . import constants as k
from . import picked, ripening, stand_service, visits

DEFAULT_AGE_MONTHS = 48.0

SENSELESS_SD_DEG = 100.0
"""Error given to a visit that no juice reads, so that even an estate full of them stays by its practice curve."""


def ground(db: Database, today: date) -> tuple[list[str], ripening.Land, list[str], Any]:
    """Standing plots in order of code, their ages with uncertainty and what stands in them, and how each age is known."""
    frame = land.plots(db)
    frame = frame[frame["status"] == "standing"].sort_index()
    plots = list(frame.index)
    zones = tuple(sorted({z or "" for z in frame["zone"]})) or ("",)  # plots without a zone are one of their own: they borrow from nobody's in particular
    checks = survey.age_checks(db).drop_duplicates("plot", keep="last").set_index("plot")
    planted, sd, how = np.zeros(len(plots)), np.zeros(len(plots)), []
    dated = [d.toordinal() for d in frame["planted_on"] if d]
    default = float(np.median(dated)) if dated else today.toordinal() - DEFAULT_AGE_MONTHS * 30.4375
    by_zone = {z: float(np.median([d.toordinal() for d, zz in zip(frame["planted_on"], frame["zone"]) if d and (zz or "") == z] or [default])) for z in zones}
    for i, code in enumerate(plots):
        day = frame.at[code, "planted_on"]
        if day:
            planted[i], how = day.toordinal(), [*how, "dated"]
        elif code in checks.index:
            planted[i] = date(int(checks.at[code, "planting_year"]), 7, 15).toordinal()
            sure = checks.at[code, "sure"] != 0
            sd[i], how = float(k.AGE_SURE_MONTHS if sure else k.AGE_UNSURE_MONTHS), [*how, "checked"]
        else:
            planted[i], sd[i], how = by_zone.get(frame.at[code, "zone"] or "", default), float(k.AGE_NONE_MONTHS), [*how, "unknown"]
    zone = np.array([zones.index(z or "") for z in frame["zone"]], int)
    return plots, stand_service.told(db, plots, ripening.Land(planted, sd, zone, zones), how, frame, today), how, frame


def _senseless(found: visits.Visits) -> np.ndarray:
    """[P, M] whether a visit says what no agave juice reads (``quality_range``): whoever looks at it decides, until then it weighs next to nothing.

    ``weighing`` finds what differs from the other visits; an instrument on another scale may have spoilt them all.
    """
    return found.mask & (found.sure == 0) & ((found.mean > float(BRIX_MOST_DEG)) | (found.mean < float(BRIX_LOW_SHARE) * BRIX_USUAL_LOW[0][1]))


def seen(db: Database, plots: list[str], ground: ripening.Land | None = None, plants_sd_deg: float | None = None, readings: Any = None) -> visits.Visits:
    """Visits of the listed plots, from the readings in force (or from a table like theirs).

    With ``ground`` as the uncut plots would have read: after a selective pass the plants left read lower, which is given back
    by ``picked.shift`` in sds of plants within a visit (``plants_sd_deg``; None: as these visits say themselves).
    """
    r = survey.readings(db) if readings is None else readings
    r = r[r["plot"].isin(plots)]
    group = r["round"].where(r["round"].notna(), r["day"].astype(str))
    left = survey.far_rounds_left(db)
    looked_at, named = group.isin(left), r["id"].isin(left)
    if named.any():  # a visit without a round goes by its first reading
        looked_at |= named.groupby([r["plot"], group]).transform("any")
    looked_at = looked_at.to_numpy()
    found = visits.gather(plots, r["plot"].to_numpy(), group.to_numpy(), np.array([d.toordinal() for d in r["day"]], int), r["brix20_deg"].to_numpy(float), r["brix20_sd_deg"].to_numpy(float), looked_at)
    found = replace(found, known=found.known + _senseless(found) * SENSELESS_SD_DEG**2)
    if ground is None or ground.picked is None or not ground.picked.pass_day.size:
        return found
    lower = picked.shift(ground.picked.taken(found.day)) * (visits.scatter_deg(found) if plants_sd_deg is None else plants_sd_deg)
    return replace(found, mean=np.where(found.mask, found.mean - lower, 0.0))
