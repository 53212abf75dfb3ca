"""Joint draws of all plots' means: what they share is drawn once, each plot's own apart (``ripening`` has the model)."""

from __future__ import annotations

import numpy as np

from . import constants as k
from . import jumps, rare, shock
from .ripening import Fit, Outlook, Posterior, shared


def draws(f: Fit, post: Posterior, out: Outlook, n: int, seed: int) -> np.ndarray:
    """[n, P, T] float32 joint draws of the plot means: the estate's coefficients drawn once for all plots.

    What seldom comes to the whole estate comes in as many of the draws as its chance says, to the next whole one, spread evenly over them.
    """
    comes = rare_ones(n, seed)
    common = _coefficients(f, comes, np.random.default_rng([seed, 1]))
    P, T = out.mean.shape
    result = np.empty((n, P, T), np.float32)
    gap = np.abs(out.days[:, None] - out.days[None, :]) / 7.0
    drift = f.sd("drift") ** 2 * np.exp(-gap / float(k.DRIFT_WEEKS))
    own = np.random.default_rng([seed, 2])
    for p in range(P):  # one [T, T] factor at a time keeps memory flat
        z, moved = out.z[p], jumps.between(post.land.jump_day, post.land.jump_var, out.days[None], out.days[None], p)
        K = f.sd("level") ** 2 + post.pace_var[p] * np.outer(z, z) + drift + moved - out.c[p] @ post.W[p] @ out.c[p].T
        values, vectors = np.linalg.eigh(K)
        keep = values > 1e-8 * max(values[-1], 1e-12)
        factor = (vectors[:, keep] * np.sqrt(values[keep])).astype(np.float32)
        noise = own.standard_normal((n, len(values)), dtype=np.float32)[:, : factor.shape[1]]
        sd = np.sqrt(out.var[p])
        result[:, p] = (out.mean[p] - rare.lean(out.rare_part[p]) * sd).astype(np.float32) + (noise @ factor.T + common @ shared(f, post, out, np.array([p]))[0].astype(np.float32).T) * out.wider[p].astype(np.float32)
        result[comes, p] += (rare.lift(out.rare_part[p]) * sd).astype(np.float32)
    return result


def rare_ones(n: int, seed: int) -> np.ndarray:
    """[n] in which of the draws of a seed the rare thing comes."""
    return np.diff(np.floor(np.arange(n + 1) * rare.chance() + np.random.default_rng([seed, 3]).random())) > 0


def _coefficients(f: Fit, comes: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """[n, p] float32 draws of the estate's coefficients about θ; ``comes`` [n] where the rare thing does."""
    ahead, own = len(shock.AHEAD_DAYS), shock.rare_root()
    usual = f.cov.copy()
    usual[-ahead:, -ahead:] -= own @ own.T
    common = rng.standard_normal((len(comes), len(f.theta))) @ np.linalg.cholesky(usual + 1e-8 * np.eye(len(usual))).T
    common[comes, -ahead:] += rng.standard_normal((int(comes.sum()), ahead)) @ own.T * np.sqrt(rare.spread())
    return common.astype(np.float32)
