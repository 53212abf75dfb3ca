"""Doubts about records in use: each names its record, says why, and proposes; nothing is changed by itself.

Thresholds are our own and stated in each sentence; they are set so that ordinary spread between plants
(sd about 2 °Bx) does not raise them.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

SLIP_FAR_DEG, SLIP_NEAR_DEG = 8.0, 5.0
HOT_C, HOT_DAYS, LEAST_ROUNDS = 9.0, 12, 3
TALLY_LEAST = 6
PIECES_RATIO, LEAST_LOADS = 0.66, 3
NIGHT, NIGHT_SHARE, NIGHT_LEAST = (20, 5), 0.6, 8
MAJORITY = 0.7


def all_doubts(frames: dict[str, pd.DataFrame], readings: pd.DataFrame, loads: pd.DataFrame, plots: pd.DataFrame, installs: list[dict], zone: Any) -> list[dict]:
    return [*slipped_decimals(readings), *hot_thermometers(readings), *atc_flags(frames["round"]), *double_tallies(readings), *double_counts(frames["row_count"]),
            *pieces_as_plants(loads), *wrong_clocks(readings, installs, zone), *undated_plots(plots, frames["age_check"]), *beyond_registered(loads, plots)]


def _doubt(code: str, record: str, proposal: dict | None, **params: Any) -> dict:
    return {"code": code, "record": record, "params": params, "proposal": proposal}


def slipped_decimals(readings: pd.DataFrame) -> list[dict]:
    """A reading far from its round's median that lies near it with its decimal point moved."""
    out = []
    for _, part in readings[readings["round"].notna()].groupby("round", sort=True):
        values = part["brix_raw_deg"].to_numpy()
        if len(values) < 4:
            continue
        middle = float(np.nanmedian(values))
        for row, value in zip(part.itertuples(), values):
            if abs(value - middle) <= SLIP_FAR_DEG:
                continue
            guess = next((round(value * f, 2) for f in (10.0, 0.1) if abs(value * f - middle) <= SLIP_NEAR_DEG), None)
            if guess is not None:
                out.append(_doubt("slipped_decimal", row.id, {"brix_raw_deg": guess}, plot=row.plot, value=float(value), middle=middle, guess=guess))
    return out


def hot_thermometers(readings: pd.DataFrame) -> list[dict]:
    """A round whose juice is much warmer than other rounds of those days: a thermometer left in the sun."""
    warm = readings[readings["juice_temp_c"].notna() & readings["round"].notna()]
    rounds = warm.groupby("round", sort=True).agg(temp=("juice_temp_c", "mean"), day=("day", "first"), plot=("plot", "first"))
    days = np.array([d.toordinal() for d in rounds["day"]]) if len(rounds) else np.array([])
    temps = rounds["temp"].to_numpy() if len(rounds) else np.array([])
    out = []
    for i, (name, row) in enumerate(rounds.iterrows()):
        near = (np.abs(days - days[i]) <= HOT_DAYS) & (np.arange(len(days)) != i)
        if near.sum() >= LEAST_ROUNDS and temps[i] - np.median(temps[near]) > HOT_C:
            out.append(_doubt("hot_thermometer", name, {"clear_in_round": "juice_temp_c"}, plot=row["plot"], temp_c=float(temps[i]), usual_c=float(np.median(temps[near])), day=row["day"].isoformat()))
    return out


def atc_flags(rounds: pd.DataFrame) -> list[dict]:
    """A round that says otherwise of its instrument's ATC than nearly all its other rounds."""
    out = []
    noted = rounds[rounds["instrument"].notna() & rounds["atc"].isin(["yes", "no"])]
    for instrument, part in noted.groupby("instrument", sort=True):
        shares = part["atc"].value_counts(normalize=True)
        usual = shares.index[0]
        if len(part) >= 4 and MAJORITY <= shares.iloc[0] < 1:
            for row in part[part["atc"] != usual].itertuples():
                out.append(_doubt("atc_flag", row.id, {"atc": usual}, plot=row.plot, instrument=instrument, n=int((part["atc"] == usual).sum()), of=len(part), day=row.day.isoformat()))
    return out


