"""Doubts about records in use: each names its record, says why, and proposes; nothing is changed by itself.

Thresholds are our own and stated in each sentence; they are set so that ordinary spread between plants
(sd about 2 °Bx), between rounds and between loads does not raise them. Loads and plots: ``quality_land``; limits
of °Brix that hold whatever the others say: ``quality_range``.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from . import quality_land, quality_range

SLIP_FAR_DEG, SLIP_NEAR_DEG, SLIP_LEAST = 8.0, 5.0, 4
HOT_C, HOT_DAYS, LEAST_ROUNDS = 9.0, 12, 3
TALLY_LEAST, TALLY_DAYS = 6, 3
NIGHT, NIGHT_SHARE, NIGHT_LEAST = (20, 5), 0.6, 8
CLOCK_S = 120
ABOUT_PHONES = frozenset(("clock_repaired", "night_clock"))
ATC_SHARE, ATC_LEAST = 0.7, 4
FAR_OFF = "round_far_off"
ALL_EQUAL = "all_equal"
LOOKED_AT = frozenset((FAR_OFF, ALL_EQUAL, *quality_range.LOOKED_AT))
"""Who leaves a round so doubted as it is has looked at it: from then on it counts in full."""
OF_ESTIMATES = frozenset(("swapped_plots", "instrument_off", "atc_said_yes", "atc_said_no", FAR_OFF, ALL_EQUAL))
"""Doubts that only a fit can raise: ripeness looks for them after each (``propose``); a review of the records leaves them standing."""


def all_doubts(tables: dict[str, pd.DataFrame], plots: pd.DataFrame, installs: list[dict], rivals: list[tuple[str, list[str], str | None]], zone: Any) -> list[dict]:
    """Every doubt as {code, record, params, proposal}; ``record`` is a record's or round's id, an install, or ``plot:<code>``."""
    readings, loads = tables["reading"], tables["load"]
    in_rounds = readings[readings["round"].notna()]
    twice = double_tallies(in_rounds)
    counts = tables["row_count"][~tables["row_count"]["round"].isin([d["record"] for d in twice])]  # those go with their round
    slipped = slipped_decimals(in_rounds)
    return [*slipped, *quality_range.all_doubts(readings, plots, {d["record"] for d in slipped}), *hot_thermometers(in_rounds), *atc_flags(tables["round"]), *twice, *double_counts(counts),
            *clocks(readings, installs, zone), *two_corrections(rivals), *quality_land.all_doubts(loads, tables["weighing"], tables["age_check"], plots)]


def doubt(code: str, record: str, proposal: dict | None, **params: Any) -> dict:
    return {"code": code, "record": record, "params": params, "proposal": proposal}


def slipped_decimals(readings: pd.DataFrame) -> list[dict]:
    """A reading far from its round's median that lies near it with its decimal point moved."""
    by_round = readings.groupby("round", sort=False)["brix_raw_deg"]
    middle, value = by_round.transform("median").to_numpy(), readings["brix_raw_deg"].to_numpy()
    far = (np.abs(value - middle) > SLIP_FAR_DEG) & (by_round.transform("size").to_numpy() >= SLIP_LEAST)
    out = []
    for i in np.flatnonzero(far):
        row = readings.iloc[i]
        guess = next((round(value[i] * f, 2) for f in (10.0, 0.1) if abs(value[i] * f - middle[i]) <= SLIP_NEAR_DEG), None)
        if guess is not None:
            out.append(doubt("slipped_decimal", row["id"], {"brix_raw_deg": float(guess)}, plot=row["plot"], value=float(value[i]), middle=float(middle[i]), guess=float(guess)))
    return out


def hot_thermometers(readings: pd.DataFrame) -> list[dict]:
    """A round whose juice is much warmer than other rounds of those days: a thermometer left in the sun."""
    warm = readings[readings["juice_temp_c"].notna()]
    if warm.empty:
        return []
    rounds = warm.groupby("round", sort=True).agg(temp=("juice_temp_c", "mean"), day=("day", "first"), plot=("plot", "first"))
    days, temps = np.array([d.toordinal() for d in rounds["day"]]), rounds["temp"].to_numpy()
    order = np.argsort(days, kind="stable")
    first = np.searchsorted(days[order], days - HOT_DAYS, side="left")
    last = np.searchsorted(days[order], days + HOT_DAYS, side="right")
    out = []
    for i in np.flatnonzero(temps > np.median(temps) + HOT_C / 2):
        near = np.setdiff1d(order[first[i]:last[i]], [i])
        if len(near) >= LEAST_ROUNDS and temps[i] - (usual := float(np.median(temps[near]))) > HOT_C:
            out.append(doubt("hot_thermometer", rounds.index[i], {"clear_in_round": "juice_temp_c"}, plot=rounds["plot"].iat[i], temp_c=float(temps[i]), usual_c=usual,
                             day=rounds["day"].iat[i].isoformat()))
    return out


