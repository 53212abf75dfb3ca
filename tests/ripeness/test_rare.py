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


OFTEN, UP = float(k.SHOCK_AHEAD_CHANCE), float(k.SHOCK_AHEAD_UP)


def from_most(x, part):
    """Written out again from the two normals, as the page says; x from the place of most futures."""
    return (1 - OFTEN) * norm.pdf(x, scale=np.sqrt(1 - part)) + OFTEN * norm.pdf(x, loc=UP * np.sqrt(part / OFTEN), scale=np.sqrt(1 - part + (1 - UP**2) * part / OFTEN))


def middle(part):
    """Of all futures, from the place of most."""
    most, few = norm(scale=np.sqrt(1 - part)), norm(loc=UP * np.sqrt(part / OFTEN), scale=np.sqrt(1 - part + (1 - UP**2) * part / OFTEN))
    return brentq(lambda x: (1 - OFTEN) * most.cdf(x) + OFTEN * few.cdf(x) - 0.5, -5, 5, xtol=1e-12)


def density(x, part):
    """Of x from the middle."""
    return from_most(x + middle(part), part)


def drawn(n, part, rng):
    """Futures of such a shape, from the middle."""
    comes = rng.random(n) < OFTEN
    return -middle(part) + rng.standard_normal(n) * np.sqrt(1 - part + comes * (1 - UP**2) * part / OFTEN) + comes * UP * np.sqrt(part / OFTEN)


@pytest.mark.parametrize("part", PARTS)
def test_it_is_a_distribution_of_mean_square_one_about_most_futures(part):
    for power, value in ((0, 1.0), (2, 1.0)):
        assert quad(lambda x: x**power * from_most(x, part), -60, 60, points=[-3, 0, 3], limit=200)[0] == pytest.approx(value, abs=1e-6)
    assert float(rare.below(np.array(0.0), part)) == pytest.approx(0.5, abs=1e-5) and float(rare.lean(part)) == pytest.approx(middle(part), abs=1e-5)
    for x in (-3.0, -0.4, 0.0, 1.1, 2.6):
        assert float(rare.below(np.array(x), part)) == pytest.approx(quad(density, -60, x, args=(part,), points=[-3, min(x, 0)], limit=200)[0], abs=1e-5)
        assert float(rare.above(np.array(x), part)) == pytest.approx(1 - float(rare.below(np.array(x), part)))


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("level", rare.LEVELS)
def test_intervals_hold_what_they_say(part, level):
    low, high = (float(side) for side in rare.ends(level, part))
    for side, share in ((low, (1 - level) / 2), (high, (1 + level) / 2)):
        assert quad(density, -60, side, args=(part,), points=[-3, 0, min(side, 3)], limit=200)[0] == pytest.approx(share, abs=1e-4)
    assert float(rare.half(level, part)) == pytest.approx((high - low) / 2) and [float(side) for side in rare.ends(level, part, rare.kind())] == pytest.approx([low, high], abs=2e-4)


def test_without_it_everything_is_the_normal():
    mean, sd, seen = np.array([21.0, 24.0, 26.0]), np.array([0.5, 1.0, 2.0]), np.array([22.0, 23.0, 26.5])
    assert [float(rare.half(level)) for level in rare.LEVELS] == pytest.approx([0.6744898, 1.2815516, 1.9599640], abs=1e-6)
    assert rare.below(np.array([-1.0, 0.0, 2.0])) == pytest.approx(norm.cdf([-1.0, 0.0, 2.0]))
    assert readiness.chance(mean, sd, 24.0) == pytest.approx(norm.cdf((mean - 24.0) / sd))
    assert crps_rare(mean, sd, 0.0, seen) == pytest.approx(crps_normal(mean, sd, seen))


def test_the_middle_narrows_most_and_what_lies_beyond_reaches_farther():
    """Why it is there: a year in which nothing comes is not told as half a drought, and a drought is not told as out of the question."""
    part = np.linspace(0.02, 0.6, 30)
    (low80, high80), (low95, high95) = rare.ends(0.8, part), rare.ends(0.95, part)
    assert (np.diff(rare.half(0.8, part)) < 0).all() and rare.half(0.8, part[-1]) < 0.8 * norm.ppf(0.9)
    assert (high80 > -low80).all() and (high95 > -low95).all() and high95[-1] > 1.2 * norm.ppf(0.975) and -low95[-1] < 0.75 * norm.ppf(0.975), "dry years go up"
    assert (rare.ends(0.99, part[5:])[1] > norm.ppf(0.995)).all() and (rare.ends(0.999, part[5:])[1] > norm.ppf(0.9995)).all()


def test_words_of_an_older_kind_keep_their_shape():
    """What was said as likely up as down is judged so: of each word its own kind."""
    part, even = np.array([0.0, 0.2, 0.6]), rare.Kind(0.07, 0.0)
    low, high = rare.ends(0.8, part, even)
    assert low == pytest.approx(-high) and rare.lean(part, even) == pytest.approx(np.zeros(3), abs=1e-9)
    x = np.array([-1.0, 0.3, 2.0])
    assert rare.below(x, part, even) == pytest.approx(0.93 * norm.cdf(x / np.sqrt(1 - part)) + 0.07 * norm.cdf(x / np.sqrt(1 - part + part / 0.07)))
    mixed = rare.Kind(np.array([0.07, OFTEN]), np.array([0.0, UP]))
    both = rare.place(0.9, np.array([0.6, 0.6]), mixed)
    assert both == pytest.approx([high[2], float(rare.ends(0.8, 0.6)[1])], abs=2e-4) and rare.place(0.9, 0.6, mixed.at(np.array([1]))) == pytest.approx(both[1:])


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
    mean, sd, part = 23.0, 1.6, 0.6
    means = mean + sd * drawn(200_000, part, rng)
    assert kurtosis(means) > 2 and np.median(means) == pytest.approx(mean, abs=0.01) and np.hypot(means.std(), means.mean() - mean + sd * middle(part)) == pytest.approx(sd, rel=0.02)
    real = readiness.plants_above((24.0 - means) / 2.0, NORMAL)
    what = np.array([mean]), np.array([sd]), 2.0, NORMAL, 24.0
    share, low, high = (float(side[0]) for side in readiness.share(*what, rare_part=part))
    assert np.quantile(real, (0.1, 0.5, 0.9)) == pytest.approx([low, share, high], abs=0.01)
    assert float(readiness.expected_share(*what, rare_part=part)[0]) == pytest.approx(real.mean(), abs=0.005)
    assert float(readiness.chance(*what[:2], 24.0, part)[0]) == pytest.approx(np.mean(means >= 24.0), abs=0.004)


