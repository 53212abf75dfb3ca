"""The ripening model on estates whose laws are not its own: each law and horizon scored by itself, none averaged away.

Per estate the product's own code fits, forecasts and derives; then it is held against hidden visits and the truth.
"""

from __future__ import annotations

from typing import Any, Callable, Iterable

import numpy as np

from ..ripeness import first_ripe, fitting, rare, readiness, ripening, scores
from ..ripeness.readiness import Limits
from ..ripeness.visits import gather
from . import best_possible, many_estates, simple_forecasts, true_laws
from .true_laws import CUT_DAY, HORIZONS, LAWS, PEAK_MONTHS, SHOCKED, TARGET_BRIX_DEG, Estate, simulate

LIMITS = Limits(TARGET_BRIX_DEG, 0.7, 0.4, 36.0, PEAK_MONTHS, 0.015, 0.12)
"""Target of these estates; the other thresholds as the settings stand when an estate is new."""
BANDS = {False: ((0.77, 0.86), (0.92, 0.98)), True: ((0.72, 0.87), (0.89, 0.97))}
"""Bands of the 80 and 95 % intervals' coverage: False without a shock up to 52 weeks, True with one or beyond."""
TENTHS = 10
TOLD = ("cov80", "cov95", "mean80", "mean95", "share80", "bias", "crps", "against_naive", "against_mixed", "share_error", "share_error_between", "share_error_best", "over_best")
"""What is printed by horizon, in this order."""
SCORED = ("cov80", "cov95", "mean80", "mean95", "share80")
"""Coverages held against their bands."""


def read(e: Estate) -> tuple[Any, ripening.Land]:
    """The estate as the model gets it."""
    codes = [str(i) for i in range(len(e.planted))]
    visits = gather(codes, e.plot.astype(str), e.visit, e.day, e.brix_deg, np.full(len(e.plot), 0.05))
    return visits, ripening.Land(e.planted, np.zeros(len(e.planted)), e.zone, tuple(f"Z{z}" for z in range(true_laws.ZONES)))


def score(e: Estate, mixed: bool = False, best: bool = False) -> dict[str, np.ndarray]:
    """What one estate's forecasts were worth: arrays by horizon [4] (or [4, 10] for the tenths of chance), °Bx and shares."""
    visits, land = read(e)
    f, visits = fitting.fit_weighed(visits, land, PEAK_MONTHS, float(CUT_DAY))
    out = ripening.ahead(f, ripening.posterior(f, visits, land, f.about), CUT_DAY + 7.0 * np.arange(true_laws.WEEKS))
    every = np.arange(len(e.planted))[:, None]
    mean, var = out.mean[every, e.week], out.var[every, e.week]
    next_sd = np.sqrt(ripening.next_visit_var(f, out, every, e.week, e.plants))
    sd, truth = np.sqrt(var), e.mean_deg[every, e.week]
    part = out.rare_part[every, e.week]
    next_part = rare.thinned(part, sd, next_sd)
    share, low, high = readiness.share(out.mean, np.sqrt(out.var), ripening.plant_sd(f, out.age), f.residuals, TARGET_BRIX_DEG, rare_part=out.rare_part)
    chance = readiness.chance(out.mean, np.sqrt(out.var), TARGET_BRIX_DEG, out.rare_part)[every, e.week]
    true_share, told = e.ripe_share[every, e.week], share[every, e.week]
    real = (true_share > 0.02) & (true_share < 0.98)
    got: dict[str, np.ndarray] = {
        "cov80": _inside(mean, next_sd, 0.8, next_part, e.seen_deg), "cov95": _inside(mean, next_sd, 0.95, next_part, e.seen_deg), "crps": scores.crps_rare(mean, next_sd, next_part, e.seen_deg).mean(axis=0),
        "mean80": _inside(mean, sd, 0.8, part, truth), "mean95": _inside(mean, sd, 0.95, part, truth), "bias": (mean - truth).mean(axis=0),
        "share_error": np.abs(told - true_share).mean(axis=0), "share_error_between": _average(np.abs(told - true_share), real), "share80": _average((low[every, e.week] <= true_share) & (true_share <= high[every, e.week]), real)}
    ripe = (truth >= TARGET_BRIX_DEG).astype(float)
    got |= _tenths("tenth", chance, ripe)
    got["first_week_errors"] = _first_week(share, e.ripe_share)
    got["first_week_held"] = _first_week_held(low, high, e.ripe_share)
    guess, guess_sd = simple_forecasts.last_mean_moved(e)
    got["naive_crps"] = scores.crps_normal(guess, guess_sd, e.seen_deg).mean(axis=0)
    if mixed:
        guess, guess_sd = simple_forecasts.mixed_model(e)
        got["mixed_crps"] = scores.crps_normal(guess, guess_sd, e.seen_deg).mean(axis=0)
        got["mixed_our_crps"] = got["crps"]
    if best:
        share, chance = best_possible.known(e)
        got["best_share_error"], got["best_our_share_error"] = np.abs(share[every, e.week] - true_share).mean(axis=0), got["share_error"]
        got["best_first_week_errors"] = _first_week(share, e.ripe_share)
        got |= _tenths("best_tenth", chance[every, e.week], ripe)
    return got


