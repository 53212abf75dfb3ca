"""The shapes the model is made of: practice curve of age, its slope, bends, and the season."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from . import constants as k

KNOT_MONTHS, OLDEST_MONTHS, TABLE_MONTHS = 12, 168, 0.0625
HARMONICS = 2
YEAR_START = 1.0
"""Day number of 1 January of year 1; a mean year of 365.2425 days keeps the phase within a day and a half."""


def practice(age_months: np.ndarray, peak_months: float) -> np.ndarray:
    """Practice curve of °Brix against age, °Bx; about ``peak_months`` it begins to fall gently.

    The fall sets in over some months: the curve's shift is learned along its slope, and a slope that jumps would make every plot's
    forecast jump in the week it reaches the peak.
    """
    a = np.maximum(age_months, 0.0)
    rise = float(k.CURVE_RISE_DEG) * (1 - np.exp(-((a / float(k.CURVE_MONTHS)) ** float(k.CURVE_POWER))))
    turn, past = float(k.CURVE_TURN_MONTHS), a - peak_months
    return float(k.CURVE_START_DEG) + rise - float(k.CURVE_FALL_DEG) * np.where(past > turn, past, np.clip(past + turn, 0.0, 2 * turn) ** 2 / (4 * turn))


def practice_slope(age_months: np.ndarray, peak_months: float) -> np.ndarray:
    """Its derivative, °Bx per month."""
    a, scale, power = np.maximum(age_months, 0.0), float(k.CURVE_MONTHS), float(k.CURVE_POWER)
    inner = (a / scale) ** power
    slope = float(k.CURVE_RISE_DEG) * np.exp(-inner) * power / scale * (a / scale) ** (power - 1)
    turn = float(k.CURVE_TURN_MONTHS)
    return slope - float(k.CURVE_FALL_DEG) * np.clip((a - peak_months + turn) / (2 * turn), 0.0, 1.0)


@lru_cache(maxsize=1)
def bend_table() -> tuple[np.ndarray, np.ndarray]:
    """(ages [G] months, cubic B-splines [G, J] with knots every 12 months): between them a straight line is good to 1e-4."""
    from scipy.interpolate import BSpline

    inner = np.arange(0, OLDEST_MONTHS + 1, KNOT_MONTHS, dtype=float)
    knots = np.concatenate([[inner[0]] * 3, inner, [inner[-1]] * 3])
    ages = np.arange(0, OLDEST_MONTHS / TABLE_MONTHS + 1) * TABLE_MONTHS
    return ages, BSpline.design_matrix(np.minimum(ages, inner[-1] - 1e-9), knots, 3).toarray()


def _bent_at(age_months: np.ndarray, peak_months: float) -> np.ndarray:
    """The age at which the bends are taken: held from half a year past the peak.

    Plots left standing past the peak are few and no fair sample (the ripest were cut), so beyond it the curve
    keeps to the practice fall instead of following them.
    """
    return np.clip(np.asarray(age_months, float), 0.0, min(peak_months + float(k.FREE_PAST_PEAK_MONTHS), OLDEST_MONTHS - TABLE_MONTHS))


def bends(age_months: np.ndarray, peak_months: float) -> np.ndarray:
    """The bends' columns at ages: [..., J]."""
    place = _bent_at(age_months, peak_months) / TABLE_MONTHS
    low = place.astype(int)
    up = (place - low)[..., None]
    table = bend_table()[1]
    return table[low] * (1 - up) + table[low + 1] * up


def bent(age_months: np.ndarray, peak_months: float, theta: np.ndarray) -> np.ndarray:
    """``bends(age) @ theta`` without the columns in between."""
    ages, table = bend_table()
    return np.interp(_bent_at(age_months, peak_months), ages, table @ theta)


def bend_centres() -> np.ndarray:
    inner = np.arange(0, OLDEST_MONTHS + 1, KNOT_MONTHS, dtype=float)
    knots = np.concatenate([[inner[0]] * 3, inner, [inner[-1]] * 3])
    return np.array([knots[j + 1: j + 4].mean() for j in range(len(knots) - 4)])


def bend_precision() -> np.ndarray:
    """Prior precision of the bends: a Gaussian process over age at the splines' centres."""
    c = bend_centres()
    K = float(k.BEND_SD_DEG) ** 2 * np.exp(-0.5 * ((c[:, None] - c[None, :]) / float(k.BEND_MONTHS)) ** 2)
    return np.linalg.inv(K + 1e-4 * np.eye(len(c)))


def season(day_ordinal: np.ndarray) -> np.ndarray:
    """Two harmonics of the year at a proleptic day number: [..., 4] (sin, cos, sin 2, cos 2)."""
    turn = 2 * np.pi * (np.asarray(day_ordinal, float) % 365.2425) / 365.2425
    return np.stack([f(h * turn) for h in range(1, HARMONICS + 1) for f in (np.sin, np.cos)], axis=-1)


def season_practice() -> np.ndarray:
    """[4] the practice cycle of the year in those harmonics, °Bx (least squares through the middles of the months)."""
    middles = (np.arange(12) + 0.5) * 365.2425 / 12
    relative = np.array(k.SEASON_BY_MONTH) / np.mean(k.SEASON_BY_MONTH) - 1
    return np.linalg.lstsq(season(middles + YEAR_START), relative * float(k.SEASON_AT_DEG), rcond=None)[0]
