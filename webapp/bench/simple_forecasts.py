"""What people do instead, as fairly as it can be done: the last mean moved along a pooled curve, and a mixed model of the textbooks."""

from __future__ import annotations

import numpy as np

from .true_laws import CUT_DAY, DAYS_PER_MONTH, HORIZONS, Estate


def visit_means(e: Estate) -> tuple[np.ndarray, ...]:
    """(plot, day, mean °Bx, plants) of the visits before the cut, by plot and day."""
    n = np.bincount(e.visit, minlength=e.visit.max(initial=-1) + 1)
    mean = np.bincount(e.visit, e.brix_deg) / np.maximum(n, 1)
    first = np.unique(e.visit, return_index=True)[1]
    plot, day = e.plot[first], e.day[first]
    order = np.lexsort((day, plot))
    return plot[order], day[order], mean[order], n[order]


def _rows(age: np.ndarray, day: np.ndarray) -> np.ndarray:
    turn = 2 * np.pi * (day % 365.2425) / 365.2425
    return np.stack([np.ones_like(age), age, age**2, age**3, np.sin(turn), np.cos(turn), np.sin(2 * turn), np.cos(2 * turn)], axis=-1)


def last_mean_moved(e: Estate) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) [P, 4] of the hidden visits: the plot's last visit moved by a curve of age and season pooled over the estate.

    A plot without visits gets the pooled curve. The sd is what the same rule's errors were inside the estate: from each
    visit to the plot's later ones, by the same classes of weeks between; for plots without visits the curve's own.
    """
    plot, day, mean, _ = visit_means(e)
    age = (day - e.planted[plot]) / DAYS_PER_MONTH
    beta = np.linalg.lstsq(_rows(age, day.astype(float)), mean, rcond=None)[0]
    off = mean - _rows(age, day.astype(float)) @ beta
    first, second = _pairs(plot)
    gap, error = (day[second] - day[first]) / 7.0, off[second] - off[first]
    last = np.full(len(e.planted), -1)
    last[plot] = np.arange(len(plot))  # sorted by day within a plot
    when = CUT_DAY + 7.0 * e.week
    guess = _rows((when - e.planted[:, None]) / DAYS_PER_MONTH, when) @ beta + np.where(last >= 0, off[last], 0.0)[:, None]
    sd = np.empty(e.week.shape)
    for h, (low, high) in enumerate(HORIZONS.values()):
        inside = (gap >= low) & (gap <= high)
        sd[:, h] = np.sqrt(np.mean((error[inside] if inside.sum() >= 30 else error) ** 2))
    sd[last < 0] = off.std()
    return guess, sd


def _pairs(plot: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Every visit with every later one of its plot."""
    first, second = [], []
    for i in np.unique(plot):
        at = np.flatnonzero(plot == i)
        a, b = np.triu_indices(len(at), 1)
        first.append(at[a])
        second.append(at[b])
    return np.concatenate(first), np.concatenate(second)


def mixed_model(e: Estate) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) [P, 4] by statsmodels MixedLM on the visits' means: age to the third power, two harmonics and zone fixed, plot random.

    The sd adds the plot's posterior, the fixed effects' covariance and the residual of one visit.
    """
    import warnings

    import statsmodels.api as sm

    plot, day, mean, _ = visit_means(e)
    zones = np.eye(e.zone.max() + 1)[:, 1:]

    def X(at: np.ndarray, when: np.ndarray) -> np.ndarray:
        age = (when - e.planted[at]) / DAYS_PER_MONTH / 60
        return np.concatenate([_rows(age, when), zones[e.zone[at]]], axis=-1)

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = sm.MixedLM(mean, X(plot, day.astype(float)), groups=plot).fit(reml=True)
    plot_var, rest = float(np.asarray(found.cov_re)[0, 0]), float(found.scale)
    fixed = np.asarray(found.fe_params)
    k = len(fixed)
    cov = np.asarray(found.cov_params())[:k, :k]
    effect, var = np.zeros(len(e.planted)), np.full(len(e.planted), plot_var)
    for i, value in found.random_effects.items():
        effect[i] = float(np.asarray(value)[0])
        n = int((plot == i).sum())
        var[i] = plot_var * rest / max(rest + n * plot_var, 1e-12)
    when = CUT_DAY + 7.0 * e.week
    x = X(np.broadcast_to(np.arange(len(e.planted))[:, None], when.shape), when)
    return x @ fixed + effect[:, None], np.sqrt(np.maximum(var[:, None] + rest + ((x @ cov) * x).sum(axis=-1), 1e-6))
