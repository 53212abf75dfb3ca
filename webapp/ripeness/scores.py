"""Scores of forecasts: CRPS, interval score, coverage (Gneiting & Raftery 2007, JASA 102:359–378)."""

from __future__ import annotations

import numpy as np


def crps_normal(mean: np.ndarray, sd: np.ndarray, seen: np.ndarray) -> np.ndarray:
    """Continuous ranked probability score of a normal forecast, in the unit of ``seen``; smaller is better."""
    from scipy.special import ndtr

    z = (np.asarray(seen, float) - mean) / sd
    return sd * (z * (2 * ndtr(z) - 1) + np.sqrt(2 / np.pi) * np.exp(-(z**2) / 2) - 1 / np.sqrt(np.pi))


def crps_draws(draws: np.ndarray, seen: float) -> float:
    """CRPS of an ensemble in its energy form: E|x − y| − ½ E|x − x'|."""
    x = np.asarray(draws, float)
    return float(np.abs(x - seen).mean() - 0.5 * np.abs(x[:, None] - x[None, :]).mean())


def interval_score(low: np.ndarray, high: np.ndarray, seen: np.ndarray, alpha: float) -> np.ndarray:
    """Width plus 2/α times what falls outside a central (1 − α) interval."""
    return (high - low) + 2 / alpha * (np.maximum(low - seen, 0) + np.maximum(seen - high, 0))


def coverage(low: np.ndarray, high: np.ndarray, seen: np.ndarray) -> float:
    return float(((seen >= low) & (seen <= high)).mean())
