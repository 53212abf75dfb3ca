"""Chance ripe against what turned out: published intervals, the round's own error taken out, and nothing said of too few."""

import numpy as np
import pytest
from scipy import stats

from webapp.ripeness import chances, track
from webapp.ripeness.chances import Chances
from webapp.ripeness.track import Pairs


@pytest.mark.parametrize("hits, n, low, high", [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718), (29, 29, 0.8830, 1.0)])
def test_wilson_against_the_published_table(hits, n, low, high):
    """Newcombe 1998, Statistics in Medicine 17:857–872, table I, method 3 (the last row: 0 of 29 turned round)."""
    assert chances.wilson(hits / n, n) == pytest.approx((low, high), abs=6e-5)
    assert chances.wilson(0.4, 0) == (0.0, 1.0)


def made(n, noise, sure=1.0, bias=0.0, seed=1, days=40, shared=0.0):
    """Plots whose truth is normal about a mean with sd 1.2; forecasts claim ``sure`` times that spread and are off by ``bias``; rounds err by ``noise``."""
    rng = np.random.default_rng(seed)
    mean, on_day = rng.uniform(20, 28, n), np.arange(n) % days
    truth = mean + 1.2 * (np.sqrt(1 - shared) * rng.normal(size=n) + np.sqrt(shared) * rng.normal(size=days)[on_day])
    own = np.full(n, 1.2 / sure)
    p = Pairs(np.array([f"P{i}" for i in range(n)], object), on_day, on_day + 28, np.full(n, 4), mean + bias, np.hypot(own, noise), truth + noise * rng.normal(size=n), np.zeros(n, bool))
    return Chances(p, own, np.full(n, 24.0), np.zeros(n, bool)), truth >= 24.0


@pytest.mark.parametrize("noise", [0.0, 0.6, 1.5])
def test_true_chances_stand_on_the_slope_whatever_a_round_errs(noise):
    """Over 40 records 95 % intervals hold the chance said in about that many tenths; the share told is that of the plots, not of the rounds."""
    held = judged = 0
    for seed in range(40):
        found = chances.judge(made(400, noise, seed=seed)[0])
        held, judged = held + found["held"], judged + found["judged"]
    assert 0.925 < held / judged < 0.985
    c, ripe = made(40_000, noise, bias=0.5, seed=3)  # forecasts half a degree too high: the share told must be the truth's all the same
    for row in chances.judge(c)["tenths"]:
        assert row["share"] == pytest.approx(ripe[chances.tenth(c.ripe()) == round(10 * row["from"])].mean(), abs=0.03)


def test_without_taking_the_rounds_error_out_true_chances_would_look_too_sure():
    c, ripe = made(6000, 1.5, seed=5)
    very = chances.tenth(c.ripe()) == 9
    assert c.hits[very].mean() < ripe[very].mean() - 0.02 and chances.told(c.at(very), 0.0)["share"] == pytest.approx(ripe[very].mean(), abs=0.02)


@pytest.mark.parametrize("shape, how", [("even", {}), ("sure", {"sure": 2.5}), ("shy", {"sure": 0.4}), ("high", {"bias": 1.5}), ("low", {"bias": -1.5})])
def test_the_verdict_names_what_is_wrong(shape, how):
    assert chances.judge(made(1500, 0.7, seed=11, **how)[0])["shape"] == shape


def test_one_tenth_outside_is_no_verdict():
    """Of ten true 95 % intervals one is outside in two records of five, three or more in one of eighty-seven (binomial)."""
    row = lambda said, held: {"said": said, "low": said - 0.1, "high": said + 0.1 if held else said - 0.05, "held": held}  # noqa: E731
    told = lambda out: chances._shape([row(0.05 + t / 10, t >= out) for t in range(10)])  # noqa: E731
    assert [told(n) for n in range(5)] == ["even", "luck", "luck", "high", "high"]


def test_days_that_share_their_luck_are_worth_less():
    alone, together = (chances.alike(made(900, 0.6, seed=2, days=9, shared=s)[0]) for s in (0.0, 0.8))
    assert alone < 0.05 < 0.1 < together
    c = made(900, 0.6, seed=2, days=9, shared=0.8)[0]
    assert chances.worth(c, together) < 50 < chances.worth(c, 0.0) == 900
    twice = c.at(np.r_[np.arange(900), np.arange(900)])
    assert chances.worth(twice, 0.0) == 900, "a round counts once however often it answers"


def test_too_few_are_only_counted():
    nothing = chances.judge(made(0, 0.7)[0])
    assert nothing["n"] == 0 and not nothing["enough"] and nothing["judged"] == 0 and len(nothing["tenths"]) == 10 and nothing["round_sd_deg"] is None
    some = chances.judge(made(track.LEAST_CALIBRATION - 1, 0.7)[0])
    assert not some["enough"] and sum(row["n"] for row in some["tenths"]) == some["n"] == 49
    assert all(row["enough"] == (row["n"] >= 5) for row in some["tenths"])


def test_shares_of_plots_at_their_ends():
    c = made(30, 0.8)[0]
    assert c.of_plots(0.0) == 0.0 and c.of_plots(1.0) == 1.0 and c.of_plots(float(c.read().mean())) == pytest.approx(float(c.ripe().mean()), abs=1e-4)
    assert c.ripe() == pytest.approx(stats.norm.cdf((c.pairs.mean - 24.0) / 1.2))
