"""From tables and papers to every plot's account of plants, and on to tonnes by day with intervals."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from . import balance, estimate, pina
from . import constants as k
from .balance import Account

UNKNOWN_PLANTED_SD, Z80 = 0.35, 1.2815515655446004


@dataclass(frozen=True)
class Tables:
    """The survey's tables that speak of plants."""

    counts: pd.DataFrame
    losses: pd.DataFrame
    labors: pd.DataFrame
    loads: pd.DataFrame


@dataclass(frozen=True)
class Usual:
    """What holds until the records speak: plants per ha, losses a year (share) and their sd."""

    planting_density_ha: float
    annual_mortality: float
    annual_mortality_sd: float


def accounts(plots: list[str], frame: pd.DataFrame, planted: dict[str, date], today: date, tables: Tables, usual: Usual, kg_now: np.ndarray) -> tuple[list[Account], float, float]:
    """(account of each plot, yearly mortality of the estate, its sd). ``frame`` by plot: planted_plants, area_ha, row_spacing_m, perimeter_m; ``kg_now`` [P] mean piña."""
    by = {name: dict(list(table.groupby("plot"))) for name, table in vars(tables).items()}
    none = {name: table.iloc[:0] for name, table in vars(tables).items()}
    starts, events, ratio, years, sds = [], [], [], [], []
    for i, code in enumerate(plots):
        row = frame.loc[code]
        told = row["planted_plants"] == row["planted_plants"] and row["planted_plants"] is not None
        area = row["area_ha"] if row["area_ha"] == row["area_ha"] else 0.0
        n0 = float(row["planted_plants"]) if told else float(area) * usual.planting_density_ha
        starts.append((n0, n0 * (float(k.PLANTED_SD) if told else UNKNOWN_PLANTED_SD)))
        pick = {n: by[n].get(code, none[n]) for n in by}
        seen = estimate.count_events(pick["counts"], code, float(area), row["row_spacing_m"], float(row["perimeter_m"] or 0))
        more = estimate.other_events(code, pick["losses"], pick["labors"], pick["loads"], float(kg_now[i]))
        events.append([*seen, *more])
        if told and seen and n0 > 0:
            last = seen[-1]
            gone = sum(e.plants for e in more if e.kind in (balance.CUT, balance.LOSS) and e.day <= last.day) - sum(e.plants for e in more if e.kind == balance.REPLANT and e.day <= last.day)
            age = max((last.day - planted[code]).days / 365.25, 0.2)
            ratio.append((last.plants + gone) / n0)
            years.append(age)
            sds.append(float(np.hypot(last.sd / max(last.plants, 1), np.hypot(float(k.PLANTED_SD), float(k.PLOT_LOSS_SD) * np.sqrt(age)))))
    m, sd = balance.estate_mortality(np.array(ratio), np.array(years), np.array(sds), usual.annual_mortality, usual.annual_mortality_sd)
    return [balance.run(n0, sd0, planted[code], ev, today, m) for code, (n0, sd0), ev in zip(plots, starts, events)], m, sd


def by_day(growth: pina.Growth, accounts: list[Account], now_age: np.ndarray, days: np.ndarray, today: date, m: float, m_sd: float) -> dict[str, np.ndarray]:
    """Tonnes by day if nothing is cut, before any loss past the peak, with 80 % intervals (log-normal product)."""
    ahead = (days - today.toordinal()) / 365.25
    log_kg, log_sd = pina.log_mass(growth, now_age[:, None] + ahead[None, :])
    plants = np.array([a.standing for a in accounts])[:, None] * (1 - m) ** np.maximum(ahead, 0)[None, :]
    rel = np.array([a.sd / max(a.standing, 1.0) for a in accounts])[:, None]
    since = np.array([a.since_count_years for a in accounts])[:, None]
    total_sd = np.sqrt(log_sd**2 + rel**2 + ((since + np.maximum(ahead, 0)[None, :]) * m_sd) ** 2 + float(k.PLOT_LOSS_SD) ** 2 * np.maximum(ahead, 0)[None, :])
    pina_kg = np.exp(log_kg)
    mass = plants * pina_kg / 1000
    return {"mass_t": mass, "mass_lo": mass * np.exp(-Z80 * total_sd), "mass_hi": mass * np.exp(Z80 * total_sd), "pina_kg": pina_kg, "pina_log_sd": log_sd[:, :1]}
