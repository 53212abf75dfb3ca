"""°Brix as read, taken to 20 °C: one published table where it is printed, the physical column above it.

Rules for automatic compensation (ATC): inside its range nothing is corrected; outside it the value is
kept and the interval widens (correcting on top would count the temperature twice). Without a
temperature, or without knowing the ATC, the interval holds what the correction could be.
"""

from __future__ import annotations

import numpy as np

from . import constants as k

BRIX = (10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0)
_NAN = float("nan")
# Source: OIV-MA-AS2-02 table I, rows 5–17 °C, columns 10–50 % mass; to add to the reading.
OIV_ROWS: dict[float, tuple[float, ...]] = {
    5: (-0.82, -0.87, -0.92, -0.95, -0.99, _NAN, _NAN, _NAN, _NAN), 6: (-0.80, -0.82, -0.87, -0.90, -0.94, _NAN, _NAN, _NAN, _NAN),
    7: (-0.74, -0.78, -0.82, -0.84, -0.88, _NAN, _NAN, _NAN, _NAN), 9: (-0.64, -0.67, -0.71, -0.73, -0.75, _NAN, _NAN, _NAN, _NAN),
    10: (-0.59, -0.62, -0.65, -0.67, -0.69, -0.71, -0.72, -0.73, -0.74), 11: (-0.54, -0.57, -0.59, -0.61, -0.63, -0.64, -0.65, -0.66, -0.67),
    12: (-0.49, -0.51, -0.53, -0.55, -0.56, -0.57, -0.58, -0.59, -0.60), 13: (-0.43, -0.45, -0.47, -0.48, -0.50, -0.51, -0.52, -0.52, -0.53),
    15: (-0.32, -0.33, -0.34, -0.35, -0.36, -0.37, -0.37, -0.38, -0.38), 16: (-0.26, -0.27, -0.28, -0.28, -0.29, -0.30, -0.30, -0.30, -0.31),
    17: (-0.20, -0.20, -0.21, -0.21, -0.22, -0.22, -0.23, -0.23, -0.23)}
# Source: the physical column (see constants.PHYSICAL), columns 10–50 (45 between its neighbours).
PHYSICAL_ROWS: dict[float, tuple[float, ...]] = {
    20: (0.0,) * 9, 22: (0.14, 0.15, 0.15, 0.15, 0.15, 0.16, 0.16, 0.16, 0.16), 25: (0.37, 0.38, 0.39, 0.39, 0.40, 0.40, 0.40, 0.395, 0.39),
    26: (0.45, 0.46, 0.47, 0.48, 0.48, 0.48, 0.48, 0.48, 0.48), 30: (0.78, 0.80, 0.81, 0.82, 0.82, 0.82, 0.82, 0.815, 0.81),
    32: (0.96, 0.98, 0.99, 1.00, 1.00, 1.00, 1.00, 0.99, 0.98), 35: (1.24, 1.26, 1.27, 1.28, 1.28, 1.27, 1.27, 1.25, 1.23),
    40: (1.74, 1.75, 1.76, 1.76, 1.75, 1.75, 1.73, 1.705, 1.68)}
TEMPS = (*sorted(OIV_ROWS), *sorted(PHYSICAL_ROWS))
LAST_OIV_C = 17.0
TAGS = ("at_20", "oiv", "between", "physical", "outside", "atc", "atc_outside", "atc_unknown", "no_temp", "no_reading")


def _grid() -> np.ndarray:
    """[temperature, brix] with unprinted cold cells held at the last printed column (told by the tag *outside*)."""
    rows = np.array([(OIV_ROWS | PHYSICAL_ROWS)[t] for t in TEMPS])
    for row in rows:
        last = np.flatnonzero(np.isfinite(row))[-1]
        row[last + 1:] = row[last]
    return rows


GRID = _grid()


