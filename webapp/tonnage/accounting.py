"""From tables and papers to every plot's account of plants, and on to tonnes by day with intervals."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from . import balance, estimate, pina
from . import constants as k
from .balance import Account
from .bolting import Bolting, learn
from .lines import by_plot

UNKNOWN_PLANTED_SD, Z80, MOST_LOG_SD = 0.35, 1.2815515655446004, 5.0


@dataclass(frozen=True)
class Tables:
    """The survey's tables that speak of plants and piñas, as lines by plot."""

    counts: dict[str, list]
    losses: dict[str, list]
    labors: dict[str, list]
    loads: dict[str, list]
    weighings: dict[str, list]

    @staticmethod
    def of(counts: pd.DataFrame, losses: pd.DataFrame, labors: pd.DataFrame, loads: pd.DataFrame, weighings: pd.DataFrame) -> "Tables":
        return Tables(by_plot(counts, "plants_standing", "part_of_row", "rows_in_plot", "row_length_m", "quiote", "capon"), by_plot(losses, "plants", "area_share"), by_plot(labors, "labor", "plants"),
                      by_plot(loads, "plants", "net_kg", "cut_style", "clearing"), by_plot(weighings, "mass_kg", "cut_style"))


@dataclass(frozen=True)
class Usual:
    """What holds until the records speak: plants per ha, losses a year (share) and their sd."""

    planting_density_ha: float
    annual_mortality: float
    annual_mortality_sd: float
    quiote_lost_share: float = 0.0


@dataclass(frozen=True)
class Losses:
    """The estate's yearly mortality and its sd, how much plots' own rates differ (log per year), and what quiotes take beside it."""

    mortality: float
    mortality_sd: float
    rate_sd: float
    bolting: Bolting


def planted_plants(plots: list[str], frame: pd.DataFrame, usual: Usual) -> dict[str, tuple[float, bool]]:
    """Plot → (plants put in, whether the papers say so; else from its area)."""
    out = {}
    for code, told, area in zip(plots, frame.loc[plots, "planted_plants"], frame.loc[plots, "area_ha"]):
        said = told is not None and told == told
        out[code] = (float(told) if said else (float(area) if area == area else 0.0) * usual.planting_density_ha, said)
    return out


def bolting(counts: dict[str, list], planted: dict[str, date], lost_share: float) -> Bolting:
    """The estate's level of flowering from the rows counted with quiote or capón."""
    seen = [((row.day - planted[plot]).days / 365.25, row.plants_standing, (row.quiote or 0) + (row.capon or 0)) for plot, rows in counts.items() if plot in planted
            for row in rows if row.plants_standing and (row.quiote is not None or row.capon is not None)]
    return learn(*np.array(seen, float).reshape(len(seen), 3).T, lost_share)


def accounts(plots: list[str], frame: pd.DataFrame, planted: dict[str, date], today: date, tables: Tables, usual: Usual, kg_now: np.ndarray) -> tuple[list[Account], Losses]:
    """(account of each plot, the estate's losses). ``frame`` by plot: planted_plants, area_ha, row_spacing_m, perimeter_m; ``kg_now`` [P] mean piña."""
    starts, events, ratio, years, sds = [], [], [], [], []
    flowers = bolting(tables.counts, planted, usual.quiote_lost_share)
    put_in = planted_plants(plots, frame, usual)
    for i, (code, area, spacing, around) in enumerate(zip(plots, *(frame.loc[plots, name] for name in ("area_ha", "row_spacing_m", "perimeter_m")))):
        n0, told = put_in[code]
        starts.append((n0, n0 * (float(k.PLANTED_SD) if told else UNKNOWN_PLANTED_SD)))
        seen = estimate.count_events(tables.counts.get(code, []), float(area) if area == area else 0.0, spacing, float(around or 0))
        more = estimate.other_events(*(of.get(code, []) for of in (tables.losses, tables.labors, tables.loads)), float(kg_now[i]))
        events.append([*seen, *more])
        if told and seen and n0 > 0:
            last = seen[-1]
            gone = sum(e.plants for e in more if e.kind in (balance.CUT, balance.LOSS) and e.day <= last.day) - sum(e.plants for e in more if e.kind == balance.REPLANT and e.day <= last.day)
            age = max((last.day - planted[code]).days / 365.25, 0.2)
            ratio.append((last.plants + gone) / n0 * float(np.exp(flowers.lost(age))))
            years.append(age)
            sds.append(float(np.hypot(last.sd / max(last.plants, 1), np.hypot(float(k.PLANTED_SD), float(k.PLOT_LOSS_SD) * np.sqrt(age)))))
    m, sd, rate_sd = balance.estate_mortality(np.array(ratio), np.array(years), np.array(sds), usual.annual_mortality, usual.annual_mortality_sd)
    return [balance.run(n0, sd0, planted[code], ev, today, m, rate_sd, flowers.lost) for code, (n0, sd0), ev in zip(plots, starts, events)], Losses(m, sd, rate_sd, flowers)


