"""Doubts about loads, planting dates and parcels (see ``quality``)."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from . import quality_mass, quality_scale

PIECES_RATIO, LEAST_LOADS = 0.66, 3
WEIGHED_RATIO, LEAST_WEIGHED = 0.6, 6
LEAST_CHECKS, APART_YEARS = 2, 2


def all_doubts(loads: pd.DataFrame, weighings: pd.DataFrame, checks: pd.DataFrame, plots: pd.DataFrame) -> list[dict]:
    scale = quality_scale.all_doubts(loads, weighings, plots)
    senseless = {d["record"] for d in scale}  # compared with nothing, and nothing with them
    every, loads, weighings = loads, loads[~loads["id"].isin(senseless)], weighings[~weighings["id"].isin(senseless)]
    halves = pieces_as_plants(loads, weighings)
    years = wrong_years(plots, checks)
    more = quality_mass.pieces_by_age(loads, plots, {d["record"] for d in halves}, judged_by_own(loads, weighings))
    return [*scale, *halves, *more, *quality_mass.slipped_weighings(weighings), *undated_plots(plots, checks), *years, *ages_contradict(plots, checks, {d["params"]["plot"] for d in years}),
            *beyond_registered(every, plots)]


def _doubt(code: str, record: str, proposal: dict | None, **params: Any) -> dict:
    return {"code": code, "record": record, "params": params, "proposal": proposal}


def pieces_as_plants(loads: pd.DataFrame, weighings: pd.DataFrame) -> list[dict]:
    """A load whose kilograms per plant are far below the plot's other loads or its weighed piñas: halves counted as plants."""
    out = []
    weighed = weighings.groupby("plot")["mass_kg"].agg(["median", "size"])
    known = loads[(loads["plants"] > 0) & (loads["net_kg"] > 0)]
    for plot, part in known.groupby("plot", sort=True):
        each = (part["net_kg"] / part["plants"]).to_numpy()
        if len(part) >= LEAST_LOADS:
            usual, ratio = float(np.median(each)), PIECES_RATIO
        elif plot in weighed.index and weighed.at[plot, "size"] >= LEAST_WEIGHED:
            usual, ratio = float(weighed.at[plot, "median"]), WEIGHED_RATIO
        else:
            continue
        for i in np.flatnonzero(each < ratio * usual):
            row = part.iloc[i]
            proposal = {"pieces": int(row["plants"]), "plants": int(round(row["net_kg"] / usual))}
            out.append(_doubt("pieces_as_plants", row["id"], proposal, plot=plot, plants=int(row["plants"]), kg=float(each[i]), usual_kg=usual))
    return out


def judged_by_own(loads: pd.DataFrame, weighings: pd.DataFrame) -> set[str]:
    """Plots with loads or weighed piñas enough of their own to judge a load by."""
    own = loads[(loads["plants"] > 0) & (loads["net_kg"] > 0)].groupby("plot").size()
    weighed = weighings.groupby("plot").size()
    return set(own.index[own >= LEAST_LOADS]) | set(weighed.index[weighed >= LEAST_WEIGHED])


def undated_plots(plots: pd.DataFrame, checks: pd.DataFrame) -> list[dict]:
    """Standing plots without a planting date, with the year the crews noted last."""
    out = []
    for code in plots.index[(plots["status"] == "standing") & plots["planted_on"].isna()]:
        years = checks.loc[checks["plot"] == code, "planting_year"].dropna()
        year = int(years.iloc[-1]) if len(years) else None
        out.append(_doubt("no_planting_date", f"plot:{code}", {"planted_on": date(year, 7, 15).isoformat()} if year else None, plot=code, year=year))
    return out


def wrong_years(plots: pd.DataFrame, checks: pd.DataFrame) -> list[dict]:
    """Standing plots whose last age checks agree on another planting year than the papers."""
    out = []
    for code, part in checks.groupby("plot", sort=True):
        years = part["planting_year"].dropna().to_numpy()[-LEAST_CHECKS:]
        if code not in plots.index or plots.at[code, "status"] != "standing" or len(years) < LEAST_CHECKS or len(set(years)) > 1:
            continue
        planted: date | None = plots.at[code, "planted_on"]
        if planted and int(years[-1]) != planted.year:
            year = int(years[-1])
            proposal = {"planted_on": date(year, planted.month, min(planted.day, 28)).isoformat()}
            out.append(_doubt("age_differs", f"plot:{code}", proposal, plot=code, year=year, papers=planted.year, n=int((part["planting_year"] == year).sum())))
    return out


def ages_contradict(plots: pd.DataFrame, checks: pd.DataFrame, told: set[str]) -> list[dict]:
    """Standing plots whose age checks name different years; proposed: take out the one that neither the papers nor the others bear out.
    A single check years from the papers is told too: a second one would decide.

    Neighbouring years are one planting season seen twice and no contradiction.
    """
    out = []
    for code, part in checks[checks["planting_year"].notna()].groupby("plot", sort=True):
        years = part["planting_year"].astype(int)
        if code in told or code not in plots.index or plots.at[code, "status"] != "standing":
            continue
        planted: date | None = plots.at[code, "planted_on"]
        if len(years) == 1 and planted and abs(int(years.iloc[0]) - planted.year) >= APART_YEARS:
            out.append(_doubt("age_apart", part["id"].iloc[0], None, plot=code, year=int(years.iloc[0]), papers=planted.year))
        if years.max() - years.min() < APART_YEARS:
            continue
        votes = [*years, *([planted.year] if planted else [])]
        near = np.array([sum(abs(v - y) < APART_YEARS for v in votes) for y in years])
        lone = part[near == near.min()] if near.min() < near.max() else part.iloc[:0]
        row = (lone if len(lone) else part).iloc[-1]
        params = {"plot": code, "years": sorted(set(years)), "papers": planted.year if planted else None, "year": int(row["planting_year"])}
        out.append(_doubt("ages_contradict", row["id"], {"void": True} if len(lone) == 1 else None, **params))
    return out


def beyond_registered(loads: pd.DataFrame, plots: pd.DataFrame) -> list[dict]:
    """Parcels from which more plants were cut than are registered."""
    parcel_of = plots["parcel"].to_dict()
    registered = {p: n for p, n in zip(plots["parcel"], plots["registered_plants"]) if p and n == n and n}
    cut: dict[str, float] = {}
    last: dict[str, str] = {}
    for name, plot, plants in zip(loads["id"], loads["plot"], loads["plants"]):
        parcel = parcel_of.get(plot)
        if plants > 0 and parcel in registered:
            cut[parcel] = cut.get(parcel, 0.0) + plants
            last[parcel] = name
    return [_doubt("beyond_registered", last[p], None, parcel=p, plants=int(n), registered=int(registered[p])) for p, n in sorted(cut.items()) if n > registered[p]]