def atc_flags(rounds: pd.DataFrame) -> list[dict]:
    """A round that says otherwise of its instrument's ATC than nearly all its other rounds."""
    out = []
    noted = rounds[rounds["instrument"].notna() & rounds["atc"].isin(["yes", "no"])]
    for instrument, part in noted.groupby("instrument", sort=True):
        shares = part["atc"].value_counts(normalize=True)
        usual = shares.index[0]
        if len(part) >= ATC_LEAST and ATC_SHARE <= shares.iloc[0] < 1:
            for row in part[part["atc"] != usual].itertuples():
                out.append(doubt("atc_flag", row.id, {"atc": usual}, plot=row.plot, instrument=instrument, n=int((part["atc"] == usual).sum()), of=len(part), day=row.day.isoformat()))
    return out


def double_tallies(readings: pd.DataFrame) -> list[dict]:
    """Two rounds of one plot within days from two phones with the same values: one paper tally entered twice."""
    if readings.empty:
        return []
    ordered = readings.sort_values(["round", "brix_raw_deg"], kind="stable")
    names, values, at = (ordered[name].to_numpy() for name in ("round", "brix_raw_deg", "taken_at"))
    heads = [ordered[name].to_numpy() for name in ("plot", "day", "install")]
    starts = np.flatnonzero(np.r_[True, names[1:] != names[:-1]])
    same: dict[tuple, list] = {}
    for start, end in zip(starts, np.r_[starts[1:], len(ordered)]):
        if end - start >= TALLY_LEAST:
            plot, day, install = (head[start] for head in heads)
            same.setdefault((plot, values[start:end].tobytes()), []).append((at[start:end].min(), names[start], day, install, int(end - start)))
    out = []
    for (plot, _), found in same.items():
        found.sort()
        for later in found[1:]:
            if abs((later[2] - found[0][2]).days) <= TALLY_DAYS and later[3] != found[0][3]:
                out.append(doubt("double_tally", later[1], {"void_round": later[1]}, plot=plot, n=later[4], day=later[2].isoformat(), first=found[0][1]))
    return out


def double_counts(counts: pd.DataFrame) -> list[dict]:
    """The same row of a plot counted the same on the same day by two phones (``counts`` without rounds doubted whole)."""
    out, first = [], {}
    for row in counts[counts["row"].notna()].itertuples():
        key = (row.plot, row.day, row.row, row.plants_standing, row.gaps if row.gaps == row.gaps else None)
        if first.setdefault(key, row.install) != row.install:
            out.append(doubt("double_count", row.id, {"void": True}, plot=row.plot, row=int(row.row), day=row.day.isoformat()))
    return out


def clocks(readings: pd.DataFrame, installs: list[dict], zone: Any) -> list[dict]:
    """A phone whose measured clock error was large, or that seems to work by night."""
    out = [doubt("clock_repaired", one["id"], None, install=one["id"][-12:], minutes=one["clock_error_s"] / 60)
           for one in installs if one.get("clock_error_s") and abs(one["clock_error_s"]) > CLOCK_S]
    if readings.empty:
        return out
    hours = readings["taken_at"].dt.tz_convert(zone).dt.hour.to_numpy()
    dark = pd.Series((hours >= NIGHT[0]) | (hours < NIGHT[1]), index=readings.index).groupby(readings["install"], sort=True).agg(["mean", "size"])
    return out + [doubt("night_clock", install, None, install=install[-12:], share=float(share), n=int(n)) for install, share, n in dark.itertuples() if n >= NIGHT_LEAST and share > NIGHT_SHARE]


def two_corrections(rivals: list[tuple[str, list[str], str | None]]) -> list[dict]:
    """One record corrected twice: the later counts, and the office sees both."""
    return [doubt("two_corrections", name, None, plot=plot, n=len(replies), counts=replies[-1], other=replies[-2]) for name, replies, plot in rivals]
