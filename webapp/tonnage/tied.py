"""Piñas when something beside weighings and loads speaks of a plot's own effect: its posterior given that, from what an answer stores.

    δ_i | b_i ~ N(b_i, σ_δ²(1 − R²) + what else is not known of the plot)      in place of N(0, σ_δ² + …)

The weighings of a plot, taken together, are one observation m_i of its effect: m_i = δ_i + x_i′θ + ε, Var ε = 1/A_i (``weighed``). So a stored
posterior can be taken apart and put together again under another prior, the estate's coefficients θ included.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Mapping

import numpy as np

from .pina import Growth


@dataclass(frozen=True)
class Weighed:
    """What weighings and loads say of the standing plots: ``seen`` [J] their places, ``m`` log kg, ``x`` [J, Q], ``var`` of ε; ``rest_var`` [P] prior variance
    beside that of the effect (an unknown age); ``theta`` [Q] with ``precision`` as fitted; ``plot_sd`` of the effects; ``widened`` by past errors."""

    seen: np.ndarray
    m: np.ndarray
    x: np.ndarray
    var: np.ndarray
    rest_var: np.ndarray
    theta: np.ndarray
    precision: np.ndarray
    plot_sd: float
    widened: float


@dataclass(frozen=True)
class Told:
    """What else says of the effects in joint draws [n, P] (log), and the share of their variance that it explains."""

    effect: np.ndarray
    explained: float


LEAST_TOLD = 1e-6


def weighed(g: Mapping[str, np.ndarray]) -> Weighed | None:
    """From a stored answer; None from one of before this was stored."""
    if "g_rest_var" not in g:
        return None
    widened, plot_sd = float(g["g_widened"]), float(g["g_plot_sd"])
    before, after = plot_sd**2 + g["g_rest_var"], (g["g_effect_sd"] / widened) ** 2
    told = 1 - after / np.maximum(before, 1e-300)
    seen = np.flatnonzero(told > LEAST_TOLD)
    c, gain = after[seen], told[seen]
    x = -g["g_lean"][seen] / gain[:, None]
    cov = g["g_cov"] / widened**2
    return Weighed(seen, g["g_effect"][seen] / gain + x @ g["g_theta"], x, c / gain, g["g_rest_var"], g["g_theta"], np.linalg.inv(cov), plot_sd, widened)


def conditional(g: Growth, w: Weighed, told: Told) -> tuple[Growth, np.ndarray, np.ndarray]:
    """(growth of draws in which nothing is told, shift of θ [n, Q], shift of the effects [n, P]): together the joint draws given what is told."""
    before, now = w.plot_sd**2 + w.rest_var, w.plot_sd**2 * (1 - told.explained) + w.rest_var
    was, becomes = 1 / (before[w.seen] + w.var), 1 / (now[w.seen] + w.var)
    precision = w.precision + (w.x * (becomes - was)[:, None]).T @ w.x
    cov = np.linalg.inv(precision)
    cov = (cov + cov.T) / 2
    theta = cov @ (w.precision @ w.theta + w.x.T @ (w.m * (becomes - was)))
    moved = -(told.effect[:, w.seen] * becomes) @ w.x @ cov
    effect, lean, left, own = np.zeros(len(before)), np.zeros((len(before), len(theta))), now.copy(), np.array(told.effect, float)
    gain = now[w.seen] * becomes
    effect[w.seen], lean[w.seen], left[w.seen] = gain * (w.m - w.x @ theta), -gain[:, None] * w.x, now[w.seen] * w.var * becomes
    own[:, w.seen] *= 1 - gain
    return replace(g, theta=theta, cov=cov * w.widened**2, effect=effect, effect_sd=np.sqrt(left) * w.widened, lean=lean), moved, own
