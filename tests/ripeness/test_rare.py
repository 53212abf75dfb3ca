"""What seldom comes and then moves far: its distribution against scipy's normals, its intervals, and that it is the normal without it."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import kurtosis, norm

from webapp.ripeness import constants as k
from webapp.ripeness import chances, narrowing, rare, readiness, track
from webapp.ripeness.chances import Chances
from webapp.ripeness.readiness import Limits
from webapp.ripeness.scores import crps_normal, crps_rare
from webapp.ripeness.track import Pairs

PARTS = [0.0, 0.05, 0.3, 0.6, 0.9]
NORMAL = norm.ppf((np.arange(400) + 0.5) / 400)


def density(x, part):
    """Written out again from the two normals, as the page says."""
    often = float(k.SHOCK_AHEAD_CHANCE)
    return (1 - often) * norm.pdf(x, scale=np.sqrt(1 - part)) + often * norm.pdf(x, scale=np.sqrt(1 - part + part / often))


@pytest.mark.parametrize("part", PARTS)
def test_it_is_a_distribution_of_variance_one(part):
    for power, value in ((0, 1.0), (1, 0.0), (2, 1.0)):
        assert quad(lambda x: x**power * density(x, part), -60, 60, points=[-3, 0, 3], limit=200)[0] == pytest.approx(value, abs=1e-6)
    for x in (-3.0, -0.4, 0.0, 1.1, 2.6):
        assert float(rare.below(np.array(x), part)) == pytest.approx(quad(density, -60, x, args=(part,), points=[-3, min(x, 0)], limit=200)[0], abs=1e-7)


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("level", rare.LEVELS)
def test_intervals_hold_what_they_say(part, level):
    held = lambda half: quad(density, -half, half, args=(part,), points=[0.0])[0] - level  # noqa: E731
    assert float(rare.half(level, part)) == pytest.approx(brentq(held, 0.01, 20), abs=2e-4)


def test_without_it_everything_is_the_normal():
    mean, sd, seen = np.array([21.0, 24.0, 26.0]), np.array([0.5, 1.0, 2.0]), np.array([22.0, 23.0, 26.5])
    assert [float(rare.half(level)) for level in rare.LEVELS] == pytest.approx([0.6744898, 1.2815516, 1.9599640], abs=1e-6)
    assert rare.below(np.array([-1.0, 0.0, 2.0])) == pytest.approx(norm.cdf([-1.0, 0.0, 2.0]))
    assert readiness.chance(mean, sd, 24.0) == pytest.approx(norm.cdf((mean - 24.0) / sd))
    assert crps_rare(mean, sd, 0.0, seen) == pytest.approx(crps_normal(mean, sd, seen))


def test_the_middle_narrows_most_and_what_lies_beyond_reaches_farther():
    """Why it is there: a year in which nothing comes is not told as half a drought, and a drought is not told as out of the question."""
    part = np.linspace(0.02, 0.6, 30)
    assert (np.diff(rare.half80(part)) < 0).all() and (rare.half80(part) < norm.ppf(0.9)).all()
    narrower80, narrower95 = rare.half80(part) / norm.ppf(0.9), rare.half95(part) / norm.ppf(0.975)
    assert (narrower80 < narrower95).all() and narrower80[-1] < 0.75 and (narrower95[part <= 0.2] > 0.98).all()
    assert (rare.half(0.99, part[5:]) > norm.ppf(0.995)).all() and (rare.half(0.999, part) > norm.ppf(0.9995)).all()


def test_a_place_turns_the_share_of_futures_round():
    part = np.array([0.0, 0.2, 0.5, 0.9])
    for p in (0.001, 0.1, 0.5, 0.93):
        assert rare.below(rare.place(p, part), part) == pytest.approx(np.full(4, p), abs=1e-9)


def test_the_part_thins_with_what_is_not_rare():
    """A round's own error widens the forecast of a round, and of that a smaller part is rare; a visit makes it a larger one."""
    assert float(rare.thinned(0.5, 1.0, 2.0)) == pytest.approx(0.125) and float(rare.thinned(0.5, 1.0, 0.8)) == pytest.approx(0.78125)
    assert float(rare.thinned(0.9, 1.0, 0.1)) == rare.MOST


def test_crps_is_the_integral_of_its_squared_distance():
    """CRPS(F, y) = ∫ (F(x) − 1{x ≥ y})² dx (Gneiting & Raftery 2007, JASA 102:359, eq. 20)."""
    for mean, sd, part, seen in ((24.0, 1.5, 0.4, 25.3), (24.0, 0.6, 0.8, 22.0), (21.0, 1.0, 0.05, 21.0)):
        squared = lambda x: (float(rare.below(np.array((x - mean) / sd), part)) - (x >= seen)) ** 2  # noqa: E731, B023
        whole = sum(quad(squared, a, b, limit=400)[0] for a, b in ((mean - 60, mean - 5), (mean - 5, min(mean, seen)), (min(mean, seen), max(mean, seen)), (max(mean, seen), mean + 5), (mean + 5, mean + 60)))
        assert float(crps_rare(np.array(mean), np.array(sd), part, np.array(seen))) == pytest.approx(whole, abs=1e-5)


