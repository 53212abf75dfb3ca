"""The model's coefficients and what each is multiplied by: rows of X, in one piece or in a half of age and a half of days."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import constants as k
from . import curve, shock

STEEPEST_FALL = -0.2


def columns(zones: int, knots: int = 0) -> dict[str, np.ndarray]:
    """Where each part of θ stands; g's knots last."""
    at, out = 0, {}
    for name, size in (("scale", 1), ("shift", 1), ("level", 1), ("bends", len(curve.bend_centres())), ("season", 4), ("zone", zones), ("zone_pace", zones), ("zone_season", 4 * zones), ("shock", knots)):
        out[name] = np.arange(at, at + size)
        at += size
    return out


def design(age: np.ndarray, day: np.ndarray, zone: np.ndarray, zones: int, slope: np.ndarray, peak: float, along: np.ndarray) -> np.ndarray:
    """[..., p] rows of X at (already shifted) ages and days; ``along`` [..., K] the days' weights on g's coefficients."""
    where = columns(zones, along.shape[-1])
    X = np.zeros((*age.shape, sum(len(v) for v in where.values())))
    X[..., where["scale"][0]], X[..., where["shift"][0]], X[..., where["level"][0]] = curve.practice(age, peak), curve.practice_slope(age, peak), 1.0
    X[..., where["bends"]] = curve.bends(age, peak)
    phase = curve.season(day)
    X[..., where["season"]] = phase
    own = np.eye(zones)[np.broadcast_to(zone, age.shape)]
    X[..., where["zone"]] = own
    X[..., where["zone_pace"]] = own * slope[..., None]
    X[..., where["zone_season"]] = (own[..., :, None] * phase[..., None, :]).reshape(*age.shape, 4 * zones)
    X[..., where["shock"]] = along
    return X


def prior(zones: int, knots: int) -> tuple[np.ndarray, tuple[np.ndarray, ...]]:
    """(fixed prior precision [p, p], coefficients pooled with an sd of their own, in the order of ``COMPONENTS``)."""
    where = columns(zones, knots)
    omega = np.zeros((sum(len(v) for v in where.values()),) * 2)
    for name, sd in (("scale", k.SCALE_SD), ("shift", k.SHIFT_SD_MONTHS), ("level", k.LEVEL_SD_DEG)):
        omega[where[name], where[name]] = float(sd) ** -2
    omega[np.ix_(where["bends"], where["bends"])] = curve.bend_precision()
    season = where["season"]
    omega[season, season] = [float(k.SEASON_SD_DEG) ** -2] * 2 + [float(k.SEASON2_SD_DEG) ** -2] * 2
    return omega, (where["zone"], where["zone_pace"], where["zone_season"], where["shock"])


def height(age: np.ndarray, theta: np.ndarray, zones: int, peak: float) -> np.ndarray:
    """The estate's curve of age alone, °Bx."""
    where = columns(zones)
    return (curve.practice(age, peak) * (1 + theta[where["scale"][0]]) + theta[where["shift"][0]] * curve.practice_slope(age, peak)
            + theta[where["level"][0]] + curve.bent(age, peak, theta[where["bends"]]))


def slope_at(age: np.ndarray, theta: np.ndarray, zones: int, peak: float, age_sd: np.ndarray) -> np.ndarray:
    """Slope of the fitted curve, °Bx per month (not steeper downhill than −0.2), as the secant over ± the age's sd.

    ``age`` [P, T], ``age_sd`` [P] months: on the flat top of the curve a plot of unknown age could be much younger, and the tangent would not say so.
    """
    reach = np.maximum(age_sd, 1.0)[:, None]
    return np.maximum((height(age + reach, theta, zones, peak) - height(age - reach, theta, zones, peak)) / (2 * reach), STEEPEST_FALL)


@dataclass(frozen=True)
class Halves:
    """Rows of X of one zone's plots on common days: ``age`` [n, T, A] beside coefficients ``of_age``, ``day`` [T, B] beside ``of_day``.

    Everything else in such a row is zero, so products cost by these and not by the number of zones and knots.
    """

    plots: np.ndarray
    age: np.ndarray
    day: np.ndarray
    of_age: np.ndarray
    of_day: np.ndarray

    def along(self, v: np.ndarray) -> np.ndarray:
        """[n, T] X·v, for one v [p] or one a plot [n, p]."""
        if v.ndim == 1:
            return self.age @ v[self.of_age] + self.day @ v[self.of_day]
        return (self.age @ v[:, self.of_age, None])[..., 0] + v[:, self.of_day] @ self.day.T

    def spread(self, cov: np.ndarray) -> np.ndarray:
        """[n, T] variance of X·θ."""
        across = cov[np.ix_(self.of_age, self.of_day)] @ self.day.T
        own = ((self.day @ cov[np.ix_(self.of_day, self.of_day)]) * self.day).sum(axis=1)
        return (((self.age @ cov[np.ix_(self.of_age, self.of_age)]) + 2 * across.T) * self.age).sum(axis=2) + own

    def leaning(self, rows_cov: np.ndarray) -> np.ndarray:
        """[n, T, M] covariance of X·θ with other rows, given those rows times the covariance [n, M, p]."""
        return self.age @ rows_cov[..., self.of_age].transpose(0, 2, 1) + (rows_cov[..., self.of_day] @ self.day.T).transpose(0, 2, 1)


def halves(age: np.ndarray, days: np.ndarray, zone: np.ndarray, zones: int, slope: np.ndarray, peak: float, past: np.ndarray) -> list[Halves]:
    """The rows of ``design`` at ``age`` [P, T] on common ``days`` [T], zone by zone, without the columns that are zero."""
    knots = len(past) + len(shock.AHEAD_DAYS)
    where, reached = columns(zones, knots), knots - shock.beyond(past, float(days.max(initial=past[-1])))
    phase, along = curve.season(days), shock.along(days, shock.knots(past))[:, :reached]
    day = np.concatenate([phase, np.ones((len(days), 1)), phase, along], axis=1)
    out = []
    for z in np.unique(zone):
        at = np.flatnonzero(zone == z)
        a = age[at]
        of_age = np.concatenate([where["scale"], where["shift"], where["level"], where["bends"], where["zone_pace"][z: z + 1]])
        of_day = np.concatenate([where["season"], where["zone"][z: z + 1], where["zone_season"][4 * z: 4 * z + 4], where["shock"][:reached]])
        first = np.stack([curve.practice(a, peak), curve.practice_slope(a, peak), np.ones(a.shape)], axis=-1)
        out.append(Halves(at, np.concatenate([first, curve.bends(a, peak), slope[at][..., None]], axis=-1), day, of_age, of_day))
    return out
