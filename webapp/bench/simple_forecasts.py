"""What people do instead, as fairly as it can be done: the last mean moved along a pooled curve, and a mixed model of the textbooks."""

from __future__ import annotations

import numpy as np

from ..ripeness import plain_rules
from .true_laws import CUT_DAY, DAYS_PER_MONTH, HORIZONS, Estate


def visit_means(e: Estate) -> tuple[np.ndarray, ...]:
    """(plot, day, mean °Bx, plants) of the visits before the cut, by plot and day."""
    n = np.bincount(e.visit, minlength=e.visit.max(initial=-1) + 1)
    mean = np.bincount(e.visit, e.brix_deg) / np.maximum(n, 1)
    first = np.unique(e.visit, return_index=True)[1]
    plot, day = e.plot[first], e.day[first]
    order = np.lexsort((day, plot))
    return plot[order], day[order], mean[order], n[order]


def last_mean_moved(e: Estate) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) [P, 4] of the hidden visits: the plot's last visit moved by a curve of age and season pooled over the estate.

    A plot without visits gets the pooled curve. The sd is what the same rule's errors were inside the estate: from each
    visit to the plot's later ones, by the same classes of weeks between; for plots without visits the curve's own.
    """
    plot, day, mean, _ = visit_means(e)
    age = (day - e.planted[plot]) / DAYS_PER_MONTH
    beta = plain_rules.pooled_curve(age, day, mean)
    when = CUT_DAY + 7.0 * e.week
    ahead = plain_rules.age_and_season((when - e.planted[:, None]) / DAYS_PER_MONTH, when) @ beta
    want, kind = np.broadcast_to(np.arange(len(e.planted))[:, None], when.shape), np.broadcast_to(np.arange(when.shape[1]), when.shape)
    earlier = plain_rules.Earlier(plot, day, mean, plain_rules.age_and_season(age, day.astype(float)) @ beta)
    return plain_rules.carried(earlier, want, ahead, kind, len(e.planted), tuple(HORIZONS.values()))


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
        return np.concatenate([plain_rules.age_and_season(age, when), zones[e.zone[at]]], axis=-1)

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