def left(standing: np.ndarray, rate: np.ndarray, now_age: np.ndarray, ahead_years: np.ndarray, losses: Losses) -> np.ndarray:
    """[P, T] plants expected to stand after ``ahead_years`` [T] (≥ 0) if nothing is cut; none before a plot is planted (``now_age`` below 0), and none lost until then."""
    age = now_age[:, None] + ahead_years[None, :]
    lived = np.maximum(ahead_years[None, :] + np.minimum(now_age, 0.0)[:, None], 0.0)
    bolted = losses.bolting.lost(age) - losses.bolting.lost(now_age)[:, None]
    return standing[:, None] * np.exp(-np.maximum(-np.log1p(-losses.mortality) + rate[:, None], 0.0) * lived - bolted) * (age >= 0)


def by_day(growth: pina.Growth, accounts: list[Account], now_age: np.ndarray, days: np.ndarray, today: date, losses: Losses) -> dict[str, np.ndarray]:
    """Tonnes by day if nothing is cut, with what is lost past the peak, and their 80 % intervals: a log-normal product; where what is not known of the
    plants is large beside them (almost all is cut or lost) the plants are normal and not below nought."""
    ahead = (days - today.toordinal()) / 365.25
    log_kg, log_sd = pina.log_mass(growth, now_age[:, None] + ahead[None, :], ahead)
    after = np.maximum(ahead, 0.0)
    get = lambda name: np.array([getattr(a, name) for a in accounts], float)  # noqa: E731
    standing = get("standing")
    plants = left(standing, get("rate"), now_age, after, losses)
    bolted = losses.bolting.lost(now_age[:, None] + after[None, :]) - losses.bolting.lost(now_age)[:, None]
    whole = get("sd") / np.maximum(standing, 1.0)
    var = log_sd**2 + whole[:, None] ** 2 - 2 * get("rate_with")[:, None] * after + (get("rate_sd")[:, None] * after) ** 2
    var += ((get("since_count_years")[:, None] + after) * losses.mortality_sd) ** 2 + float(k.PLOT_LOSS_SD) ** 2 * after + (losses.bolting.log_sd * bolted) ** 2
    total_sd = np.sqrt(np.maximum(var, log_sd**2))
    pina_kg = np.exp(log_kg)
    mass = plants * pina_kg / 1000
    low, high = mass * np.exp(-Z80 * np.minimum(total_sd, MOST_LOG_SD)), mass * np.exp(Z80 * np.minimum(total_sd, MOST_LOG_SD))
    few = whole > float(k.FEW_LEFT)
    if few.any():
        one = left(np.ones(int(few.sum())), np.zeros(int(few.sum())), now_age[few], after, losses) * pina_kg[few] / 1000  # t of a plant of today
        own, rest = Z80 * get("sd")[few, None] * one, np.sqrt(log_sd[few] ** 2 + float(k.PLOT_LOSS_SD) ** 2 * after)
        low[few], high[few] = np.maximum(mass[few] - np.hypot(own, mass[few] * -np.expm1(-Z80 * rest)), 0.0), mass[few] + np.hypot(own, mass[few] * np.expm1(Z80 * rest))
    return {"mass_t": mass, "mass_lo": low, "mass_hi": high, "pina_kg": pina_kg, "pina_log_sd": log_sd[:, :1]}
