"""What anybody could know of an estate of ``true_laws`` at most: the floor under the errors of a forecast.

This observer is told everything that an estate shares: the law, its curve of age, seasons, zones, the sizes of every kind of
chance, which visits were far off, and a drought that has begun with its size; only the plots' own level, pace, walk and wrong age must be read from
their visits, and of a drought still to come it knows nothing. The answer is Bayes' rule in full: the pace summed over a grid of months,
the rest normal given it. Its share is the
middle of what it knows, so that on the average no forecast made of the same visits has a smaller absolute error.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ..ripeness import readiness
from . import true_laws as laws
from .true_laws import CUT_DAY, DAYS_PER_MONTH, FAR_VISIT_DEG, HISTORY_WEEKS, TARGET_BRIX_DEG, VISIT_DEG, WEEKS, Estate

PACES_MONTHS = np.arange(-26.0, 26.1, 1.0)
WALKING = ("drift", "everything")
WRONG_AGES = ("heavy_tails", "everything")
FAR_OFF_SDS, HALVINGS = 3.0, 24


def known(e: Estate) -> tuple[np.ndarray, np.ndarray]:
    """([P, W] middle of the ripe share's posterior, [P, W] chance that the plot's mean reaches the target), weeks 0…104 after the cut."""
    world = laws.world_of(e.law, e.seed, len(e.planted))
    first = np.unique(e.visit, return_index=True)[1]
    day, at, n = e.day[first].astype(float), e.plot[first], np.bincount(e.visit)
    seen = np.bincount(e.visit, e.brix_deg) / n
    noise = _noise(world, at, day, seen, n)
    grid = CUT_DAY + 7.0 * np.arange(WEEKS)
    beyond = _above(e.law)
    share, chance = np.empty((len(e.planted), WEEKS)), np.empty((len(e.planted), WEEKS))
    for i in range(len(e.planted)):
        own = at == i
        weight, mean, var = _plot(world, e, i, day[own], seen[own], noise[own], grid)
        sd, spread = np.sqrt(var), world.spread(np.array(i), grid)
        share[i] = np.interp((TARGET_BRIX_DEG - _middle(weight, mean, sd)) / spread, *beyond)  # the share rises with the mean
        chance[i] = weight @ readiness.chance(mean, sd, TARGET_BRIX_DEG)
    return share, chance


def _middle(weight: np.ndarray, mean: np.ndarray, sd: np.ndarray) -> np.ndarray:
    """[W] median of a mixture of normals, ``weight`` [G], ``mean`` [G, W], ``sd`` [W], by halving."""
    from scipy.special import ndtr

    low, high = mean.min(axis=0) - 6 * sd, mean.max(axis=0) + 6 * sd
    for _ in range(HALVINGS):
        at = (low + high) / 2
        below = weight @ ndtr((at - mean) / sd) < 0.5
        low, high = np.where(below, at, low), np.where(below, high, at)
    return (low + high) / 2


def _noise(world: laws._World, at: np.ndarray, day: np.ndarray, seen: np.ndarray, n: np.ndarray) -> np.ndarray:
    """[V] variance of each visit's mean about the truth; one so far from it that it must be a bad one has a bad one's."""
    plants = world.spread(at, day) ** 2 / n
    far = np.abs(seen - world.mean(at, day)) > FAR_OFF_SDS * np.sqrt(VISIT_DEG**2 + plants)
    return np.where(far, FAR_VISIT_DEG, VISIT_DEG) ** 2 + plants


def _plot(world: laws._World, e: Estate, i: int, day: np.ndarray, seen: np.ndarray, noise: np.ndarray, grid: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(weights of the paces [G], mean [G, W], variance [W]) of one plot on the days of ``grid`` given its visits."""
    days, K = np.concatenate([day, grid]), len(day)
    age = (days - e.planted[i]) / DAYS_PER_MONTH
    zone = world.zone[i]
    shared = world.mean(np.array(i), days) - world.level[i] - world.curve(world.age(np.array(i), days) + world.pace[i] + world.zone_pace[zone])
    if e.law in WALKING:
        shared = shared - _walked(world, i, days)
    if world.onset > CUT_DAY:
        shared = shared - laws.DROUGHT_DEG * (days >= world.onset)
    mean = world.curve(age[None] + PACES_MONTHS[:, None] + world.zone_pace[zone]) + shared
    since = (days - (CUT_DAY - 7.0 * HISTORY_WEEKS - 91.0)) / 365.25
    walk = laws.WALK_DEG_PER_YEAR**2 if e.law in WALKING else 0.0
    cov = laws.LEVEL_DEG**2 + walk * np.minimum(since[:, None], since[None, :])
    weight = _paces(e.law)
    if K == 0:
        return weight, mean, np.diag(cov)
    inverse = np.linalg.inv(cov[:K, :K] + np.diag(noise))
    error, gain = seen - mean[:, :K], cov[K:, :K] @ inverse
    log = -0.5 * ((error @ inverse) * error).sum(axis=1)
    weight = weight * np.exp(log - log.max())
    return weight / weight.sum(), mean[:, K:] + error @ gain.T, np.maximum(np.diag(cov)[K:] - (gain * cov[K:, :K]).sum(axis=1), 1e-9)


def _walked(world: laws._World, i: int, days: np.ndarray) -> np.ndarray:
    at = CUT_DAY - 91.0 * (HISTORY_WEEKS / 13 + 1) + 91.0 * np.arange(world.walk.shape[1])
    return np.interp(days, at, world.walk[i])


@lru_cache(maxsize=None)
def _paces(law: str) -> np.ndarray:
    """Prior weights of what a plot's age seems off by: its pace, and of some a wrong age."""
    from scipy.stats import norm

    weight = norm.pdf(PACES_MONTHS, 0, laws.PACE_MONTHS)
    if law in WRONG_AGES:
        other = norm.pdf(PACES_MONTHS, 0, np.hypot(laws.PACE_MONTHS, laws.WRONG_AGE_MONTHS))
        weight = (1 - laws.WRONG_AGE_SHARE) * weight + laws.WRONG_AGE_SHARE * other
    return weight / weight.sum()


@lru_cache(maxsize=None)
def _above(law: str) -> tuple[np.ndarray, np.ndarray]:
    """(distance from the mean in sds, share of plants beyond it), for interpolation."""
    from scipy.stats import norm, t

    far = np.linspace(-12.0, 12.0, 4801)
    if law == "everything":
        return far, laws._askew_above(far)
    return far, t.sf(far * np.sqrt(3), 3) if law == "heavy_tails" else norm.sf(far)