def test_share_and_chance_are_those_of_drawn_futures():
    rng = np.random.default_rng(5)
    mean, sd, part, often = 23.0, 1.6, 0.6, float(k.SHOCK_AHEAD_CHANCE)
    comes = rng.random(200_000) < often
    means = mean + sd * rng.standard_normal(200_000) * np.sqrt(1 - part + comes * part / often)
    assert kurtosis(means) > 2 and means.std() == pytest.approx(sd, rel=0.02)
    real = readiness.plants_above((24.0 - means) / 2.0, NORMAL)
    what = np.array([mean]), np.array([sd]), 2.0, NORMAL, 24.0
    middle, low, high = (float(side[0]) for side in readiness.share(*what, rare_part=part))
    assert np.quantile(real, (0.1, 0.5, 0.9)) == pytest.approx([low, middle, high], abs=0.01)
    assert float(readiness.expected_share(*what, rare_part=part)[0]) == pytest.approx(real.mean(), abs=0.005)
    assert float(readiness.chance(*what[:2], 24.0, part)[0]) == pytest.approx(np.mean(means >= 24.0), abs=0.004)


def futures_seen(n, part, noise=0.0, seed=1):
    """Pairs whose outcomes come from the mixture, with a round's own error beside."""
    rng = np.random.default_rng(seed)
    often, mean = float(k.SHOCK_AHEAD_CHANCE), rng.uniform(20, 28, n)
    off = rng.standard_normal(n) * np.sqrt(1 - part + (rng.random(n) < often) * part / often)
    sd = np.full(n, np.hypot(1.0, noise))
    seen = mean + off + noise * rng.standard_normal(n)
    return Pairs(np.array([f"P{i}" for i in range(n)], object), np.arange(n), np.arange(n) + 182, np.full(n, 26), mean, sd, seen, np.zeros(n, bool), {}, rare.thinned(np.full(n, part), 1.0, sd)), mean + off


@pytest.mark.parametrize("noise", [0.0, 0.7])
def test_a_record_judges_by_the_shape_that_was_said(noise):
    """Coverage, places and CRPS of outcomes that follow what was said; with the part left out the same outcomes look off."""
    p, _ = futures_seen(40_000, 0.7, noise)
    found = track.judge(p)
    assert found["cover80"]["value"] == pytest.approx(0.80, abs=0.008) and found["cover95"]["value"] == pytest.approx(0.95, abs=0.005)
    assert found["crps"] == pytest.approx(float(crps_rare(p.mean, p.sd, p.rare_part, p.seen).mean())) and found["crps"] < float(crps_normal(p.mean, p.sd, p.seen).mean())
    assert np.histogram(track.places(p), 10, (0, 1))[0] == pytest.approx(np.full(10, 4000), rel=0.06)
    plain = Pairs(*(getattr(p, name) for name in ("plot", "on_day", "day", "weeks", "mean", "sd", "seen", "replayed")))
    assert track.judge(plain)["cover80"]["value"] > 0.83 and p.at(np.arange(5)).half80 == pytest.approx(p.half80[:5])


def test_true_chances_of_that_shape_stand_on_the_slope():
    p, mean = futures_seen(40_000, 0.7, 0.7, seed=2)
    c = Chances(p, np.ones(len(p)), np.full(len(p), 24.0), np.zeros(len(p), bool))
    said = chances.joined(c, c.at(np.arange(10))).ripe()[: len(p)]
    assert said == pytest.approx(readiness.chance(p.mean, np.ones(len(p)), 24.0, 0.7), abs=1e-6)
    for where in range(10):
        at = chances.tenth(said) == where
        assert (mean[at] >= 24.0).mean() == pytest.approx(said[at].mean(), abs=0.04)
        assert chances.told(c.at(at), 0.0)["share"] == pytest.approx((mean[at] >= 24.0).mean(), abs=0.05)


def test_one_more_visit_narrows_within_that_shape():
    limits = Limits(24.0, 0.5, 0.25, 42.0, 90.0, 0.015, 0.06)
    mean, sd, plant, none, part = 22.0 + np.arange(104) * 0.05, np.full(104, 1.2), np.full(104, 2.2), np.zeros(104), np.linspace(0.0, 0.6, 104)
    with_it, plain = (narrowing.known(mean, sd, plant, NORMAL, limits, none, none, rare_part=r) for r in (part, 0.0))
    assert with_it.deg == pytest.approx(1.96 * 1.2, abs=1e-3) and plain.first <= with_it.first < with_it.last < plain.last and with_it.width < plain.width
    after = narrowing.known(mean, 0.8 * sd, plant, NORMAL, limits, none, none, rare_part=rare.thinned(part, sd, 0.8 * sd))
    assert after.deg == pytest.approx(1.96 * 0.96, abs=1e-3) and with_it.first <= after.first < after.last < with_it.last