def table_correction(brix_deg: np.ndarray, temp_c: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(correction °Bx, sd °Bx, index into TAGS) of readings without ATC; bilinear, clamped to the tables' edges.

    Beyond 5–40 °C or 10–50 °Bx (10–30 below 10 °C) the edge value is used and the sd grows by
    ``PER_DEGREE_DEG`` per degree: a wider interval, not a guess.
    """
    b, t = np.clip(brix_deg, BRIX[0], BRIX[-1]), np.clip(temp_c, TEMPS[0], TEMPS[-1])
    i = np.clip(np.searchsorted(TEMPS, t, side="right") - 1, 0, len(TEMPS) - 2)
    j = np.clip(np.searchsorted(BRIX, b, side="right") - 1, 0, len(BRIX) - 2)
    temps, brix = np.array(TEMPS, float), np.array(BRIX, float)
    u, v = (t - temps[i]) / (temps[i + 1] - temps[i]), (b - brix[j]) / (brix[j + 1] - brix[j])
    value = (1 - u) * ((1 - v) * GRID[i, j] + v * GRID[i, j + 1]) + u * ((1 - v) * GRID[i + 1, j] + v * GRID[i + 1, j + 1])
    tag = np.select([temp_c == 20, temp_c <= LAST_OIV_C, temp_c < 20], [0, 1, 2], 3)
    sd = np.select([tag == 0, tag <= 2, temp_c <= 30], [0.0, float(k.OIV_SD_DEG) * 2, float(k.PHYSICAL_SD_DEG)], float(k.PHYSICAL_HOT_SD_DEG))
    beyond = np.maximum(temp_c - TEMPS[-1], 0) + np.maximum(TEMPS[0] - temp_c, 0)
    unprinted = (beyond > 0) | ((temp_c < 10) & (brix_deg > 30)) | ((brix_deg > BRIX[-1]) | (brix_deg < BRIX[0])) & (temp_c != 20)
    sd = np.where(unprinted, sd + 0.05 + float(k.PER_DEGREE_DEG) * beyond, sd)
    return np.where(temp_c == 20, 0.0, value), sd, np.where(unprinted, 4, tag)


def correct_many(raw_deg: np.ndarray, temp_c: np.ndarray, atc: np.ndarray, atc_low_c: np.ndarray, atc_high_c: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(°Bx at 20 °C, sd of the correction °Bx, index into TAGS) for arrays of one length.

    ``atc`` is 1 (compensates), 0 (does not) or NaN (not known); NaN temperatures and NaN ATC limits are
    taken as not noted (limits then 10–30 °C).
    """
    raw, temp, atc = (np.asarray(a, float) for a in (raw_deg, temp_c, atc))
    low = np.where(np.isfinite(atc_low_c), atc_low_c, float(k.ATC_LOW_C))
    high = np.where(np.isfinite(atc_high_c), atc_high_c, float(k.ATC_HIGH_C))
    known = np.isfinite(temp)
    add, sd, tag = table_correction(raw, np.where(known, temp, 20.0))
    spread = float(k.PER_DEGREE_DEG) * float(k.UNKNOWN_TEMP_SD_C)
    with_atc, unknown = atc == 1, ~np.isfinite(atc)
    inside = known & (temp >= low) & (temp <= high)
    off = np.where(known, np.maximum(temp - high, 0) + np.maximum(low - temp, 0), 0.0)
    value = np.where(with_atc | ~known, raw, np.where(unknown, raw + add / 2, raw + add))
    spread_all = np.select(
        [with_atc & (inside | ~known), with_atc, ~known, unknown],
        [float(k.ATC_SD_DEG), float(k.ATC_SD_DEG) + float(k.PER_DEGREE_DEG) * off, spread, np.hypot(np.abs(add) / 2, float(k.ATC_SD_DEG))], sd)
    spread_all = np.where(with_atc & ~known, 2 * float(k.ATC_SD_DEG), spread_all)
    named = np.select([with_atc & (inside | ~known), with_atc, ~known, unknown], [5, 6, 8, 7], tag)
    bad = ~np.isfinite(raw)
    return np.where(bad, np.nan, value), np.where(bad, np.nan, spread_all), np.where(bad, 9, named)


def correct(raw_deg: float, temp_c: float | None, atc: bool | None, atc_low_c: float | None = None, atc_high_c: float | None = None) -> tuple[float, float, str]:
    """One reading: (°Bx at 20 °C, sd °Bx, tag)."""
    number = lambda v: np.array([np.nan if v is None else float(v)])  # noqa: E731
    value, sd, tag = correct_many(number(raw_deg), number(temp_c), number(atc), number(atc_low_c), number(atc_high_c))
    return float(value[0]), float(sd[0]), TAGS[int(tag[0])]


def for_phone() -> dict:
    """The same table and numbers for the phone's own correction."""
    return {"brix": list(BRIX), "temps": list(TEMPS), "grid": [[round(float(v), 4) for v in row] for row in GRID], "last_printed_c": LAST_OIV_C,
            "atc_low_c": float(k.ATC_LOW_C), "atc_high_c": float(k.ATC_HIGH_C), "atc_sd": float(k.ATC_SD_DEG), "per_degree": float(k.PER_DEGREE_DEG),
            "unknown_temp_c": float(k.UNKNOWN_TEMP_SD_C), "printed_sd": float(k.OIV_SD_DEG) * 2, "physical_sd": float(k.PHYSICAL_SD_DEG), "hot_sd": float(k.PHYSICAL_HOT_SD_DEG)}
