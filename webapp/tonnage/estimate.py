"""From tables of the survey to observations: row counts to totals, weighings and loads to mean piñas, events to accounts."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from . import balance, counts
from . import constants as k
from .balance import Event
from .known import Known
from .pina import EXTRAS
from .weighed import LOAD, WEIGHING, Seen

SAME_COUNT_DAYS = 21


def count_events(rows: list[Any], area_ha: float, row_spacing_m: float | None, perimeter_m: float) -> list[Event]:
    """Each campaign of row counts of a plot (rows within three weeks, in order of day) as one counted total with its sd."""
    out: list[Event] = []
    start: date | None = None
    campaign: list[Any] = []
    for row in [*(r for r in rows if r.plants_standing is not None), None]:
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
    part = np.array([r.part_of_row if r.part_of_row and r.part_of_row > 0 else 1.0 for r in campaign], float)
    told = [r.rows_in_plot for r in campaign if r.rows_in_plot and r.rows_in_plot > 0]
    lengths = [r.row_length_m for r in campaign if r.row_length_m and r.row_length_m > 0]
    extra = 0.0
    if told:
        population = float(np.median(told))
    elif lengths and row_spacing_m and area_ha:
        population, extra = area_ha * 10_000 / (row_spacing_m * float(np.mean(lengths))), float(k.OUTLINE_SD)
    else:  # a square of the plot's area, rows along one side
        population, extra = max(np.sqrt(max(area_ha, 0.01) * 10_000) / (row_spacing_m or 3.0), 1.0), 4 * float(k.OUTLINE_SD)
    found = counts.plants_of_rows(standing, part, population, float(k.ROW_CV))
    return Event(campaign[-1].day, balance.COUNT, found.total, float(np.sqrt(found.variance + (extra * found.total) ** 2 + (0.01 * found.total) ** 2)))


def other_events(losses: list[Any], labors: list[Any], loads: list[Any], kg_per_plant: float) -> list[Event]:
    """Losses, replantings and cuts of a plot. A load without a count of plants is turned into plants by its mass."""
    out = []
    for row in losses:
        if row.plants is not None:
            out.append(Event(row.day, balance.LOSS, float(row.plants)))
        elif row.area_share is not None:
            out.append(Event(row.day, balance.LOSS_SHARE, float(row.area_share)))
    for row in labors:
        if row.labor == "replanting" and row.plants is not None:
            out.append(Event(row.day, balance.REPLANT, float(row.plants)))
    for row in loads:
        if row.plants is not None:
            out.append(Event(row.day, balance.CUT, float(row.plants)))
        elif row.net_kg is not None and kg_per_plant > 0:
            out.append(Event(row.day, balance.CUT, float(row.net_kg) / kg_per_plant))
    return out


def mass_seen(plots: list[str], planted: dict[str, date], weighings: dict[str, list[Any]], loads: dict[str, list[Any]], today: date, known: Known | None = None) -> tuple[Seen, np.ndarray, np.ndarray]:
    """Observations of mean piña mass and, per plot, how many piñas were weighed and how many loads used.

    A weighing visit's mean carries the plants' spread and the visit's error; a load's mass per plant (net ÷
    plants) carries the load's. Plots without an age are left out here.
    """
    known = known or Known()
    n_weighed, n_loads = np.zeros(len(plots), int), np.zeros(len(plots), int)
    found: list[tuple] = []
    visits: dict[tuple[int, date], list] = {}
    trucks: dict[tuple[int, date], list] = {}
    for i, plot in enumerate(plots):
        if planted.get(plot):
            for row in weighings.get(plot, ()):
                if row.mass_kg and row.mass_kg > 0:
                    visits.setdefault((i, row.day), []).append(row)
            for row in loads.get(plot, ()):
                if row.net_kg and row.plants and row.net_kg > 0 and row.plants > 0:
                    trucks.setdefault((i, row.day), []).append(row)
    cv2 = pina_cv2([np.sort([float(r.mass_kg) for r in part]) for part in visits.values()])
    for source, groups in ((WEIGHING, visits), (LOAD, trucks)):
        for (i, day), part in groups.items():
            if source == WEIGHING:
                plants, kg, clearing = float(len(part)), sum(sorted(float(r.mass_kg) for r in part)), None
                n_weighed[i] += len(part)
            else:
                plants, kg, clearing = sum(sorted(float(r.plants) for r in part)), sum(sorted(float(r.net_kg) for r in part)), _one(part, "clearing")
                n_loads[i] += len(part)
            found.append((i, (day - planted[plots[i]]).days / 365.25, float(np.log(kg / plants)), cv2 / plants, (day - today).days / 365.25, source,
                          known.row(plots[i], day, _one(part, "cut_style"), clearing, weighed=source == WEIGHING)))
    plot, age, log_kg, var, when, source, extra = zip(*found) if found else ((), (), (), (), (), (), ())
    return Seen(np.array(plot, int), np.array(age, float), np.array(log_kg, float), np.array(var, float), np.array(when, float), np.array(source, int),
                np.array(extra, float).reshape(len(found), len(EXTRAS))), n_weighed, n_loads


def _one(part: list[Any], name: str) -> Any:
    """The value of a day's records where they agree, else nothing."""
    values = {getattr(row, name) for row in part} - {None}
    return values.pop() if len(values) == 1 else None


def pina_cv2(visits: list[np.ndarray]) -> float:
    """Squared spread of piñas within a visit: pooled, leaning on the usual one by twenty degrees of freedom."""
    freedom, squares = 20.0, 20.0 * float(k.PINA_CV) ** 2
    for kg in visits:
        if len(kg) > 1:
            freedom, squares = freedom + len(kg) - 1, squares + (len(kg) - 1) * min(float(kg.var(ddof=1) / kg.mean() ** 2), 1.0)
    return squares / freedom
