"""What visits say of a plot's own level and pace, and what a drawn path of its °Brix says of them: for those who tie something else to them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import constants as k
from . import jumps, picked, rare, ripening, shock
from .readiness import Limits
from .ripening import Fit, Land, Posterior
from .visits import Visits

PLOTS_AT_ONCE = 400


@dataclass(frozen=True)
class Effects:
    """[P, 2] ``mean`` and [P, 2, 2] ``cov`` of (level °Bx, months ahead of its zone); ``sd`` [2] how plots differ in each; ``slope`` [P] f′ °Bx
    a month on the first day asked about; ``visited`` [P]. An age nobody noted is no pace: what it hides is not counted as the plot's own."""

    mean: np.ndarray
    cov: np.ndarray
    sd: np.ndarray
    slope: np.ndarray
    visited: np.ndarray


def _alike(f: Fit, post: Posterior) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(B [P, 2, M] covariance of level and pace with the visits, what the visits leave of them given the estate's coefficients [P, 2, 2], how they lean on these [P, 2, p])."""
    B = np.stack([f.sd("level") ** 2 * post.visits.mask, f.sd("pace") ** 2 * post.z * post.visits.mask], axis=1)
    own = np.diag([f.sd("level") ** 2, f.sd("pace") ** 2]) - B @ post.W @ B.transpose(0, 2, 1)
    return B, own, -(B @ post.T)


def effects(f: Fit, land: Land, visits: Visits, day: float) -> Effects:
    """Closed form from a stored fit, some plots at a time."""
    P = len(land.planted)
    mean, cov, slope = np.zeros((P, 2)), np.zeros((P, 2, 2)), np.zeros(P)
    for at in _parts(P):
        some, ground, seen = ripening.part(f, land, visits, at)
        post = ripening.posterior(some, seen, ground, some.about)
        B, own, lean = _alike(some, post)
        mean[at] = (B @ post.q[:, :, None])[:, :, 0]
        cov[at] = own + (lean @ f.cov) @ lean.transpose(0, 2, 1)
        slope[at] = ripening.ahead(some, post, np.array([day])).z[:, 0]
    return Effects(mean, cov, np.array([f.sd("level"), f.sd("pace")]), slope, visits.mask.any(axis=1))


def drawn(f: Fit, land: Land, visits: Visits, days: np.ndarray, paths: np.ndarray, rng: np.random.Generator, comes: np.ndarray) -> np.ndarray:
    """[n, P, 2] level and pace of each plot in joint draws whose °Brix [n, P, T] on a few ordinal ``days`` (of the standing plants, as
    ``ripeness.service`` draws it) is ``paths``: normal given the path, so that what all plots share moves them together. ``comes`` [n] in which draws what seldom comes to the whole estate does
    (``futures.rare_ones``): there a path far off says less of the plots' own."""
    n, P, _ = paths.shape
    out, noise = np.empty((n, P, 2)), rng.standard_normal((n, P, 2))
    apart = np.abs(days[:, None] - days[None, :]) / 7.0
    drift = f.sd("drift") ** 2 * np.exp(-apart / float(k.DRIFT_WEEKS))
    for at in _parts(P):
        some, ground, seen = ripening.part(f, land, visits, at)
        post = ripening.posterior(some, seen, ground, some.about)
        ahead = ripening.ahead(some, post, days)
        d = ripening.shared(some, post, ahead, np.arange(len(at)))
        B, own, lean = _alike(some, post)
        leant, cW = lean @ f.cov, ahead.c @ post.W
        with_path = np.stack([np.full(ahead.z.shape, f.sd("level") ** 2), f.sd("pace") ** 2 * ahead.z], axis=1) - B @ cW.transpose(0, 2, 1) + leant @ d.transpose(0, 2, 1)
        of_path = (f.sd("level") ** 2 + post.pace_var[:, None, None] * ahead.z[:, :, None] * ahead.z[:, None, :] + drift + jumps.between(ground.jump_day, ground.jump_var, days[None], days[None])
                   - cW @ ahead.c.transpose(0, 2, 1) + (d @ f.cov) @ d.transpose(0, 2, 1))
        of_path += 1e-9 * np.trace(of_path, axis1=1, axis2=2)[:, None, None] * np.eye(len(days)) + 1e-12 * np.eye(len(days))
        moved = shock.rare_along(d)
        rare_path = moved @ moved.transpose(0, 2, 1)
        sd = np.sqrt(ahead.var)
        most = ahead.mean - rare.lean(ahead.rare_part) * sd + ripening.plants_sd(some, ahead, ground) * picked.shift(ahead.taken)
        few = most + rare.lift(ahead.rare_part) * sd
        for times, ones, middle in ((-1.0, np.flatnonzero(~comes), most), (rare.spread() - 1, np.flatnonzero(comes), few)):
            gain = np.linalg.solve(of_path + times * rare_path, with_path.transpose(0, 2, 1)).transpose(0, 2, 1)
            rest = own + leant @ lean.transpose(0, 2, 1) - gain @ with_path.transpose(0, 2, 1)
            values, vectors = np.linalg.eigh((rest + rest.transpose(0, 2, 1)) / 2)
            root = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
            told = np.einsum("pet,npt->npe", gain, (paths[np.ix_(ones, at)] - middle) / ahead.wider)
            out[np.ix_(ones, at)] = (B @ post.q[:, :, None])[:, :, 0] + told + np.einsum("pef,npf->npe", root, noise[np.ix_(ones, at)])
    return out


@dataclass(frozen=True)
class Ends:
    """When plots reach the limit of what they may lose past their peak, in weeks from the day asked (below 0: past it), and the sd of that today and after a
    visit that day: the end follows the age, so what is not known of it is the plot's pace. [P]; never is infinite, its sds 0."""

    week: np.ndarray
    sd: np.ndarray
    after: np.ndarray

    def of(self, i: int) -> "Ends":
        return Ends(*(getattr(self, name)[i: i + 1] for name in ("week", "sd", "after")))


def ends(f: Fit, land: Land, visits: Visits, day: float, lim: Limits, plants: float) -> Ends:
    """Closed form: P − C²/(P₀ + noise of a visit), as of the mean, for the months a plot is ahead or behind; an age nobody noted counts with them."""
    P = len(land.planted)
    week, sd, after = np.full(P, np.inf), np.zeros(P), np.zeros(P)
    if not 0 < lim.loss_per_month < 1 or not 0 < lim.loss_limit < 1:
        return Ends(week, sd, after)
    months = lim.peak_age_months + float(np.log1p(-lim.loss_limit) / np.log1p(-lim.loss_per_month))
    for at in _parts(P):
        some, ground, seen = ripening.part(f, land, visits, at)
        post = ripening.posterior(some, seen, ground, some.about)
        out = ripening.ahead(some, post, np.array([day]))
        d = ripening.shared(some, post, out, np.arange(len(at)))[:, 0]
        B = (post.pace_var[:, None] * post.z * seen.mask)[:, None]
        lean = -(B @ post.T)[:, 0]
        own = post.pace_var - ((B @ post.W) * B).sum(axis=(1, 2)) + ((lean @ f.cov) * lean).sum(axis=1)
        says = post.pace_var * out.z[:, 0] - ((B @ post.W) * out.c[:, :1]).sum(axis=(1, 2)) + ((lean @ f.cov) * d).sum(axis=1)
        read = out.var[:, 0] / out.wider[:, 0] ** 2 + ripening.visit_noise(some, out.age[:, 0], np.full(len(at), float(plants)))
        weeks = ripening.DAYS_PER_MONTH / 7.0 * out.wider[:, 0]
        week[at] = (months - out.age[:, 0]) * ripening.DAYS_PER_MONTH / 7.0
        sd[at], after[at] = weeks * np.sqrt(np.maximum(own, 0.0)), weeks * np.sqrt(np.maximum(own - says**2 / read, 0.0))
    return Ends(week, sd, after)


def _parts(P: int) -> list[np.ndarray]:
    return [np.arange(first, min(first + PLOTS_AT_ONCE, P)) for first in range(0, P, PLOTS_AT_ONCE)]
