"""Sales by market × category × class, years ahead: level, damped trend, and honest spread.

Seven to ten years out the doubt about the trend, not the noise of a year, is the interval; so each
future carries its own deviation of growth, shared in part by all lines, beside named growth paths
(own trend, growing, flat, falling) that count alike. Damped trends beat straight ones at long range
(Makridakis et al., M competitions; Hyndman & Athanasopoulos, *Forecasting: Principles and Practice*,
3rd ed., §8). Correlation between lines is kept by redrawing the residuals of whole years.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..problems import Problem

Line = tuple[str, str, str]  # market, category, class
PRIOR_GROWTH_SD = 0.04   # 1/year: how far a line's growth may lie from the estate's, before its own years speak
LEAST_NOISE = 0.03       # a year's log sales are never surer than this
YEARS_USED = 8
SHARED_DOUBT = 0.7       # share of the doubt's variance about growth that all lines have in common


@dataclass(frozen=True)
class History:
    """Trailing twelve-month years: ``litres`` [L, Y], oldest first, NaN before a line's first sale.

    ``centre`` is the middle of the last year as a decimal year; ``missing`` the months no file ever held.
    """

    lines: tuple[Line, ...]
    litres: np.ndarray
    centre: float
    last_month: str
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class Trend:
    """Per line: log level at ``centre`` [L], growth a year [L] with sd [L], residuals of whole years [Y, L], and what was chosen."""

    level: np.ndarray
    growth: np.ndarray
    growth_sd: np.ndarray
    residuals: np.ndarray
    method: dict[str, str]
    mase: dict[str, float | None]


@dataclass(frozen=True)
class Path:
    """A growth path: ``None`` growth means each line's own trend, else a fixed rate a year (per line where given)."""

    name: str
    per_year: float | None
    weight: float = 1.0
    per_line: dict[Line, float] = field(default_factory=dict)