def _tenths(name: str, chance: np.ndarray, came: np.ndarray) -> dict[str, np.ndarray]:
    """Cases, sum of chances said and number that came, by horizon and tenth of the chance [4, 10]."""
    tenth = np.minimum((chance * TENTHS).astype(int), TENTHS - 1)
    parts = (("n", np.ones(chance.shape)), ("said", chance), ("came", came))
    return {f"{name}_{part}": np.array([np.bincount(tenth[:, h], value[:, h], TENTHS) for h in range(len(HORIZONS))]) for part, value in parts}


def _inside(mean: np.ndarray, sd: np.ndarray, level: float, part: np.ndarray, seen: np.ndarray) -> np.ndarray:
    low, high = rare.ends(level, part)
    return ((mean + low * sd <= seen) & (seen <= mean + high * sd)).mean(axis=0)


def _average(value: np.ndarray, at: np.ndarray) -> np.ndarray:
    return np.where(at, value, 0.0).sum(axis=0) / np.maximum(at.sum(axis=0), 1)


def _first_week(share: np.ndarray, true_share: np.ndarray) -> np.ndarray:
    """Weeks by which the first ripe week was said too late (+) or early (−), of plots not yet ripe that will be within two years."""
    said, real = (np.where((s >= LIMITS.ripe_share_to_cut).any(axis=1), (s >= LIMITS.ripe_share_to_cut).argmax(axis=1), true_laws.WEEKS) for s in (share, true_share))
    coming = (real > 0) & (real < true_laws.WEEKS)
    return (said - real)[coming].astype(float)


def _first_week_held(low: np.ndarray, high: np.ndarray, true_share: np.ndarray) -> np.ndarray:
    """[N] whether the 80 % interval of the first ripe week held it, of plots not surely ripe today that may ripen within two years."""
    early, late = first_ripe.interval(low, high, LIMITS.ripe_share_to_cut)
    early, late, real = (np.where(place == first_ripe.NEVER, true_laws.WEEKS, place) for place in (early, late, first_ripe.weeks(true_share, LIMITS.ripe_share_to_cut)))
    return ((early <= real) & (real <= late))[(late > 0) & (early < true_laws.WEEKS)].astype(float)


def _one(job: tuple[str, int, int, bool, bool]) -> dict[str, np.ndarray]:
    law, seed, plots, mixed, best = job
    return score(simulate(law, seed, plots), mixed, best)


