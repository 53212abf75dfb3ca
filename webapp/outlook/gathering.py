"""From what the estate has stored to the plain arrays the outlook asks with (no database here)."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from ..cutting.assembly import stop_names
from ..problems import Problem
from ..weeks import weeks_from
from .assess import Land
from .demand import History, Path

FACTORY_LINE = ("factory", "full", "unaged")   # stands in for the sales while no sales are loaded
APART_M = 300.0                                # zones differing by less ripen together


def land_of(plots: pd.DataFrame, zones: pd.DataFrame, today: date) -> Land:
    """Standing plots as arrays; a plot without planting date takes the middle of the others'."""
    planted = np.array([_decimal(day) for day in plots["planted_on"]], float)
    known = np.isfinite(planted)
    planted = np.where(known, planted, np.median(planted[known]) if known.any() else today.year - 3.0)
    lease = np.array([np.nan if _missing(day) else _last_whole_year(day) for day in plots["lease_end"]], float)
    pools = ripening_zones(zones)
    return Land([pools.get(zone, "one") for zone in plots["zone"]], planted, plots["area_ha"].to_numpy(float), np.nan_to_num(plots["planted_plants"].to_numpy(float)), lease)


def ripening_zones(zones: pd.DataFrame) -> dict[str, str]:
    """Zones pooled in two by altitude, since highlands ripen about a year later (index name, column altitude_m)."""
    known = zones["altitude_m"].dropna().astype(float)
    if len(known) < 2 or known.max() - known.min() < APART_M:
        return {name: "one" for name in zones.index}
    middle = (known.max() + known.min()) / 2
    return {name: "high" if altitude >= middle else "low" for name, altitude in zones["altitude_m"].items()}


def mean_haul_km(zones: pd.DataFrame) -> float:
    known = zones["haul_km"].dropna().astype(float)
    return float(known.mean()) if len(known) else 0.0


def stock_of(held: pd.DataFrame) -> dict[tuple[str, str], np.ndarray] | None:
    """Litres by (category, class) and whole years in wood; None when nobody has told."""
    if held.empty:
        return None
    out = {}
    for key, part in held.groupby(["category", "class"], sort=True):
        litres = np.zeros(int(part["age_years"].max()) + 1)
        np.add.at(litres, part["age_years"].to_numpy(int), part["litres"].to_numpy(float))
        out[key] = litres
    return out


def own_paths(rows: list[dict], past: History) -> list[Path]:
    """The user's growth paths; of several rows that fit a line the most particular counts, ``*`` fits any."""
    named: dict[str, list[dict]] = {}
    for row in rows:
        named.setdefault(row["name"], []).append(row)
    out = []
    for name, given in sorted(named.items()):
        rates = {}
        for line in past.lines:
            fits = [r for r in given if all(r[part] in ("*", value) for part, value in zip(("market", "category", "class"), line))]
            if fits:
                rates[line] = max(fits, key=lambda r: sum(r[part] != "*" for part in ("market", "category", "class")))["per_year"]
        out.append(Path(name, None, given[0]["weight"], rates))
    return out


def factory_need_t(values: Mapping[str, Any], year: int) -> float:
    """Tonnes a year the distillery asks for: weekly need over the weeks of that ISO year it works."""
    working = [w for w in weeks_from(date.fromisocalendar(year, 1, 1), 53) if w.startswith(str(year))]
    stops = stop_names(str(values["stop_weeks"]))
    return float(values["need_t_week"]) * sum(w not in stops and w.split("-")[1] not in stops for w in working)


def factory_history(values: Mapping[str, Any], today: date) -> History:
    """Until sales are loaded, what the factory asks for stands in: three level years of unaged spirit."""
    litres = factory_need_t(values, today.year) * 1000.0 / values["agave_kg_per_l_40"] * 40.0 / values["bottle_abv"]
    return History((FACTORY_LINE,), np.full((1, 3), litres), today.year + 0.4, today.isoformat()[:7])


def season_end(values: Mapping[str, Any], year: int) -> date:
    """Last day of a year's planting season."""
    try:
        return date.fromisoformat(f"{year}-{values['planting_season_ends']}")
    except ValueError:
        raise Problem("season_unclear", where="planting_season_ends", value=str(values["planting_season_ends"])) from None


def planted_last_season(land: Land, values: Mapping[str, Any], today: date) -> float:
    """Hectares planted in the season before the next one."""
    coming = today.year if today <= season_end(values, today.year) else today.year + 1
    return float(land.area_ha[np.floor(land.planted) == coming - 1].sum())


def _missing(day: Any) -> bool:
    return day is None or day != day


def _decimal(day: Any) -> float:
    return float("nan") if _missing(day) else day.year + (day - date(day.year, 1, 1)).days / 365.25


def _last_whole_year(day: date) -> int:
    """A lease that ends before July gives no cutting in its last year."""
    return day.year if day.month >= 7 else day.year - 1