def double_tallies(readings: pd.DataFrame) -> list[dict]:
    """Two rounds of one plot within a day from two phones with the same values: one paper tally entered twice."""
    out = []
    grouped = readings[readings["round"].notna()].groupby("round", sort=True)
    about = [(name, part["plot"].iloc[0], part["day"].iloc[0], part["install"].iloc[0], tuple(sorted(part["brix_raw_deg"].dropna())), part["taken_at"].min(), len(part)) for name, part in grouped]
    by_value: dict[tuple, list] = {}
    for item in about:
        if len(item[4]) >= TALLY_LEAST:
            by_value.setdefault((item[1], item[4]), []).append(item)
    for same in by_value.values():
        same.sort(key=lambda item: (item[5], item[0]))
        for later in same[1:]:
            if abs((later[2] - same[0][2]).days) <= 3 and later[3] != same[0][3]:
                out.append(_doubt("double_tally", later[0], {"void_round": later[0]}, plot=later[1], n=later[6], day=later[2].isoformat(), first=same[0][0]))
    return out


def double_counts(counts: pd.DataFrame) -> list[dict]:
    """The same row of a plot counted the same on the same day by two phones."""
    out, first = [], {}
    for row in counts[counts["row"].notna()].itertuples():
        key = (row.plot, row.day, row.row, row.plants_standing, row.gaps if row.gaps == row.gaps else None)
        if key in first and first[key][1] != row.install:
            out.append(_doubt("double_count", row.id, {"void": True}, plot=row.plot, row=int(row.row), day=row.day.isoformat()))
        first.setdefault(key, (row.id, row.install))
    return out


def pieces_as_plants(loads: pd.DataFrame) -> list[dict]:
    """A load whose kilograms per plant are far below the plot's other loads: halves counted as plants."""
    out = []
    known = loads[(loads["plants"] > 0) & (loads["net_kg"] > 0)]
    for plot, part in known.groupby("plot", sort=True):
        each = (part["net_kg"] / part["plants"]).to_numpy()
        if len(part) < LEAST_LOADS:
            continue
        middle = float(np.median(each))
        for row, kg in zip(part.itertuples(), each):
            if kg < PIECES_RATIO * middle:
                out.append(_doubt("pieces_as_plants", row.id, {"pieces": int(row.plants), "plants": int(round(row.net_kg / middle))}, plot=plot, plants=int(row.plants), kg=float(kg), usual_kg=middle))
    return out


def wrong_clocks(readings: pd.DataFrame, installs: list[dict], zone: Any) -> list[dict]:
    """A phone whose measured clock error was large, or that seems to work by night."""
    out = []
    for one in installs:
        if one.get("clock_error_s") and abs(one["clock_error_s"]) > 120:
            out.append(_doubt("clock_repaired", one["id"], None, install=one["id"][-12:], minutes=one["clock_error_s"] / 60))
    for install, part in readings.groupby("install", sort=True):
        hours = np.array([t.astimezone(zone).hour for t in part["taken_at"]])
        night = float(((hours >= NIGHT[0]) | (hours < NIGHT[1])).mean())
        if len(hours) >= NIGHT_LEAST and night > NIGHT_SHARE:
            out.append(_doubt("night_clock", install, None, install=install[-12:], share=night, n=len(hours)))
    return out


def undated_plots(plots: pd.DataFrame, checks: pd.DataFrame) -> list[dict]:
    """Standing plots without a planting date, with the year the crews noted."""
    out = []
    for code, row in plots[plots["status"] == "standing"].iterrows():
        if row["planted_on"] is None:
            years = checks.loc[checks["plot"] == code, "planting_year"].dropna()
            year = int(years.iloc[-1]) if len(years) else None
            out.append(_doubt("no_planting_date", f"plot:{code}", {"planted_on": date(year, 7, 15).isoformat()} if year else None, plot=code, year=year))
    return out


def beyond_registered(loads: pd.DataFrame, plots: pd.DataFrame) -> list[dict]:
    """Parcels from which more plants were cut than are registered."""
    parcel_of = plots["parcel"].to_dict()
    registered = {p: n for p, n in zip(plots["parcel"], plots["registered_plants"]) if p and n == n and n}
    cut: dict[str, float] = {}
    last: dict[str, str] = {}
    for row in loads[loads["plants"] > 0].itertuples():
        parcel = parcel_of.get(row.plot)
        if parcel in registered:
            cut[parcel] = cut.get(parcel, 0.0) + row.plants
            last[parcel] = row.id
    return [_doubt("beyond_registered", last[p], None, parcel=p, plants=int(n), registered=int(registered[p])) for p, n in sorted(cut.items()) if n > registered[p]]