def history(sales: pd.DataFrame) -> History:
    """Group monthly sales (columns market, category, class, month ``YYYY-MM``, litres) into trailing years.

    Months before the oldest whole year are left out; a month missing for every line is made up for
    by the other months of its year. Raises Problem ``sales_too_short`` under one year.
    """
    if sales.empty:
        raise Problem("sales_none", where="sales")
    table = sales.pivot_table(index="month", columns=["market", "category", "class"], values="litres", aggfunc="sum", sort=True)
    months = pd.period_range(table.index.min(), table.index.max(), freq="M").astype(str)
    if len(months) < 12:
        raise Problem("sales_too_short", where="sales", months=len(months))
    missing = tuple(m for m in months if m not in table.index)
    table = table.reindex(months)
    lines = tuple(sorted(tuple(c) for c in table.columns))
    values = table[list(lines)].to_numpy(float).T
    years = min(len(months) // 12, YEARS_USED)
    values = values[:, -12 * years:]
    first = np.array([np.argmax(np.nan_to_num(row) > 0) if (np.nan_to_num(row) > 0).any() else values.shape[1] for row in values])
    started = np.arange(values.shape[1])[None] >= (first // 12 * 12)[:, None]
    held = np.array([m not in missing for m in months[-12 * years:]])
    count = held.reshape(years, 12).sum(axis=1)
    total = (np.nan_to_num(values) * held).reshape(len(lines), years, 12).sum(axis=2) * 12.0 / np.maximum(count, 1)
    total = np.where(started.reshape(len(lines), years, 12).all(axis=2) & (count > 0), total, np.nan)
    last = pd.Period(months[-1], "M")
    return History(lines, total, last.year + last.month / 12.0 - 0.5, str(last), missing)


def fit(past: History, damping: float = 0.9) -> Trend:
    """Level and growth of every line, each line's growth drawn towards the estate's by its precision.

    The trend is kept for a class only where it beats "same as last year" in rolling-origin error
    (mean absolute scaled error, MASE < 1 over one to three years ahead); else growth falls to zero.
    """
    logs = _logs(past.litres)
    years = logs.shape[1]
    pooled, _ = _slope(_logs(np.nansum(past.litres, axis=0, keepdims=True))[0], 0.0, PRIOR_GROWTH_SD)
    fitted = [_slope(row, pooled, PRIOR_GROWTH_SD) for row in logs]
    growth, growth_sd = np.array([g for g, _ in fitted]), np.array([s for _, s in fitted])
    classes = sorted({line[2] for line in past.lines})
    mase: dict[str, float | None] = {}
    for name in classes:
        rows = [i for i, line in enumerate(past.lines) if line[2] == name]
        mase[name] = _mase(past.litres[rows], damping)
        if mase[name] is not None and mase[name] >= 1.0:
            growth[rows] = 0.0
    when = np.arange(years) - (years - 1)
    seen = np.isfinite(logs)
    line_mean = np.where(seen, logs - growth[:, None] * when, np.nan)
    fitted_level = np.array([np.nanmean(row[-3:]) if np.isfinite(row[-3:]).any() else np.nan for row in line_mean])
    level = np.where(np.isfinite(logs[:, -1]), 0.5 * np.nan_to_num(logs[:, -1]) + 0.5 * np.nan_to_num(fitted_level), -np.inf)
    middle = np.where(seen, line_mean, 0.0).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)  # a line never sold has none, and stays at nothing
    residuals = np.where(seen, line_mean - middle[:, None], 0.0).T
    if years > 2:
        residuals = residuals * np.sqrt(years / (years - 2))
    return Trend(level, growth, growth_sd, residuals, {c: "naive" if (mase[c] or 0) >= 1 else "damped" for c in classes}, mase)


def paths_of(grow: float, fall: float, own: list[Path] | None = None) -> list[Path]:
    """Own trend and three equal cases; the user's paths join with their weights."""
    return [Path("trend", None), Path("grow", grow), Path("flat", 0.0), Path("fall", fall), *(own or [])]


def assign(paths: list[Path], count: int) -> np.ndarray:
    """Which path each future walks: shares by weight, spread evenly over the futures (low-discrepancy, no luck)."""
    weight = np.array([p.weight for p in paths], float)
    edges = np.cumsum(weight) / weight.sum()
    golden = (np.arange(count) * 0.6180339887498949 + 0.5 / count) % 1.0
    order = np.argsort(golden, kind="stable")
    rank = np.empty(count, int)
    rank[order] = np.arange(count)
    return np.searchsorted(edges, (rank + 0.5) / count, side="right").clip(0, len(paths) - 1)


def sample(past: History, trend: Trend, years: np.ndarray, paths: list[Path], which: np.ndarray, rng: np.random.Generator,
           *, damping: float = 0.9, growth_doubt: float = 0.02, stopped: tuple[str, ...] = ()) -> np.ndarray:
    """Litres a year [S, T, L] in ``years`` [T] (calendar years, decimal centre at +0.5).

    ``which`` [S] names each future's path; the same ``rng`` state gives the same luck whatever the
    paths, so cases differ by their growth alone. ``stopped`` markets don't grow in any path.
    """
    count, lines = len(which), len(past.lines)
    ahead = np.maximum(np.asarray(years, float) + 0.5 - past.centre, 0.0)
    damped = damping * (1 - damping**ahead) / (1 - damping) if damping < 1 else ahead
    shared = rng.standard_normal(count)[:, None] * np.sqrt(SHARED_DOUBT)
    apart = rng.standard_normal((count, lines)) * np.sqrt(1 - SHARED_DOUBT)
    doubt = (shared + apart) * np.sqrt(growth_doubt**2 + trend.growth_sd**2)
    dates = rng.integers(0, len(trend.residuals), size=(count, len(ahead)))
    noise = trend.residuals[dates]
    total = np.empty((count, len(ahead), lines))
    for i, path in enumerate(paths):
        rows = which == i
        if not rows.any():
            continue
        rate = np.array([path.per_line.get(line, path.per_year if path.per_year is not None else np.nan) for line in past.lines], float)
        own = np.isnan(rate)
        halted = np.array([line[0] in stopped for line in past.lines])
        own_growth = np.where(halted, np.minimum(trend.growth, 0.0), trend.growth)
        rate = np.where(halted, np.minimum(np.nan_to_num(rate), 0.0), rate)
        total[rows] = np.where(own, own_growth * damped[:, None], np.nan_to_num(rate) * ahead[:, None])
    total += doubt[:, None, :] * damped[None, :, None] + noise
    return np.exp(trend.level + total)


def _logs(litres: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(litres > 0, np.log(litres), np.nan)


def _slope(logs: np.ndarray, prior: float, prior_sd: float) -> tuple[float, float]:
    """Growth a year of one line: least squares on the log, drawn to ``prior`` by precision."""
    seen = np.isfinite(logs)
    if seen.sum() < 3:
        return prior, prior_sd
    x, y = np.arange(len(logs))[seen].astype(float), logs[seen]
    x = x - x.mean()
    slope = float(x @ y / (x @ x))
    noise = max(LEAST_NOISE, float(np.sqrt(np.sum((y - y.mean() - slope * x) ** 2) / max(len(y) - 2, 1))))
    precision, prior_precision = (x @ x) / noise**2, 1 / prior_sd**2
    return float((precision * slope + prior_precision * prior) / (precision + prior_precision)), float((precision + prior_precision) ** -0.5)


def _mase(litres: np.ndarray, damping: float) -> float | None:
    """Absolute error of the damped trend over that of last year's figure, all origins with three years behind them."""
    ours = naive = 0.0
    years = litres.shape[1]
    for origin in range(3, years):
        for i in range(len(litres)):
            row = _logs(litres[i:i + 1, :origin])[0]
            if not np.isfinite(row[-1]):
                continue
            growth, _ = _slope(row, 0.0, PRIOR_GROWTH_SD)
            for ahead in range(1, min(3, years - origin) + 1):
                truth = litres[i, origin + ahead - 1]
                if np.isfinite(truth):
                    last = np.exp(row[-1])
                    ours += abs(last * np.exp(growth * sum(damping**j for j in range(1, ahead + 1))) - truth)
                    naive += abs(last - truth)
    return float(ours / naive) if naive > 0 else None