def measure(estates: int = 60, laws: Iterable[str] = LAWS, plots: int = true_laws.PLOTS, mixed: int = 8, best: int = 20, processes: int = 2, first_seed: int = 1000, told: Callable[[str], None] = lambda law: None) -> dict[str, dict[str, Any]]:
    """Law → figures by horizon, with the Monte Carlo standard error of each coverage (between estates). MixedLM on the first ``mixed`` estates, what could be known at best on the first ``best``."""
    jobs = lambda law: [(law, first_seed + i, plots, i < mixed, i < best) for i in range(estates)]  # noqa: E731
    return {law: summary(law, parts) for law, parts in many_estates.by_case(_one, laws, jobs, told, processes)}


def summary(law: str, parts: list[dict[str, np.ndarray]]) -> dict[str, Any]:
    out: dict[str, Any] = {"estates": len(parts)}
    for name in SCORED:
        values = np.array([p[name] for p in parts])
        out[name] = values.mean(axis=0).tolist()
        out[f"{name}_se"] = (values.std(axis=0, ddof=1) / np.sqrt(len(parts))).tolist() if len(parts) > 1 else [1.0] * len(HORIZONS)
    for name in ("crps", "bias", "share_error", "share_error_between", "naive_crps"):
        out[name] = np.mean([p[name] for p in parts], axis=0).tolist()
    out["against_naive"] = (np.array(out["crps"]) / np.array(out["naive_crps"])).tolist()
    both = [p for p in parts if "mixed_crps" in p]
    if both:
        out["against_mixed"] = (np.mean([p["mixed_our_crps"] for p in both], axis=0) / np.mean([p["mixed_crps"] for p in both], axis=0)).tolist()
    errors = np.concatenate([p["first_week_errors"] for p in parts])
    out["first_week_median"] = float(np.median(np.abs(errors))) if len(errors) else float("nan")
    weeks_held = np.array([p["first_week_held"].mean() for p in parts if len(p["first_week_held"])])
    out["first_week_held"], out["first_week_held_se"] = float(weeks_held.mean()), float(weeks_held.std(ddof=1) / np.sqrt(len(weeks_held))) if len(weeks_held) > 1 else 1.0
    out["chance"] = _pairs("tenth", parts)
    limit = [p for p in parts if "best_share_error" in p]
    if limit:
        out["share_error_best"] = np.mean([p["best_share_error"] for p in limit], axis=0).tolist()
        out["over_best"] = (np.mean([p["best_our_share_error"] for p in limit], axis=0) / out["share_error_best"]).tolist()
        out["first_week_median_best"] = float(np.median(np.abs(np.concatenate([p["best_first_week_errors"] for p in limit]))))
        out["chance_best"] = _pairs("best_tenth", limit)
    out["cells"] = {name: [held(law in SHOCKED, h, name, out[name][h], out[f"{name}_se"][h]) for h in range(len(HORIZONS))] for name in SCORED}
    return out


def _pairs(name: str, parts: list[dict[str, np.ndarray]]) -> list[list[float]]:
    """[(chance said, share that came, cases, Monte Carlo standard error of the two's difference)] by tenth; the error is between estates."""
    n, said, came = (np.array([p[f"{name}_{part}"].sum(axis=0) for p in parts]) for part in ("n", "said", "came"))
    total = np.maximum(n.sum(axis=0), 1)
    off = (came - said) - (came - said).sum(axis=0) / total * n
    se = np.sqrt((off**2).sum(axis=0) * len(parts) / max(len(parts) - 1, 1)) / total
    return [[float(value) for value in row[:2]] + [int(row[2]), float(row[3])] for row in np.stack([said.sum(axis=0) / total, came.sum(axis=0) / total, n.sum(axis=0), se], axis=1)]


def held(shocked: bool, h: int, name: str, value: float, se: float) -> bool:
    """Whether a cell lies in its band, or outside by no more than two Monte Carlo standard errors."""
    low, high = BANDS[shocked or h == len(HORIZONS) - 1][0 if name.endswith("80") else 1]
    return low - 2 * se <= value <= high + 2 * se