def futures_seen(n, part, noise=0.0, seed=1):
    """Pairs whose outcomes come from the mixture, with a round's own error beside."""
    rng = np.random.default_rng(seed)
    mean, sd, left = rng.uniform(20, 28, n), np.full(n, np.hypot(1.0, noise)), float(rare.thinned(part, 1.0, np.hypot(1.0, noise)))
    off = drawn(n, part, rng)
    seen = mean + off + noise * rng.standard_normal(n) + middle(part) - middle(left) * sd  # what is said of a round is its own middle
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
    assert track.judge(plain)["cover80"]["value"] > 0.83 and p.at(np.arange(5)).ends()[1] == pytest.approx(p.ends()[1][:5])


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
    assert with_it.deg == pytest.approx(1.96 * 1.2, abs=1e-3) and plain.first <= with_it.first + 1 < with_it.last < plain.last and with_it.width < plain.width
    after = narrowing.known(mean, 0.8 * sd, plant, NORMAL, limits, none, none, rare_part=rare.thinned(part, sd, 0.8 * sd))
    assert after.deg == pytest.approx(1.96 * 0.96, abs=1e-3) and with_it.first <= after.first < after.last < with_it.last


def test_a_record_of_several_kinds_judges_each_word_by_its_own():
    """Words said before there was a rare part, as likely up as down, and as today: ends, places, scores and chances of each are those of its kind alone."""
    n = 60
    kinds = [(0.0, rare.kind()), (0.6, rare.Kind(0.07, 0.0)), (0.6, rare.kind())]
    rng = np.random.default_rng(8)
    mean, sd, seen = rng.uniform(21, 27, 3 * n), np.full(3 * n, 1.4), rng.uniform(20, 29, 3 * n)
    part, often, up = (np.repeat(values, n).astype(float) for values in zip(*((r, of.chance, of.up) for r, of in kinds)))
    p = Pairs(np.array([f"P{i}" for i in range(3 * n)], object), np.arange(3 * n) % 9, np.arange(3 * n) + 400, np.full(3 * n, 26), mean, sd, seen, np.zeros(3 * n, bool), {}, part, rare.Kind(often, up))
    c = Chances(p, np.full(3 * n, 1.2), np.full(3 * n, 24.0), np.zeros(3 * n, bool))
    one_after_the_other = chances.joined(c.at(np.arange(n)), chances.joined(c.at(np.arange(n, 2 * n)), c.at(np.arange(2 * n, 3 * n))))
    assert len({round(float(rare.ends(0.8, r, of)[1]), 3) for r, of in kinds}) == 3, "the kinds differ"
    every = track.judge(p)["crps"]
    told = []
    for i, (r, of) in enumerate(kinds):
        at = np.arange(i * n, (i + 1) * n)
        low, high = (mean[at] + float(side) * 1.4 for side in (rare.place(0.1, r, of), rare.place(0.9, r, of)))
        for both in (p.at(at), one_after_the_other.pairs.at(at)):
            assert both.ends()[0] == pytest.approx(low, abs=3e-4) and both.ends()[1] == pytest.approx(high, abs=3e-4)
            assert both.inside().tolist() == ((low <= seen[at]) & (seen[at] <= high)).tolist()
            assert track.places(both) == pytest.approx(rare.below((seen[at] - mean[at]) / 1.4, r, of), abs=1e-4)
        told.append(float(crps_rare(mean[at], sd[at], r, seen[at], of).mean()))
        assert track.judge(p.at(at))["crps"] == pytest.approx(told[-1], abs=1e-4)
        for which in (c.at(at), one_after_the_other.at(at)):
            assert which.ripe() == pytest.approx(1 - rare.below((24.0 - mean[at]) / 1.2, rare.thinned(r, 1.4, 1.2), of), abs=1e-4)
            assert which.read(0.5) == pytest.approx(1 - rare.below((23.5 - mean[at]) / 1.4, r, of), abs=1e-4)
    assert every == pytest.approx(np.mean(told), abs=1e-4)


def test_the_middle_leans_as_much_where_little_is_rare():
    part = np.array([2e-5, 6.5e-4, 2e-3, 0.01, 0.9])
    assert rare.lean(part) == pytest.approx([middle(r) for r in part], abs=2e-5)


def test_a_drawn_band_reaches_higher_than_lower():
    from datetime import date

    from webapp.pages.picture_curve import Curve

    curve = Curve([date(2028, 1, 1)], np.array([24.0]), np.array([1.5]), np.array([0.5]), ["C"], np.array([0.6]))
    (low,), (high,) = curve.ends(0.95)
    assert (low - 24.0, high - 24.0) == pytest.approx(tuple(1.5 * float(side) for side in rare.ends(0.95, 0.6))) and high - 24.0 > 1.3 * (24.0 - low)
