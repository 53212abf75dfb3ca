"""Scores of forecasts: CRPS, interval score, coverage (Gneiting & Raftery 2007, JASA 102:359–378)."""

from __future__ import annotations

import numpy as np

from . import rare


def crps_normal(mean: np.ndarray, sd: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """Continuous ranked probability score of a normal forecast, in the unit of ``seen``; smaller is better."""
    from scipy.special import ndtr

    z = (np.asarray(seen, float) - mean) / sd
    return sd * (z * (2 * ndtr(z) - 1) + np.sqrt(2 / np.pi) * np.exp(-(z**2) / 2) - 1 / np.sqrt(np.pi))


def crps_rare(mean: np.ndarray, sd: np.ndarray, part: np.ndarray | float, seen: np.ndarray, of: rare.Kind | None = None) -> np.ndarray:
    """The same of a forecast with a rare part (``rare``): E|x − y| − ½ E|x − x'| of a mixture of two normals (Grimit et al. 2006, QJRMS 132:2925, eq. 5)."""
    if not np.any(part):
        return crps_normal(mean, sd, seen)
    usual, wide = (width * sd for width in rare.widths(part, of))
    off, often, higher = np.asarray(seen, float) - mean + rare.lean(part, of) * sd, (of or rare.kind()).chance, rare.lift(part, of) * sd
    away = (1 - often) * _mean_size(off, usual) + often * _mean_size(off - higher, wide)
    between = (1 - often) ** 2 * _mean_size(0.0, np.sqrt(2) * usual) + 2 * often * (1 - often) * _mean_size(higher, np.hypot(usual, wide)) + often**2 * _mean_size(0.0, np.sqrt(2) * wide)
    return away - between / 2


def _mean_size(mean: np.ndarray | float, sd: np.ndarray) -> np.ndarray:
    """E|X| of a normal."""
    from scipy.special import ndtr

    z = mean / sd
    return sd * np.sqrt(2 / np.pi) * np.exp(-(z**2) / 2) + mean * (2 * ndtr(z) - 1)


def crps_draws(draws: np.ndarray, seen: float) -> float:
    """CRPS of an ensemble in its energy form: E|x − y| − ½ E|x − x'|."""
    x = np.asarray(draws, float)
    return float(np.abs(x - seen).mean() - 0.5 * np.abs(x[:, None] - x[None, :]).mean())


def interval_score(low: np.ndarray, high: np.ndarray, seen: np.ndarray, alpha: float) -> np.ndarray:
    """Width plus 2/α times what falls outside a central (1 − α) interval."""
    return (high - low) + 2 / alpha * (np.maximum(low - seen, 0) + np.maximum(seen - high, 0))


def coverage(low: np.ndarray, high: np.ndarray, seen: np.ndarray) -> float:
    return float(((seen >= low) & (seen <= high)).mean())
