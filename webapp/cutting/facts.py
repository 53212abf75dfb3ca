"""Tables of the other rooms (pandas) into the plain facts that a cutting problem is put together from."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from ..weeks import months_between, week_of
from .assembly import Field, Orders, PlotFacts, ZoneFacts

SICK = ("sick_wilt", "sick_bud_rot", "sick_weevil")


def number(value: Any) -> float:
    """A float, 0 for what is missing."""
    return 0.0 if value is None or value != value else float(value)


def plot_facts(codes: list[str], plots: pd.DataFrame, loads: pd.DataFrame, labors: pd.DataFrame, today: date) -> list[PlotFacts]:
    """One fact per standing plot; a plot without planting date counts as of age 0 for the oldest-first rule only."""
    days = {code: tuple(d for d in part["day"] if d is not None) for code, part in loads.groupby("plot")}
    work = {code: tuple((day, number(h), number(d)) for day, h, d in zip(part["day"], part["reentry_hours"], part["harvest_days"])) for code, part in labors.groupby("plot")}
    out = []
    for code in codes:
        row = plots.loc[code]
        age = months_between(row["planted_on"], today) if row["planted_on"] else 0.0
        out.append(PlotFacts(code, row["name"], row["zone"] or "", age, row["lease_end"], work.get(code, ()), days.get(code, ())))
    return out


def zone_facts(zones: pd.DataFrame) -> dict[str, ZoneFacts]:
    return {name: ZoneFacts(number(row["haul_km"]), number(row["truck_max_t"]) or None, bool(row["wet_road"])) for name, row in zones.iterrows()}


def field_of(share: np.ndarray, mass_t: np.ndarray, art: np.ndarray, brix_deg: np.ndarray) -> Field:
    """Expected values from joint draws [n, P, V]; the ripe share weighs each draw by its tonnes, as it is tonnes that are cut."""
    mass = mass_t.mean(axis=0)
    return Field(mass, (share * mass_t).mean(axis=0) / np.maximum(mass, 1e-9), art.mean(axis=0), brix_deg)


def loaded(loads: pd.DataFrame, week: str) -> dict[str, float]:
    """Tonnes of each plot hauled in the week."""
    mine = loads[np.array([d is not None and week_of(d) == week for d in loads["day"]], bool)]
    return {code: float(kg) / 1000 for code, kg in mine.groupby("plot")["net_kg"].sum().items()}


def orders_ahead(orders: list[dict], weeks: list[str], loads: pd.DataFrame, hold: bool = True) -> Orders:
    """Published orders of the coming weeks without a gap, as what must stay, and what was hauled of them."""
    tonnes: dict[tuple[str, str], float] = {}
    for order in orders:
        tonnes[order["plot"], order["week"]] = tonnes.get((order["plot"], order["week"]), 0.0) + order["mass_t"]
    ordered, count = {week for _, week in tonnes}, 0
    while hold and count < len(weeks) and weeks[count] in ordered:
        count += 1
    return Orders(count, tonnes, loaded(loads, weeks[0]))


def usual_style(loads: pd.DataFrame, plot: str) -> str:
    """The cut style of most of the plot's loads, else of most loads, else short."""
    for part in (loads[loads["plot"] == plot], loads):
        counts = part["cut_style"].dropna().value_counts()
        if len(counts):
            return str(sorted(counts[counts == counts.max()].index)[0])
    return "short"


def marked(markings: pd.DataFrame, plot: str, since: date | None) -> int | None:
    """Plants marked in the plot after its last load, from the newest marking; None when there is none."""
    mine = markings[markings["plot"] == plot]
    mine = mine[[since is None or day >= since for day in mine["day"]]] if len(mine) else mine
    return int(mine.iloc[-1]["marked_plants"]) if len(mine) else None


def is_sick(counts: pd.DataFrame, plot: str, since: date) -> bool:
    """Whether a row count since a day found sick plants."""
    mine = counts[counts["plot"] == plot]
    mine = mine[[day >= since for day in mine["day"]]] if len(mine) else mine
    return bool(len(mine) and mine[[c for c in SICK if c in mine]].fillna(0).to_numpy(float).sum() > 0)
