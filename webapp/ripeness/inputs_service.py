"""What the ripening model is fitted to, gathered from land and survey: ages and how they are known, visits."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from ..database import Database
from ..land import service as land
from ..survey import quality_range
from ..survey import service as survey
from . import constants as k
from . import picked, ripening, stand_service, visits
from .thin import EQUAL_PLANTS

DEFAULT_AGE_MONTHS = 48.0


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


def set_aside(db: Database, readings: pd.DataFrame) -> np.ndarray:
    """[N] readings of visits that say what no agave juice reads (``quality_range.senseless``) and that nobody has looked at and left.

    ``weighing`` finds what differs from the other visits; an instrument on another scale may have spoilt them all.
    """
    odd = quality_range.senseless(readings)
    return odd & ~_looked_at(db, readings) if odd.any() else odd


def _looked_at(db: Database, readings: pd.DataFrame) -> np.ndarray:
    """[N] readings of visits whose doubt the office has left as they are."""
    left = survey.far_rounds_left(db)
    visit, named = quality_range.visit_of(readings), readings["id"].isin(left)
    looked_at = visit.isin(left)
    if named.any():  # a visit without a round goes by its first reading
        looked_at |= named.groupby([readings["plot"], visit]).transform("any")
    return looked_at.to_numpy(bool)


def visits_aside(db: Database, plots: list[str], readings: Any = None) -> np.ndarray:
    """[P] visits of the listed plots that don't count until somebody looks at them."""
    r = survey.readings(db) if readings is None else readings
    r = r[r["plot"].isin(plots)]
    r = r[set_aside(db, r)]
    return quality_range.visit_of(r).groupby(r["plot"]).nunique().reindex(plots, fill_value=0).to_numpy(int)


def seen(db: Database, plots: list[str], ground: ripening.Land | None = None, plants_sd_deg: float | None = None, readings: Any = None) -> visits.Visits:
    """Visits of the listed plots, from the readings in force (or from a table like theirs), without those set aside: these teach nothing until somebody looks. A round whose plants all read the same is one reading until then.

    With ``ground`` as the uncut plots would have read: after a selective pass the plants left read lower, which is given back
    by ``picked.shift`` in sds of plants within a visit (``plants_sd_deg``; None: as these visits say themselves).
    """
    r = survey.readings(db) if readings is None else readings
    r = r[r["plot"].isin(plots)]
    r = r[~set_aside(db, r)]
    found = visits.gather(plots, r["plot"].to_numpy(), quality_range.visit_of(r).to_numpy(), np.array([d.toordinal() for d in r["day"]], int), r["brix20_deg"].to_numpy(float), r["brix20_sd_deg"].to_numpy(float), _looked_at(db, r))
    found = visits.one_of_alike(found, EQUAL_PLANTS, k.SD_PRIORS["plant"][0])
    if ground is None or ground.picked is None or not ground.picked.pass_day.size:
        return found
    lower = picked.shift(ground.picked.taken(found.day)) * (visits.scatter_deg(found) if plants_sd_deg is None else plants_sd_deg)
    return replace(found, mean=np.where(found.mask, found.mean - lower, 0.0))
