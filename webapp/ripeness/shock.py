"""What moves the whole estate at once beside the season (a drought, a wet year): a process in calendar time with memory.

g(t) is linear between knots a quarter apart; at the knots it is Ornstein–Uhlenbeck with sd τ: corr = exp(−|Δt|/λ)
(Uhlenbeck & Ornstein 1930, Physical Review 36:823). The estate is fitted on the knots up to its day; those to
come follow in closed form from the last one, since the process has no other memory.
"""

from __future__ import annotations

import numpy as np

from . import constants as k

STEP_DAYS, MOST_PAST = 91.0, 64
AHEAD_DAYS = np.concatenate([91.0 * np.arange(1, 9), 728.0 + 182.0 * np.arange(1, 27)])
"""Knots after the fit's day: quarters for two years, then half years for thirteen more."""


def past_knots(first_day: float, today: float) -> np.ndarray:
    """[K] knots from before the first visit to the fit's day, both included (K = 1 without visits)."""
    back = int(np.clip(np.ceil((today - first_day) / STEP_DAYS), 0, MOST_PAST - 1))
    return today - STEP_DAYS * np.arange(back, -1, -1)


def knots(past: np.ndarray) -> np.ndarray:
    """Those knots and the ones to come."""
    return np.concatenate([past, past[-1] + AHEAD_DAYS])


def beyond(past: np.ndarray, day: float) -> int:
    """How many of the last knots weigh nothing up to a day."""
    at = knots(past)
    return max(len(at) - int(np.searchsorted(at, day)) - 1, 0)


def along(days: np.ndarray, at: np.ndarray) -> np.ndarray:
    """[..., K] weights that interpolate between the knots ``at``; held constant beyond both ends."""
    days = np.asarray(days, float)
    out = np.zeros((*days.shape, len(at)))
    if len(at) == 1:
        out[..., 0] = 1.0
        return out
    low = np.clip(np.searchsorted(at, days, side="right") - 1, 0, len(at) - 2)
    up = np.clip((days - at[low]) / (at[low + 1] - at[low]), 0.0, 1.0)
    np.put_along_axis(out, low[..., None], (1 - up)[..., None], axis=-1)
    np.put_along_axis(out, low[..., None] + 1, up[..., None], axis=-1)
    return out


def correlation(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return np.exp(-np.abs(one[:, None] - other[None, :]) / 7.0 / float(k.SHOCK_WEEKS))


def root(past: np.ndarray) -> np.ndarray:
    """[K, K] lower root of the knots' correlation: knots = root · independent ones of sd τ."""
    return np.linalg.cholesky(correlation(past, past) + 1e-9 * np.eye(len(past)))


def extend(theta: np.ndarray, cov: np.ndarray, at: np.ndarray, sd: float, past: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients and covariance with the independent ones at ``at`` (the last of θ) turned into all knots, those to come included.

    g_ahead | g_last = ρ g_last + N(0, (τ² + τ₀²)(R − ρρ')), ρ = exp(−Δt/λ), τ₀ what a few quiet years cannot rule out: it comes seldom and then
    is large (:func:`rare_root`, ``rare``).
    """
    before, K, F = len(theta) - len(past), len(past), len(AHEAD_DAYS)
    assert at[0] == before and at[-1] == len(theta) - 1
    turn = np.zeros((before + K + F, len(theta)))
    turn[:before, :before] = np.eye(before)
    turn[before: before + K, before:] = root(past)
    fade = _fade()
    turn[before + K:] = fade[:, None] * turn[before + K - 1]
    out = turn @ cov @ turn.T
    out[before + K:, before + K:] += (sd**2 + float(k.SHOCK_AHEAD_DEG) ** 2) * _innovations()
    return turn @ theta, (out + out.T) / 2


def rare_var(past: np.ndarray, days: np.ndarray) -> np.ndarray:
    """[T] °Bx²: the part of the variance of any plot's mean on ordinal ``days`` that the rare thing to come makes; 0 up to the fit's day."""
    weight = along(np.asarray(days, float), knots(past))[:, len(past):]
    return float(k.SHOCK_AHEAD_DEG) ** 2 * ((weight @ _innovations()) * weight).sum(axis=1)


def rare_root() -> np.ndarray:
    """[F, F] lower root of what the rare thing adds to the covariance of the knots to come, over all futures."""
    return float(k.SHOCK_AHEAD_DEG) * np.linalg.cholesky(_innovations() + 1e-9 * np.eye(len(AHEAD_DAYS)))


def rare_along(along_coefficients: np.ndarray) -> np.ndarray:
    """[..., F] how independent parts of the rare thing move what leans on all coefficients by the given weights [..., p] (its last are the knots to come)."""
    return along_coefficients[..., -len(AHEAD_DAYS):] @ rare_root()


def _fade() -> np.ndarray:
    return np.exp(-AHEAD_DAYS / 7.0 / float(k.SHOCK_WEEKS))


def _innovations() -> np.ndarray:
    """[F, F] covariance of the knots to come given the last one, per variance."""
    return correlation(AHEAD_DAYS, AHEAD_DAYS) - np.outer(_fade(), _fade())
