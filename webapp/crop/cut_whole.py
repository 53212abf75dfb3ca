"""Tonnes that came out of plots cut whole, and what could be said of them without a model: pure.

Tonnes are said of everything that stands on a plot. So only a plot that was cut whole is held against them: cleared, out of
cultivation by the land's own word, every truck weighed. What a selective pass takes is a part nobody foretold, and is not compared.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

MOST_DAYS = 183
"""A clearing that took longer than half a year speaks of no one week."""
LEAST_EARLIER = 5
"""Plots cut whole before, from which on the plain rule knows its own errors."""
PLAIN_LOG_SD = 0.25
"""Of the plain rule until then (assumption): plants a tenth, piñas a fifth or so off."""
GONE = ("cut", "fallow", "retired")


def whole(loads: pd.DataFrame, status: dict[str, str]) -> tuple[pd.DataFrame, dict[str, int]]:
    """(one row a plot cut whole: plot, day it began, ended, ``middle`` of its tonnes (ordinals), trucks, mass_t; plots left out by reason)."""
    rows, out = [], {"standing": 0, "unweighed": 0, "long": 0}
    dated = loads[loads["day"].notna()]
    for plot, part in dated.groupby("plot", sort=True):
        last = part[part["clearing"] == 1]
        if status.get(plot) not in GONE or not len(last):
            out["standing"] += 1
            continue
        began = min(last["day"])
        since = part[part["day"] >= began]
        days, kg = np.array([d.toordinal() for d in since["day"]], float), since["net_kg"].to_numpy(float)
        if not (kg > 0).all():
            out["unweighed"] += 1
        elif np.ptp(days) > MOST_DAYS:
            out["long"] += 1
        else:
            rows.append((plot, began.toordinal(), int(days.max()), int(round(float(np.average(days, weights=kg)))), len(since), float(kg.sum()) / 1000))
    return pd.DataFrame(rows, columns=["plot", "day", "ended", "middle", "trucks", "came_t"]), out


def said_then(found: pd.DataFrame, said: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """(log t, its sd) as said, moved from the week spoken of to the middle of the tonnes by the pace said on the same day (4 to 26 weeks ahead)."""
    paces = said.assign(log_t=np.log(said["mass_t"].clip(lower=1e-6).to_numpy(float))).pivot_table(index=["plot", "on_day"], columns="weeks", values="log_t", observed=True)
    ends = [w for w in (4, 26) if w in paces.columns]
    pace = ((paces[26] - paces[4]) / 22 if len(ends) == 2 else pd.Series(np.nan, paces.index)).to_dict()
    per_week = np.nan_to_num([pace.get(key, 0.0) for key in zip(found["plot"], found["on_day"])])
    mean = np.log(found["mass_t"].clip(lower=1e-6).to_numpy(float)) + per_week * (found["middle"] - found["target"]).to_numpy(float) / 7
    low, high = (found[f"mass_{end}80_t"].clip(lower=1e-6).to_numpy(float) for end in ("low", "high"))
    # as of a normal: tonnes are mostly mass, so little of their width is what seldom comes to °Brix
    return mean, np.maximum(np.log(high / low) / (2 * 1.2815515655446004), 1e-3)


def passed(found: pd.DataFrame, loads: pd.DataFrame) -> np.ndarray:
    """[N] whether a selective pass came between what was said and the clearing."""
    some = loads[(loads["clearing"] != 1) & loads["day"].notna()]
    days = {plot: np.sort([d.toordinal() for d in part]) for plot, part in some.groupby("plot")["day"]}
    none = np.zeros(0, int)
    return np.array([np.searchsorted(days.get(p, none), began) > np.searchsorted(days.get(p, none), on, "right") for p, on, began in zip(found["plot"], found["on_day"], found["day"])], bool)


def by_plants(want: pd.DataFrame, came: pd.DataFrame, loads: pd.DataFrame, weighings: pd.DataFrame, plants: dict[str, list[tuple[int, float]]], default_kg: float) -> tuple[np.ndarray, np.ndarray]:
    """(log t, sd) [N] of the plain rule: plants last known less those cut since, times the estate's mean piña, all as known on the day it was said.

    ``plants`` by plot: (day, plants) as put in and as counted. Its sd is how far it was off on plots cut whole before.
    """
    good = loads[(loads["net_kg"] > 0) & (loads["plants"] > 0) & loads["day"].notna()]
    cut_on = np.array([d.toordinal() for d in good["day"]], int)
    cut_plot, cut_plants, cut_kg = good["plot"].to_numpy(), good["plants"].to_numpy(float), good["net_kg"].to_numpy(float)
    good = weighings[weighings["mass_kg"] > 0]
    weighed_on, weighed_kg = np.array([d.toordinal() for d in good["day"]], int), good["mass_kg"].to_numpy(float)

    def kg(day: int) -> float:
        early, seen = cut_on <= day, weighed_on <= day
        return float(cut_kg[early].sum() / cut_plants[early].sum()) if early.any() else float(weighed_kg[seen].mean()) if seen.any() else default_kg

    def rule(plot: str, day: int) -> float:
        known = [one for one in plants.get(plot, ()) if one[0] <= day]
        when, n = known[-1] if known else (0, 1.0)
        n -= cut_plants[(cut_plot == plot) & (cut_on > when) & (cut_on <= day)].sum()
        return float(np.log(max(n, 1.0) * kg(day) / 1000))

    mean, sd = np.array([rule(plot, day) for plot, day in zip(want["plot"], want["on_day"])], float), np.zeros(len(want))
    for day in np.unique(want["on_day"]):
        before = came[came["ended"] <= day]
        off = np.array([np.log(t) - rule(plot, began - 1) for plot, began, t in zip(before["plot"], before["day"], before["came_t"])])
        sd[want["on_day"].to_numpy() == day] = float(np.sqrt(np.mean(off**2))) if len(off) >= LEAST_EARLIER else PLAIN_LOG_SD
    return mean, np.maximum(sd, 0.02)
