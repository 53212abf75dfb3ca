"""The estate as it stands this week: plants and tonnes by planting year and zone, ripe and waiting, passing."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np

from ..answers import Answer
from ..database import Database
from ..land import service as land
from ..ripeness.readiness import CONDITIONS
from ..tonnage import service as tonnage
from ..weeks import monday_of
from . import service
from .holding import sums

ALL = "all"
MEASURES = ("mass_t", "plants", "ripe_t", "passing_t", "area_ha", "unread_ripe_t")


def now(db: Database, crop: Answer, ripe: Answer, tonnes: Answer) -> dict[str, Any]:
    """``cells`` (year or None, zone) → measure → Sum, with ``ALL`` for either; also ``years``, ``zones``, ``n`` plots. Tonnes as if nothing were cut this week.

    Plots to be planted after today hold nothing and are in no cell: ``to_come`` counts them.
    """
    later = {code for code, about in ripe.meta["by_plot"].items() if about["age_months"] < 0}
    here = np.array([i for i, code in enumerate(crop.meta["plots"]) if code not in later], int)
    plots = [crop.meta["plots"][i] for i in here]
    frame = land.plots(db).loc[plots]
    mass, ready = crop.arrays["now_mass_t"][:, here], crop.arrays["now_ripe_t"][:, here]
    where = {code: i for i, code in enumerate(tonnes.meta["plots"])}
    place = [where[code] for code in plots]
    plants = tonnage.draws(tonnes, mass.shape[0], service.SEED, np.array([monday_of(crop.meta["weeks"][0]).toordinal() + 3.0]))[0][:, place, 0]
    letter = {code: CONDITIONS[int(c)] for code, c in zip(ripe.meta["plots"], ripe.arrays["condition"][:, 0])}
    passing = mass * np.array([letter.get(code) == "P" for code in plots], float)[None]
    area = np.nan_to_num(frame["area_ha"].to_numpy(float))[None]
    unread = ready * np.array([not ripe.meta["by_plot"].get(code, {}).get("n_visits") for code in plots], float)[None]  # ripe by their age alone
    years = [d.year if d else None for d in frame["planted_on"]]
    zones = [z or "" for z in frame["zone"]]
    values = dict(zip(MEASURES, (mass, plants, ready, passing, area, unread)))
    cells: dict[tuple, dict[str, Any]] = {}
    for names in (list(zip(years, zones)), [(y, ALL) for y in years], [(ALL, z) for z in zones], [(ALL, ALL)] * len(plots)):
        count = Counter(names)
        for measure, draws in values.items():
            for name, total in sums(draws, names).items():
                cells.setdefault(name, {"n": count[name]})[measure] = total
    return {"cells": cells, "years": sorted({y for y in years if y is not None}) + ([None] if None in years else []), "zones": sorted(set(zones)), "n": len(plots), "to_come": len(crop.meta["plots"]) - len(plots),
            "passing": [plots[i] for i in np.argsort(-passing.mean(axis=0), kind="stable") if letter.get(plots[i]) == "P"]}
