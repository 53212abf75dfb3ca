"""How sure a fit is of its standard deviations: intervals from the information of the penalised REML, and which of them stand at the edge.

The criterion is −2 log of the posterior of φ = log sd, so half its curvature at the estimate is the information; intervals are
normal in φ and so never reach below nought (Pinheiro & Bates 2000, Mixed-Effects Models in S and S-PLUS, §2.4.3: approximate
intervals of standard deviations on the log scale). They are what the forecasts are widened by (``estimate.doubt``), no
narrower and no wider.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from . import constants as k
from . import ripening, shock, spread, terms
from .estimate import LOG_TINY, Grouped, by_size, evaluate
from .falling_back import AGAIN, HELD, SOUGHT_ALONE
from .fitting import SAMPLE_PLOTS
from .ripening import COMPONENTS, Fit, Land
from .visits import Visits

STEP = 0.05
SILENT = 0.85
"""When the interval is still so large a part of the prior's, the data have said next to nothing."""


@dataclass(frozen=True)
class Sure:
    """``log_sd`` of the standard deviation's logarithm (None where it was held, not sought); ``edge``: the data by themselves would not have it
    differ from nought, the prior alone keeps it up; ``silent``: the data have hardly moved the prior."""

    log_sd: float | None
    edge: bool = False
    silent: bool = False

    def interval(self, value: float, z: float) -> tuple[float | None, float | None]:
        """Of ``value``, central, by z; (None, None) where nothing was sought."""
        if self.log_sd is None:
            return None, None
        return value * float(np.exp(-z * self.log_sd)), value * float(np.exp(z * self.log_sd))


def of_fit(f: Fit, visits: Visits, land: Land) -> dict[str, Sure]:
    """Every standard deviation of a stored fit. Where it was sought on a sample of the plots, so is this."""
    if not visits.mask.any():
        return {name: Sure(float(k.SD_PRIORS[name][1]), silent=True) for name in COMPONENTS}
    sought = [name in SOUGHT_ALONE if f.step == HELD else f.step <= AGAIN for name in COMPONENTS]
    data = criterion(f, visits, land)
    phi = np.log(np.maximum(f.sds, np.exp(LOG_TINY)))
    free = np.flatnonzero(np.array(sought) & (phi > LOG_TINY + 1e-3))
    log_sds = dict(zip(free.tolist(), spread_of(data, phi, free).tolist()))
    edges = edges_of(data, phi)
    out = {}
    for i, name in enumerate(COMPONENTS):
        log_sd, edge = log_sds.get(i), bool(sought[i] and (i not in log_sds or edges[i]))
        out[name] = Sure(log_sd, edge, log_sd is not None and log_sd >= SILENT * k.SD_PRIORS[name][1])
    return out


def criterion(f: Fit, visits: Visits, land: Land) -> Grouped:
    """The data of the fit's last round, as ``fitting`` had them, from what is stored of it."""
    visited = np.flatnonzero(visits.mask.any(axis=1))
    if len(visited) > 1.3 * SAMPLE_PLOTS:
        f, land, visits = ripening.part(f, land, visits, np.sort(np.random.default_rng(7).choice(visited, SAMPLE_PLOTS, replace=False)))
    omega, pooled = terms.prior(len(land.zones), len(f.past))
    along = shock.along(visits.day, f.past) @ shock.root(f.past)
    y, X, z = ripening.rows(visits, land, f.about + f.zone_about[land.zone], f.slope_theta, f.peak_months, along)
    freedom = float(np.where(visits.mask, visits.n - 1, 0).clip(0).sum())
    squares = float((visits.squares_in / spread.relative(ripening.ages(visits, land), f.spread_slope))[visits.mask].sum())
    return Grouped(y, X, visits.mask, ripening.blocks(visits, land, z, f.spread_slope), visits.own_var, omega, pooled, (COMPONENTS.index("plant"), freedom, squares),
                   tuple(k.SD_PRIORS[n] for n in COMPONENTS), ripening.known_block(visits, land, z))


def spread_of(data: Grouped, phi: np.ndarray, free: np.ndarray) -> np.ndarray:
    """[len(free)] sd of each φ: the information by differencing the gradient, flat or saddle directions held to a log-sd of 1."""
    H, batches = np.zeros((len(free), len(free))), by_size(data)
    for column, i in enumerate(free):
        up, down = phi.copy(), phi.copy()
        up[i], down[i] = phi[i] + STEP, phi[i] - STEP
        H[:, column] = (evaluate(data, up, batches)[1] - evaluate(data, down, batches)[1])[free] / (2 * STEP)
    values, vectors = np.linalg.eigh((H + H.T) / 4)
    return np.sqrt(((vectors**2) / np.maximum(values, 1.0)).sum(axis=1))


def edges_of(data: Grouped, phi: np.ndarray) -> np.ndarray:
    """[K + pooled] whether the likelihood without the priors is no lower with this one at nought, all others as they are."""
    alone = replace(data, priors=())
    batches = by_size(alone)
    here = evaluate(alone, phi, batches, slopes=False)[0]
    out = np.zeros(len(phi), bool)
    for i in range(len(phi)):
        gone = phi.copy()
        gone[i] = LOG_TINY
        out[i] = evaluate(alone, gone, batches, slopes=False)[0] <= here
    return out
