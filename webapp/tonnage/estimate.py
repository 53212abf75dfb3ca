"""From tables of the survey to observations: row counts to totals, weighings and loads to mean piñas, events to accounts."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from . import balance, counts, pina
from . import constants as k
from .balance import Event

SAME_COUNT_DAYS = 21
WIDTH_OF_OUTLINE = 0.5


def count_events(rows: pd.DataFrame, plot: str, area_ha: float, row_spacing_m: float | None, perimeter_m: float) -> list[Event]:
    """Each campaign of row counts of a plot (rows within three weeks) as one counted total with its sd."""
    mine = rows[(rows["plot"] == plot) & rows["plants_standing"].notna()].sort_values(["day", "id"])
    out: list[Event] = []
    start: date | None = None
    campaign: list[Any] = []
    for row in [*mine.itertuples(), None]:
        if row is not None and (start is None or (row.day - start).days <= SAME_COUNT_DAYS):
            start = start or row.day
            campaign.append(row)
            continue
        if campaign:
            out.append(_total(campaign, area_ha, row_spacing_m, perimeter_m))
        start, campaign = (row.day, [row]) if row is not None else (None, [])
    return out


def _total(campaign: list, area_ha: float, row_spacing_m: float | None, perimeter_m: float) -> Event:
    standing = np.array([r.plants_standing for r in campaign], float)
    part = np.array([r.part_of_row if r.part_of_row == r.part_of_row and r.part_of_row > 0 else 1.0 for r in campaign], float)
    told = [r.rows_in_plot for r in campaign if r.rows_in_plot == r.rows_in_plot and r.rows_in_plot > 0]
    lengths = [r.row_length_m for r in campaign if r.row_length_m == r.row_length_m and r.row_length_m > 0]
    extra = 0.0
    if told:
        population = float(np.median(told))
    elif lengths and row_spacing_m and area_ha:
        population, extra = area_ha * 10_000 / (row_spacing_m * float(np.mean(lengths))), float(k.OUTLINE_SD)
    else:  # a square of the plot's area, rows along one side
        population, extra = max(np.sqrt(max(area_ha, 0.01) * 10_000) / (row_spacing_m or 3.0), 1.0), 4 * float(k.OUTLINE_SD)
    found = counts.plants_of_rows(standing, part, population, float(k.ROW_CV))
    return Event(campaign[-1].day, balance.COUNT, found.total, float(np.sqrt(found.variance + (extra * found.total) ** 2 + (0.01 * found.total) ** 2)))


def other_events(plot: str, losses: pd.DataFrame, labors: pd.DataFrame, loads: pd.DataFrame, kg_per_plant: float) -> list[Event]:
    """Losses, replantings and cuts of a plot. A load without a count of plants is turned into plants by its mass."""
    out = []
    for row in losses[losses["plot"] == plot].itertuples():
        if row.plants == row.plants:
            out.append(Event(row.day, balance.LOSS, float(row.plants)))
        elif row.area_share == row.area_share:
            out.append(Event(row.day, balance.LOSS_SHARE, float(row.area_share)))
    for row in labors[(labors["plot"] == plot) & (labors["labor"] == "replanting")].itertuples():
        if row.plants == row.plants:
            out.append(Event(row.day, balance.REPLANT, float(row.plants)))
    for row in loads[loads["plot"] == plot].itertuples():
        if row.plants == row.plants:
            out.append(Event(row.day, balance.CUT, float(row.plants)))
        elif row.net_kg == row.net_kg and kg_per_plant > 0:
            out.append(Event(row.day, balance.CUT, float(row.net_kg) / kg_per_plant))
    return out


def mass_seen(plots: list[str], planted: dict[str, date], weighings: pd.DataFrame, loads: pd.DataFrame) -> tuple[pina.Seen, np.ndarray, np.ndarray]:
    """Observations of mean piña mass and, per plot, how many piñas were weighed and how many loads used.

    A weighing visit's mean carries the plants' spread and the visit's error; a load's mass per plant (net ÷
    plants) carries the load's. Plots without an age are left out here.
    """
    where = {code: i for i, code in enumerate(plots) if planted.get(code)}
    n_weighed, n_loads = np.zeros(len(plots), int), np.zeros(len(plots), int)
    at, age, log_kg, var = [], [], [], []
    for (plot, day), part in weighings[weighings["mass_kg"] > 0].groupby(["plot", "day"], sort=True):
        if plot in where:
            n = len(part)
            at.append(where[plot])
            age.append((day - planted[plot]).days / 365.25)
            log_kg.append(float(np.log(part["mass_kg"].mean())))
            var.append(float(k.PINA_CV) ** 2 / n + float(k.VISIT_LOG_SD) ** 2)
            n_weighed[where[plot]] += n
    good = loads[(loads["net_kg"] > 0) & (loads["plants"] > 0)]
    for (plot, day), part in good.groupby(["plot", "day"], sort=True):
        if plot in where:
            plants = float(part["plants"].sum())
            at.append(where[plot])
            age.append((day - planted[plot]).days / 365.25)
            log_kg.append(float(np.log(part["net_kg"].sum() / plants)))
            var.append(float(k.PINA_CV) ** 2 / plants + float(k.LOAD_LOG_SD) ** 2)
            n_loads[where[plot]] += len(part)
    arrays = (np.array(at, int), np.array(age, float), np.array(log_kg, float), np.array(var, float))
    return pina.Seen(*arrays), n_weighed, n_loads
