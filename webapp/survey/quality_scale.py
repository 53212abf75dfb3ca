"""Doubts about loads and weighings that no piña weighs, whatever the others of the estate say (see ``quality``).

A load written in tonnes, or with one plant in place of four hundred, teaches every plot of the estate what a piña weighs when it is
the only one. So masses are also held against what piñas of an age weigh at all (``constants``); what lies beyond teaches nothing until
somebody has looked at it (``service.out_of_scale``), and nothing is dropped.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from . import constants as k
from .quality_range import age_months

LOAD, PINA = "load_out_of_scale", "pina_out_of_scale"
LOOKED_AT = frozenset((LOAD, PINA))
THOUSAND = 1000.0
"""Tonnes written where kilograms are asked for."""


def limits_kg(age: float | None, times_most: float) -> tuple[float, float, float, float]:
    """(least, usual low, usual high, most) kg of a piña at an age in months, the most so many times above the usual; of an unknown age the widest. Below, a load has room for piñas counted in thirds (``quality_land``)."""
    ages, low, high = (np.array(column) for column in zip(*k.PINA_USUAL_KG))
    usual = (float(low[0]), float(high[-1])) if age is None else (float(np.interp(age, ages, low)), float(np.interp(age, ages, high)))
    return usual[0] / float(k.SCALE_TIMES), *usual, usual[1] * times_most


def all_doubts(loads: pd.DataFrame, weighings: pd.DataFrame, plots: pd.DataFrame) -> list[dict]:
    planted = plots["planted_on"].to_dict()
    return [*_loads(loads, planted), *_weighings(weighings, planted)]


def _loads(loads: pd.DataFrame, planted: dict[str, date | None]) -> list[dict]:
    out = []
    good = loads[(loads["plants"] > 0) & (loads["net_kg"] > 0) & loads["day"].notna()]
    for row in good.itertuples():
        least, low, high, most = limits_kg(age_months(planted.get(row.plot), row.day), float(k.LOAD_SCALE_TIMES))
        each = float(row.net_kg / row.plants)
        if least <= each <= most:
            continue
        in_tonnes = _nothing(row.gross_kg) and _nothing(row.tare_kg) and least <= each * THOUSAND <= most
        out.append(_doubt(LOAD, row.id, {"net_kg": float(row.net_kg) * THOUSAND} if in_tonnes else None, plot=row.plot, day=row.day.isoformat(), plants=int(row.plants), net_kg=float(row.net_kg), kg=each, low=low, high=high,
                          guess=float(row.net_kg) * THOUSAND if in_tonnes else None))
    return out


def _weighings(weighings: pd.DataFrame, planted: dict[str, date | None]) -> list[dict]:
    out = []
    for row in weighings[weighings["mass_kg"] > 0].itertuples():
        least, low, high, most = limits_kg(age_months(planted.get(row.plot), row.day), float(k.SCALE_TIMES))
        if not least <= row.mass_kg <= most:
            out.append(_doubt(PINA, row.id, {"void": True}, plot=row.plot, day=row.day.isoformat(), kg=float(row.mass_kg), low=low, high=high))
    return out


def _nothing(value: Any) -> bool:
    return value is None or value != value or value == 0


def _doubt(code: str, record: str, proposal: dict | None, **params: Any) -> dict:
    return {"code": code, "record": record, "params": params, "proposal": proposal}
