"""What an estate's data say of each fitted part of the ripening model, beside what was believed before them."""

from __future__ import annotations

import numpy as np

from ..quantity import Belief
from . import constants as k
from . import curve, ripening, terms
from .sureness import Sure

Z80 = 1.2815515655446004
AGES_MONTHS = (48, 60, 72, 84)
YEAR_DAYS = np.arange(365.0) + curve.YEAR_START
SWING_DRAWS = 400


def beliefs(model: ripening.Fit, zones: int, sure: dict[str, Sure] | None = None) -> list[Belief]:
    """In the order of the model's formula: the curve at a few ages, the season's swing, the standard deviations, the spread's growth, the back-test."""
    return [*_curve(model, zones), _season(model, zones), *_deviations(model, sure or {}), _spread(model), *_back_test(model)]


def _curve(model: ripening.Fit, zones: int) -> list[Belief]:
    """°Bx of the estate's curve at an age, season apart, at 80 %."""
    omega = terms.prior(zones, 0)[0]
    count = int(terms.columns(zones)["bends"][-1]) + 1
    before, after = np.linalg.inv(omega[:count, :count]), model.cov[:count, :count]
    out = []
    for age in AGES_MONTHS:
        a = np.array([float(age)])
        x = np.concatenate([curve.practice(a, model.peak_months), curve.practice_slope(a, model.peak_months), [1.0], curve.bends(a, model.peak_months)[0]])
        prior, now = float(curve.practice(a, model.peak_months)[0]), float(terms.height(a, model.theta, zones, model.peak_months)[0])
        wide, narrow = (Z80 * float(np.sqrt(x @ cov @ x)) for cov in (before, after))
        out.append(Belief("curve", "°Bx", prior, prior - wide, prior + wide, now, now - narrow, now + narrow, {"age": age}))
    return out


def _season(model: ripening.Fit, zones: int) -> Belief:
    """°Bx between the year's highest and lowest week, with the months they fall in."""
    at, year = terms.columns(zones)["season"], curve.season(YEAR_DAYS)
    middle, omega = curve.season_practice(), terms.prior(zones, 0)[0]
    noise = np.random.default_rng(5).standard_normal((SWING_DRAWS, 4))

    def swing(theta: np.ndarray, cov: np.ndarray) -> tuple[float, float, float]:
        drawn = np.ptp((theta + noise @ np.linalg.cholesky(cov + 1e-12 * np.eye(4)).T) @ year.T, axis=1)
        value = float(np.ptp(year @ theta))
        low, high = np.quantile(drawn, (0.1, 0.9))
        return value, min(float(low), value), max(float(high), value)

    now = middle + model.theta[at]
    shape = year @ now
    before = swing(middle, np.linalg.inv(omega[np.ix_(at, at)]))
    return Belief("season", "°Bx", *before, *swing(now, model.cov[np.ix_(at, at)]), {"high_day": int(shape.argmax()), "low_day": int(shape.argmin())})


def _deviations(model: ripening.Fit, sure: dict[str, Sure]) -> list[Belief]:
    """Standard deviations; the prior is log-normal, and so is the interval (``sureness``)."""
    out = []
    for name in ripening.COMPONENTS:
        median, spread = k.SD_PRIORS[name]
        one = sure.get(name, Sure(None))
        note = "edge" if one.edge else "held" if name in sure and one.log_sd is None else "silent" if one.silent else ""
        out.append(Belief(f"sd_{name}", "months" if "pace" in name else "°Bx", median, median * float(np.exp(-Z80 * spread)), median * float(np.exp(Z80 * spread)), model.sd(name),
                          *one.interval(model.sd(name), Z80), note=note))
    return out


def _spread(model: ripening.Fit) -> Belief:
    """Sd of plants at 84 months over the one at 60."""
    wide = Z80 * float(k.SPREAD_SLOPE_SD) * 0.2
    return Belief("spread", "1", 1.0, float(np.exp(-wide)), float(np.exp(wide)), float(np.exp(0.2 * model.spread_slope)))


def _back_test(model: ripening.Fit) -> list[Belief]:
    """What past errors widen (above 1) or narrow the sd of a plot's mean by, a quarter and a year ahead."""
    out = []
    for weeks in (13, 52):
        sd = Z80 * float(np.hypot(float(k.BACK_TEST_LOG_SD), float(k.BACK_TEST_SLOPE_SD) * (weeks - 26) / 26)) / 2
        now = float(np.sqrt(ripening.inflation(model, np.array([model.widen_days[0] + 7 * weeks]))[0]))
        out.append(Belief("back_test", "1", 1.0, float(np.exp(-sd)), float(np.exp(sd)), now, params={"weeks": weeks}))
    return out
