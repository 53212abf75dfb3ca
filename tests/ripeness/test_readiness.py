"""Share, chance, window and condition: all from one mean and sd."""

import numpy as np
import pytest
from scipy.stats import norm

from webapp.ripeness import readiness, why
from webapp.ripeness.readiness import Limits

LIMITS = Limits(target_brix_deg=24.0, ripe_share_to_cut=0.5, near_share=0.25, young_age_months=42.0, peak_age_months=90.0, loss_per_month=0.015, loss_limit=0.06)
NORMAL = norm.ppf((np.arange(400) + 0.5) / 400)


def test_share_of_normal_plants_is_the_closed_form():
    mean, sd = np.array([20.0, 23.0, 24.0, 26.0]), np.array([0.3, 1.0, 0.5, 1.5])
    middle, low, high = readiness.share(mean, sd, 2.0, NORMAL, 24.0)
    for said, step in ((low, -1.2816), (middle, 0.0), (high, 1.2816)):
        assert said == pytest.approx(norm.sf((24 - mean - step * sd) / 2.0), abs=0.005)
    assert readiness.expected_share(mean, sd, 2.0, NORMAL, 24.0) == pytest.approx(norm.sf((24 - mean) / np.hypot(sd, 2.0)), abs=0.006)
    assert (low <= middle).all() and (middle <= high).all()


def test_the_ripe_share_is_as_likely_more_as_less_and_errs_less_than_the_average():
    """Of a plot drawn from what is believed of it: half its shares lie above the one said, and that one is nearer to them than the expected share."""
    means = np.random.default_rng(7).normal(26.0, 1.5, 40_000)
    real = readiness.plants_above((24.0 - means) / 2.0, NORMAL)
    middle, expected = (float(f(np.array([26.0]), np.array([1.5]), 2.0, NORMAL, 24.0)[at]) for f, at in ((lambda *a: readiness.share(*a)[0], 0), (readiness.expected_share, 0)))
    assert np.mean(real > middle) == pytest.approx(0.5, abs=0.01) and real.mean() == pytest.approx(expected, abs=0.005)
    assert np.abs(real - middle).mean() < np.abs(real - expected).mean()


def test_the_plants_own_shape_counts():
    """Skewed plants: the share above the mean is not one half."""
    skewed = np.sort(np.random.default_rng(2).exponential(1.0, 400)) - 1.0
    assert float(readiness.plants_above(np.array(0.0), skewed - skewed.mean())) == pytest.approx(np.exp(-1), abs=0.04)


def test_everything_stays_between_nought_and_one():
    rng = np.random.default_rng(3)
    mean, sd = rng.uniform(-5, 60, (50, 40)), rng.uniform(0.01, 9, (50, 40))
    parts = (*readiness.share(mean, sd, 1e-9, NORMAL, 24.0), readiness.expected_share(mean, sd, 1e-9, NORMAL, 24.0), readiness.chance(mean, sd, 24.0), readiness.keep_share(rng.uniform(-5, 500, 900), LIMITS))
    for part in parts:
        assert np.isfinite(part).all() and part.min() >= 0 and part.max() <= 1


def test_share_and_chance_fall_with_the_target():
    mean, sd = np.full(30, 24.0), np.full(30, 0.8)
    shares = [readiness.share(mean, sd, 2.1, NORMAL, target)[0][0] for target in np.arange(18, 31, 0.5)]
    chances = [readiness.chance(mean, sd, target)[0] for target in np.arange(18, 31, 0.5)]
    assert (np.diff(shares) <= 0).all() and (np.diff(chances) < 0).all()
    assert readiness.chance(np.array([24.0]), np.array([1.0]), 24.0)[0] == pytest.approx(0.5)


def test_the_window_bridges_a_seasonal_dip_and_ends_with_the_loss():
    share = np.array([[0.3, 0.4, 0.55, 0.6, 0.45, 0.40, 0.7, 0.8]])
    keep = np.array([[1, 1, 1, 1, 1, 1, 0.95, 0.93]])
    assert readiness.windows(share, keep, LIMITS) == [(2, 6)]  # in week 7 it is called passing
    assert readiness.windows(share, np.ones((1, 8)), LIMITS) == [(2, None)]
    assert readiness.windows(np.full((1, 8), 0.1), np.ones((1, 8)), LIMITS) == [None]
    assert readiness.windows(share, np.full((1, 8), 0.9), LIMITS) == [(0, 0)]  # already past, even if it were ripe in two weeks: a window never ends before it begins


