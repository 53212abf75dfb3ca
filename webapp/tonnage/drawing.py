"""Joint draws of plants and piñas from what an answer stores: what all plots share is drawn once for all of them."""

from __future__ import annotations

from typing import Mapping

import numpy as np

from . import accounting, pina, tied
from . import constants as k
from .bolting import Bolting
from .reckoning import Found

STREAM, SAME_YEARS = 7, 0.05


def stored(f: Found) -> dict[str, np.ndarray]:
    """What :func:`draw` needs of an answer."""
    g, of = f.growth, lambda name: np.array([getattr(a, name) for a in f.accounts], float)  # noqa: E731
    b = f.losses.bolting
    return {"plants": of("standing"), "plants_sd": of("sd"), "since_years": of("since_count_years"), "rate": of("rate"), "rate_sd": of("rate_sd"), "rate_with": of("rate_with"), "now_age": f.now_age,
            "mortality": np.array([f.losses.mortality, f.losses.mortality_sd, f.losses.rate_sd]), "bolting": np.array([b.level, b.log_sd, b.lost_share]), "g_theta": g.theta, "g_cov": g.cov,
            "g_effect": g.effect, "g_effect_sd": g.effect_sd, "g_lean": g.lean, "g_lag": g.lag, "g_share": g.share, "g_extra": g.extra,
            "g_curve": np.array([g.curve.asymptote_kg, g.curve.shape, g.curve.rate_per_year, g.curve.peak_years, g.curve.fall_per_year]), "g_plot_sd": np.array(g.plot_sd), "g_plot_log_sd": np.array(f.sds.plot_log_sd),
            "g_rest_var": f.equations.plot_var[f.at], "g_widened": np.array(f.widened)}


def draw(g: Mapping[str, np.ndarray], ahead_years: np.ndarray, n: int, seed: int, told: tied.Told | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(plants [n, P, T], piña kg [n, P, T]) after ``ahead_years`` [T] ≥ 0 if nothing is cut; the same seed gives the same draws.
    ``told`` what else speaks of the plots' piñas in these draws."""
    rng, ahead = np.random.default_rng([seed, STREAM]), ahead_years
    growth = pina.Growth(g["g_theta"], g["g_cov"], g["g_effect"], g["g_effect_sd"], g["g_lean"], float(g["g_plot_sd"]), pina.Curve(*map(float, g["g_curve"])), g["g_lag"], g["g_share"], g["g_extra"])
    shifts, weighed = None, tied.weighed(g) if told is not None else None
    if told is not None and weighed is not None:
        growth, *shifts = tied.conditional(growth, weighed, told)
    kg = pina.draw_kg(growth, g["now_age"][:, None] + ahead[None, :], ahead, n, rng, shifts)
    m, m_sd, rate_sd = map(float, g["mortality"])
    losses = accounting.Losses(m, m_sd, rate_sd, Bolting(*map(float, g["bolting"])))
    estate, luck, own, papers = (rng.standard_normal(shape).astype(np.float32) for shape in ((n, 1, 1), (n, 1, 1), (3, n, len(g["plants"]), 1), (n, 1, 1)))
    whole = (g["plants_sd"] / np.maximum(g["plants"], 1.0))[None, :, None]
    few = whole[0, :, 0] > float(k.FEW_LEFT)
    uncounted = (np.abs(g["now_age"] - g["since_years"]) < SAME_YEARS)[None, :, None]
    alike = np.where(uncounted, np.minimum(float(k.PLANTED_ALIKE_SD), 0.7 * whole), 0.0)  # without it the sum over many uncounted plots is too sure
    rel = np.sqrt(whole**2 - alike**2)
    lean = np.where(rel > 0, g["rate_with"][None, :, None] / np.maximum(rel, 1e-9), 0.0)  # what is not known of the plants says what is not known of their rate
    rate = lean * own[0] + np.sqrt(np.maximum(g["rate_sd"][None, :, None] ** 2 - lean**2, 0.0)) * own[1]
    bolted = losses.bolting.lost(g["now_age"][:, None] + ahead[None, :]) - losses.bolting.lost(g["now_age"])[:, None]
    moved = (np.where(few[None, :, None], 0.0, rel * own[0]) + alike * papers - estate * m_sd * g["since_years"][None, :, None]).astype(np.float32) + (-rate - estate * m_sd).astype(np.float32) * ahead.astype(np.float32)
    moved += own[2] * (float(k.PLOT_LOSS_SD) * np.sqrt(ahead)).astype(np.float32)
    moved -= luck * (losses.bolting.log_sd * bolted[None]).astype(np.float32)
    plants = np.exp(moved, out=moved)
    plants *= accounting.left(np.maximum(g["plants"], 1e-6), g["rate"], g["now_age"], ahead, losses)[None].astype(np.float32)
    if few.any():  # almost all is cut or lost: what may stand is normal about it, and not below nought
        plants[:, few] *= np.maximum(1 + (g["plants_sd"][few] / np.maximum(g["plants"][few], 1e-6))[None, :, None] * own[0][:, few], 0.0)
    return plants, kg
