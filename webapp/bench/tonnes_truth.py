"""The tonnage model on fields whose laws are not its own: each law and horizon scored by itself."""

from __future__ import annotations

from typing import Any, Callable, Iterable

import numpy as np
import pandas as pd

from ..config import BY_NAME
from ..ripeness.readiness import Z80, Z95
from ..tonnage import accounting, drawing, reckoning
from . import many_estates, true_fields
from .ripeness_truth import held
from .true_fields import CUT, LAWS, SHOCKED, Fields, simulate
from .true_laws import HORIZONS

TOLD = ("tonnes80", "tonnes95", "total80", "tonnes_bias", "tonnes_error")
LOADS_FOR_BIAS, DRAWS = 10, 400
EMPTY = {"counts": ("plot", "day", "id", "plants_standing", "part_of_row", "rows_in_plot", "row_length_m"), "weighings": ("plot", "day", "mass_kg"), "loads": ("plot", "day", "plants", "net_kg"),
         "losses": ("plot", "day", "plants", "area_share"), "labors": ("plot", "day", "labor", "plants")}


NO_FALL = {"loss_per_month": 0.0}
"""The true fields keep growing: their tonnes are those before any loss past the peak."""


def _table(name: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=list(EMPTY[name]))


def reckoned(f: Fields) -> reckoning.Found:
    """Growth, plants and losses by the product's own steps, with the settings of a new estate."""
    plots = [str(i) for i in range(len(f.planted))]
    planted = dict(zip(plots, f.planted))
    frame = pd.DataFrame({"planted_plants": f.planted_plants, "area_ha": f.area_ha, "row_spacing_m": true_fields.ROW_SPACING_M, "perimeter_m": 4 * np.sqrt(f.area_ha * 10_000)}, index=plots)
    tables = accounting.Tables.of(_table("counts", f.counts), _table("losses", []), _table("labors", []), _table("loads", f.loads), _table("weighings", f.weighings))
    return reckoning.reckon(frame, plots, planted, CUT, tables, {one.name: one.default for one in BY_NAME.values()} | NO_FALL)


def forecast(f: Fields, found: reckoning.Found | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(tonnes, sd of their logarithm) [P, W]."""
    found = found or reckoned(f)
    arrays = accounting.by_day(found.growth, found.accounts, found.now_age, CUT.toordinal() + 7.0 * np.arange(105), CUT, found.losses)
    return arrays["mass_t"], np.log(arrays["mass_hi"] / arrays["mass_t"]) / Z80


def score(f: Fields, seed: int) -> dict[str, np.ndarray]:
    """Arrays by horizon [4]: whether the true tonnes lie inside, the estate's bias, the mean error of a plot (shares); a week drawn for each plot."""
    found = reckoned(f)
    told, log_sd = forecast(f, found)
    rng = np.random.default_rng([seed, 77])
    every = np.arange(len(f.planted))[:, None]
    week = np.stack([rng.integers(low, high + 1, len(f.planted)) for low, high in HORIZONS.values()], axis=1)
    far = (np.log(f.mass_t[every, week]) - np.log(told[every, week])) / log_sd[every, week]
    return {"tonnes80": (np.abs(far) <= Z80).mean(axis=0), "tonnes95": (np.abs(far) <= Z95).mean(axis=0), "total80": _total(f, found), "tonnes_bias": told[every, week].sum(axis=0) / f.mass_t[every, week].sum(axis=0) - 1,
            "tonnes_error": np.abs(told[every, week] / f.mass_t[every, week] - 1).mean(axis=0)}


def _total(f: Fields, found: reckoning.Found) -> np.ndarray:
    """[4] whether the estate's true tonnes in the middle of each horizon lie inside the 80 % interval of the joint draws' sum."""
    weeks = np.array([(low + high) // 2 for low, high in HORIZONS.values()])
    plants, kg = drawing.draw(drawing.stored(found), 7 * weeks / 365.25, DRAWS, 5)
    low, high = np.quantile((plants.astype(float) * kg / 1000).sum(axis=1), (0.1, 0.9), axis=0)
    true = f.mass_t[:, weeks].sum(axis=0)
    return ((low <= true) & (true <= high)).astype(float)


def ready_bias(f: Fields) -> float:
    """Estate bias of today's tonnes of plots of cutting age (five and a half years and more), as a share."""
    told, _ = forecast(f)
    old = np.array([(CUT - d).days / 365.25 >= 5.5 for d in f.planted])
    return float(told[old, 0].sum() / f.mass_t[old, 0].sum() - 1)


def _one(job: tuple[str, int]) -> dict[str, np.ndarray]:
    law, seed = job
    return score(simulate(law, seed), seed) | {"ready_bias": np.array(ready_bias(simulate(law, seed, loads=LOADS_FOR_BIAS)))}


def measure(estates: int = 60, laws: Iterable[str] = LAWS, processes: int = 2, first_seed: int = 2000, told: Callable[[str], None] = lambda law: None) -> dict[str, dict[str, Any]]:
    """Law → figures by horizon with Monte Carlo standard errors between estates; ``ready_bias`` after ten weighed loads: mean over estates and mean size."""
    found = {}
    for law, parts in many_estates.by_case(_one, laws, lambda law: [(law, first_seed + i) for i in range(estates)], told, processes):
        out: dict[str, Any] = {"estates": estates}
        for name in TOLD:
            values = np.array([p[name] for p in parts])
            out[name], out[f"{name}_se"] = values.mean(axis=0).tolist(), (values.std(axis=0, ddof=1) / np.sqrt(len(parts))).tolist()
        bias = np.array([float(p["ready_bias"]) for p in parts])
        out |= {"ready_bias": float(bias.mean()), "ready_bias_size": float(np.abs(bias).mean())}
        out["cells"] = {name: [held(law in SHOCKED, h, name, out[name][h], out[f"{name}_se"][h]) for h in range(len(HORIZONS))] for name in ("tonnes80", "tonnes95")}
        found[law] = out
    return found