def test_loss_past_the_peak():
    """Of what is left, month by month, as the piñas' growth curve and the outlook take it: never all of a plot that still stands."""
    from webapp.outlook import supply

    age = np.array([60.0, 90.0, 94.0, 169.0])
    assert readiness.keep_share(age, LIMITS) == pytest.approx([1, 1, 0.985**4, 0.985**79])
    assert readiness.keep_share(age[:3], LIMITS) == pytest.approx(supply.keep(age[:3] / 12, LIMITS.peak_age_months / 12, LIMITS.loss_per_month))


def test_a_plot_that_loses_before_it_is_ripe_has_no_window_and_says_so():
    """One week is given all the same, that of the limit; its kind tells what it is. Ripe only after the limit is the same as never."""
    slow = np.array([[0.1, 0.2, 0.3, 0.4, 0.45], [0.1, 0.2, 0.3, 0.55, 0.6], [0.6, 0.6, 0.6, 0.6, 0.6], [0.1, 0.1, 0.55, 0.6, 0.6], [0.1, 0.1, 0.1, 0.1, 0.1]])
    keep = np.array([[0.98, 0.96, 0.93, 0.9, 0.9], [0.98, 0.96, 0.93, 0.9, 0.9], [0.9] * 5, [0.98, 0.97, 0.96, 0.93, 0.9], [1.0] * 5])
    assert readiness.windows(slow, keep, LIMITS) == [(2, 2), (2, 2), (0, 0), (2, 2), None]
    assert readiness.window_kinds(slow, keep, LIMITS) == ["unripe", "unripe", "past", "ripens", None]
    assert readiness.window_kinds(np.full((1, 5), 0.1), np.full((1, 5), 0.9), LIMITS) == ["unripe"]
    weeks = ["2026-W48", "2026-W50", "2026-W50"]
    for kind, window, code in (("unripe", weeks[:1] * 2, "unripe_now"), ("unripe", weeks[1:], "unripe"), ("past", weeks[:1] * 2, None), ("ripens", weeks[:2], None), (None, None, None)):
        said = why.window(kind, window, weeks[0], LIMITS)
        assert (said and said.code) == (code and f"ripeness.why.{code}")
        assert said is None or "6\u00a0%" in said.text("es") and "6\u00a0%" in said.text("en")


def test_a_plot_nobody_read_is_never_called_ripe():
    """Young and filling go by age and stay; near, ripe and passing become a maybe, and are counted apart."""
    plain = np.arange(5)
    assert [readiness.WORDS[i] for i in readiness.words_of(plain, False)] == ["T", "E", "C_maybe", "M_maybe", "P_maybe"]
    assert (readiness.words_of(plain, True) == plain).all()
    ripe, maybe = readiness.ripe_and_maybe(np.array([[0.6, 0.4], [0.7, 0.2], [0.1, 0.9]]), np.array([True, False, False]), 0.5)
    assert ripe.tolist() == [[True, False], [False, False], [False, False]] and maybe.tolist() == [[False, False], [True, False], [False, True]]
    assert why.maybe(3, 0, True).code == "ripeness.why.maybe" and why.maybe(3, 0, False).code == "ripeness.why.maybe_supposed" and why.maybe(3, 2, True) is None and why.maybe(1, 0, False) is None
    told = [why.reason(condition, 0.6, 0.8, 100.0, LIMITS, 0, 100.0) for condition in (2, 3, 4)]
    assert [s.code[-7:] for s in told] == ["C_maybe", "M_maybe", "P_maybe"] and all("espera" in s.text("es") and "expected" in s.text("en") for s in told)
    assert why.reason(3, 0.6, 1.0, 80.0, LIMITS, 2, 80.0).code == "ripeness.turn.M"


def test_a_young_plot_nobody_read_goes_by_its_planting():
    """Its zone is eight months behind: the plot of five months is not told to be three short of planting."""
    said = why.reason(0, 0.0, 1.0, -3.0, LIMITS, 0, 4.8)
    assert said.params == {"n": 5, "young": 42.0} and said.text("es").startswith("Lleva 5 meses plantada")
    assert why.reason(0, 0.0, 1.0, 36.0, LIMITS, 0, 44.0).code == why.reason(0, 0.0, 1.0, 20.0, LIMITS, 2, 24.0).code == "ripeness.turn.T"


def test_condition_words():
    share = np.array([0.0, 0.02, 0.02, 0.12, 0.30, 0.60, 0.60, 0.05])
    age = np.array([20.0, 41.0, 43.0, 41.0, 60.0, 70.0, 95.0, 95.0])
    letters = "".join(readiness.CONDITIONS[i] for i in readiness.condition(share, readiness.keep_share(age, LIMITS), age, LIMITS))
    assert letters == "TTEECMPP"
