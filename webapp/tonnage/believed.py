"""What an estate's weighings, loads and counts say of piñas and losses, beside what was believed before them."""

from __future__ import annotations

import numpy as np

from ..quantity import Belief
from . import pina

Z80 = 1.2815515655446004
AGES_YEARS = (4, 6, 8)


def beliefs(theta: np.ndarray, cov: np.ndarray, plot_sd: float, curve: pina.Curve, prior_sd: float, mortality: tuple[float, float], usual: tuple[float, float], plot_log_sd: float | None = None) -> list[Belief]:
    """The estate's mean piña at a few ages (kg), how plots differ (sd of the log), plants lost a year (share); intervals at 80 %."""
    (usual_theta, precision), out = pina.prior(curve), []
    before = np.linalg.inv(precision)
    for age in AGES_YEARS:
        x = pina.rows(pina.of_age(np.array(float(age)), curve), np.array(0.0), np.zeros(len(pina.EXTRAS)))
        usual_kg = float(pina.gompertz_kg(np.array(float(age)), curve))
        prior, now = (usual_kg * float(np.exp(x @ t)) for t in (usual_theta, theta))
        wide, narrow = (float(np.exp(Z80 * np.sqrt(x @ c @ x))) for c in (before, cov))
        out.append(Belief("pina", "kg", prior, prior / wide, prior * wide, now, now / narrow, now * narrow, {"age": age}))
    out.append(Belief("pina_plots", "1 (log)", 0.6 * prior_sd, 0.6 * prior_sd * float(np.exp(-Z80 * 0.7)), 0.6 * prior_sd * float(np.exp(Z80 * 0.7)), plot_sd, *_about(plot_sd, plot_log_sd)))
    (prior, prior_sd), (now, sd) = usual, mortality
    out.append(Belief("mortality", "share per year", prior, max(prior - Z80 * prior_sd, 0.0), prior + Z80 * prior_sd, now, max(now - Z80 * sd, 0.0), now + Z80 * sd))
    return out


def _about(plot_sd: float, log_sd: float | None) -> tuple[float | None, float | None]:
    """The interval of a standard deviation given as the root of its mean variance: normal on the log scale about its mode (``weighed.spreads``)."""
    if log_sd is None:
        return None, None
    mode = plot_sd * float(np.exp(-(log_sd**2)))
    return mode * float(np.exp(-Z80 * log_sd)), mode * float(np.exp(Z80 * log_sd))
