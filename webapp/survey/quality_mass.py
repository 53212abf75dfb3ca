"""Doubts about weighings and loads by what piñas of that age weigh here (see ``quality``)."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

WEIGHED_FAR, WEIGHED_NEAR, WEIGHED_LEAST = 4.0, 2.2, 4
LIKE_YEARS, LIKE_LEAST, LIKE_PLOTS, LIKE_RATIO = 1.25, 8, 4, 0.60
"""Loads of other plots of like age: their mean piñas differ by some 20 % (log sd), halves by 50."""


def slipped_weighings(weighings: pd.DataFrame) -> list[dict]:
    """A piña ten times as heavy or as light as its plot's others, and like them with the decimal point moved."""
    out = []
    for plot, part in weighings[weighings["mass_kg"] > 0].groupby("plot", sort=True):
        if len(part) < WEIGHED_LEAST:
            continue
        mass = part["mass_kg"].to_numpy(float)
        for i in range(len(mass)):
            usual = float(np.median(np.delete(mass, i)))
            if usual / WEIGHED_FAR <= mass[i] <= usual * WEIGHED_FAR:
                continue
            guess = next((round(mass[i] * f, 2) for f in (10.0, 0.1) if usual / WEIGHED_NEAR <= mass[i] * f <= usual * WEIGHED_NEAR), None)
            if guess is not None:
                out.append(_doubt("slipped_mass", part["id"].iat[i], {"mass_kg": float(guess)}, plot=plot, value=float(mass[i]), middle=usual, guess=float(guess)))
    return out


def pieces_by_age(loads: pd.DataFrame, plots: pd.DataFrame, told: set[str], known: set[str]) -> list[dict]:
    """Loads far lighter per plant than loads of other plots of like age, where the plot itself has too little to compare with.

    ``told`` are loads already doubted, ``known`` plots that were judged by their own loads or weighings.
    """
    planted: dict[str, date | None] = plots["planted_on"].to_dict()
    good = loads[(loads["plants"] > 0) & (loads["net_kg"] > 0) & loads["day"].notna()]
    good = good[[planted.get(p) is not None for p in good["plot"]]]
    if len(good) <= LIKE_LEAST:
        return []
    age = np.array([(d - planted[p]).days / 365.25 for d, p in zip(good["day"], good["plot"])])
    each, names, clean = (good["net_kg"] / good["plants"]).to_numpy(float), good["plot"].to_numpy(), ~good["id"].isin(told).to_numpy()
    out = []
    for i in np.flatnonzero(clean & ~np.isin(names, list(known))):
        like = (np.abs(age - age[i]) <= LIKE_YEARS) & (names != names[i]) & clean
        if like.sum() < LIKE_LEAST or len(set(names[like])) < LIKE_PLOTS:
            continue
        usual = float(np.median(pd.Series(each[like]).groupby(names[like]).median()))  # one word a plot
        if each[i] < LIKE_RATIO * usual:
            row = good.iloc[i]
            out.append(_doubt("pieces_by_age", row["id"], {"pieces": int(row["plants"]), "plants": int(round(row["net_kg"] / usual))}, plot=row["plot"], plants=int(row["plants"]), kg=float(each[i]), usual_kg=usual))
    return out


def _doubt(code: str, record: str, proposal: dict | None, **params: Any) -> dict:
    return {"code": code, "record": record, "params": params, "proposal": proposal}
