"""The track record's scores: against closed forms, published values and what chance must do."""

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from webapp.ripeness import plain_rules, scores, track
from webapp.ripeness.track import Pairs


def pairs(seen, mean=0.0, sd=1.0, on_day=None, weeks=4, plot=None, rules=None):
    n = len(seen)
    on_day = np.arange(n) if on_day is None else np.asarray(on_day)
    return Pairs(np.array([f"P{i}" for i in range(n)], object) if plot is None else np.asarray(plot, object), on_day, on_day + 28, np.full(n, weeks), np.full(n, mean), np.full(n, sd), np.asarray(seen, float),
                 np.zeros(n, bool), rules or {})


@pytest.mark.parametrize("mean, sd, seen", [(0, 1, 0), (0, 1, 1), (0.1, 0.4, 0.5), (24, 1.5, 25.3), (24, 1.5, 30)])
def test_crps_is_the_integral_it_is_defined_by(mean, sd, seen):
    """∫(F(x) − 1{x ≥ y})² dx, and twice the mean pinball loss over the quantiles (Gneiting & Raftery 2007)."""
    below, above = (integrate.quad(f, *ends)[0] for f, ends in ((lambda x: stats.norm.cdf(x, mean, sd) ** 2, (mean - 12 * sd, seen)), (lambda x: stats.norm.sf(x, mean, sd) ** 2, (seen, max(seen, mean) + 12 * sd))))
    assert scores.crps_normal(mean, sd, seen) == pytest.approx(below + above, abs=1e-7)
    tau = (np.arange(20000) + 0.5) / 20000
    q = stats.norm.ppf(tau, mean, sd)
    pinball = np.where(seen >= q, (seen - q) * tau, (q - seen) * (1 - tau))
    assert scores.crps_normal(mean, sd, seen) == pytest.approx(2 * pinball.mean(), rel=1e-3)


def test_a_calibrated_forecast_scores_what_theory_says():
    """Mean CRPS of N(m, s²) on its own outcomes is s/√π; the mean 80 % interval score 2 z s + (20 s)(φ(z) − 0.1 z)."""
    seen = stats.norm.ppf((np.arange(4000) + 0.5) / 4000) * 1.5
    found = track.judge(pairs(seen, 0.0, 1.5))
    z = track.Z80
    assert found["crps"] == pytest.approx(1.5 / np.sqrt(np.pi), rel=2e-3)
    assert found["interval80"] == pytest.approx(1.5 * (2 * z + 20 * (stats.norm.pdf(z) - 0.1 * z)), rel=2e-3)
    assert found["cover80"]["value"] == pytest.approx(0.80, abs=1e-3) and found["cover95"]["value"] == pytest.approx(0.95, abs=1e-3)
    assert found["bias"]["low"] < 0 < found["bias"]["high"]


def test_interval_score_is_two_pinballs():
    # (2/α)(pinball_α/2(low) + pinball_1−α/2(high)): 29 against 22–28 at 90 % is 26
    pin = lambda y, q, tau: (y - q) * tau if y >= q else (q - y) * (1 - tau)  # noqa: E731
    assert 2 / 0.1 * (pin(29, 22, 0.05) + pin(29, 28, 0.95)) == pytest.approx(26)
    assert scores.interval_score(22.0, 28.0, 29.0, 0.1) == pytest.approx(26)


def test_a_share_s_interval_is_clopper_pearson_where_pairs_are_independent():
    # R binom.test(80, 100): 0.7081573 0.8733444; binom.test(4, 30): 0.0375535 0.3072184
    for hits, n, low, high in ((80, 100, 0.7081573, 0.8733444), (4, 30, 0.0375535, 0.3072184)):
        found = track.share_of(np.arange(n) < hits, np.zeros(n))  # one day: nothing between days to see
        assert (found["low"], found["high"]) == pytest.approx((low, high), abs=1e-6) and found["n_effective"] == n
    assert track.share_of(np.ones(10, bool), np.arange(10))["high"] == 1.0 and track.share_of(np.zeros(10, bool), np.arange(10))["low"] == 0.0


def test_days_that_hit_and_miss_as_one_count_for_little():
    day = np.repeat(np.arange(8), 25)
    hits = day < 6  # six days all hit, two all miss
    alone, together = track.share_of(hits, np.arange(len(hits))), track.share_of(hits, day)
    assert together["n_effective"] < 10 < alone["n_effective"] <= 200
    assert together["low"] < alone["low"] and together["high"] > alone["high"]
    off = np.where(day < 4, 1.0, -1.0)
    assert track.mean_of(off, day)["high"] > 3 * track.mean_of(off, np.arange(len(off)))["high"]


def test_intervals_hold_what_they_say_when_days_share_their_luck():
    """95 % intervals of the mean over 12 days with a common error: by simulation, within the binomial's 99.9 % range of 300."""
    rng, held = np.random.default_rng(5), 0
    day = np.repeat(np.arange(12), 20)
    for _ in range(300):
        values = rng.normal(0, 0.6, 12)[day] + rng.normal(0, 1, len(day))
        found = track.mean_of(values, day)
        held += found["low"] <= 0 <= found["high"]
    assert 268 <= held <= 297


def test_too_few_pairs_are_counted_and_not_scored():
    found = track.judge(pairs(np.zeros(track.LEAST_PAIRS - 1)))
    assert found["enough"] is False and found["n"] == 29 and found["needed"] == 30 and "cover80" not in found
    assert track.calibration(pairs(np.zeros(49))) is None and track.calibration(pairs(np.zeros(50)))["bars"] == 5
    nothing = track.judge(pairs(np.zeros(0)))
    assert nothing["n"] == 0 and nothing["days"] == 0 and track.worst(pairs(np.zeros(0))) == []


@pytest.mark.parametrize("shape, seen", [("even", 1.0), ("narrow", 2.0), ("wide", 0.4)])
def test_the_calibration_names_its_shape(shape, seen):
    values = stats.norm.ppf((np.arange(200) + 0.5) / 200)
    found = track.calibration(pairs(values * seen))
    assert found["shape"] == shape and sum(found["count"]) == 200 and found["expected"] == 20
    assert (found["low"], found["high"]) == (stats.binom.ppf(0.025, 200, 0.1), stats.binom.ppf(0.975, 200, 0.1))
    assert track.calibration(pairs(values + 1))["shape"] == "low" and track.calibration(pairs(values - 1))["shape"] == "high"


def test_ratio_against_a_rule():
    seen = np.random.default_rng(1).normal(0, 1, 400)
    p = pairs(seen, rules={"flat": (np.full(400, 1.5), np.full(400, 1.0))})
    found = track.judge(p)["rules"]["flat"]
    assert found["ratio"]["value"] == pytest.approx(track.judge(p)["crps"] / found["crps"]) and found["ratio"]["high"] < 1 and found["cover80"] < 0.5
    same = track.ratio_of(np.arange(1.0, 9.0), np.arange(1.0, 9.0), np.arange(8))
    assert same == {"value": 1.0, "low": 1.0, "high": 1.0}


def test_pairs_are_the_nearest_and_count_once():
    said = pd.DataFrame({"plot": ["A", "A", "A", "B"], "on_day": [0, 7, 0, 0], "target": [28, 35, 84, 28], "weeks": [4, 4, 12, 4], "what": [1, 2, 3, 4]})
    came = pd.DataFrame({"plot": ["A", "A", "A", "B"], "day": [33, 36, 100, 60], "seen": [10.0, 11.0, 12.0, 13.0]})
    found = track.match(said, came)
    assert found[["what", "seen"]].values.tolist() == [[2, 11.0], [3, 12.0]]  # day 33 and 36 both lie nearest to 35: one stays; B came too late
    assert not len(track.match(said.iloc[:0], came)) and not len(track.match(said, came.iloc[:0]))


def test_worst_plots_lean_one_way():
    plot = ["A"] * 4 + ["B"] * 4 + ["C"]
    p = pairs([2, 2, 2, 2, 3, -3, 3, -3, 9], plot=plot)
    found = track.worst(p)
    assert [row["plot"] for row in found] == ["A", "B"] and found[0]["z"] == pytest.approx(4.0) and found[0]["error"] == pytest.approx(-2.0) and found[1]["z"] == 0


def test_a_plain_rule_carries_the_last_value():
    e = plain_rules.Earlier(np.array([0, 0, 1]), np.array([0.0, 70.0, 0.0]), np.array([10.0, 12.0, 20.0]), np.array([9.0, 10.0, 20.0]))
    mean, sd = plain_rules.carried(e, np.array([0, 1, 2]), np.array([11.0, 21.0, 30.0]), np.array([1, 1, 1]), 3)
    assert mean == pytest.approx([13.0, 21.0, 31.0])  # two above its curve; on it; never seen: the estate's mean distance
    assert sd[:2] == pytest.approx(1.0) and sd[2] == pytest.approx(np.std([1, 2, 0]))


def by_days(*shares, n=40, weeks=4):
    """Pairs of so many days: of each that share came inside its 80 % interval."""
    seen = np.concatenate([np.where(np.arange(n) < round(share * n), 0.0, 5.0) for share in shares])
    day = np.repeat(np.arange(len(shares)) * 91, n)
    return pairs(seen, on_day=day, plot=np.tile([f"P{i}" for i in range(n)], len(shares)), weeks=weeks)


@pytest.mark.parametrize("shares, kind, first", [((0.9, 0.9, 0.9, 0.5), "narrow", 273), ((0.95, 0.95, 0.95, 0.725), "fell", 273), ((0.8, 0.8, 0.8, 0.8), "same", 273), ((0.5, 0.5, 0.5, 0.8), "rose", 273), ((0.8, 0.8, 0.8, 1.0), "wide", 273)])
def test_the_latest_days_are_told_apart_only_beyond_chance(shares, kind, first):
    found = track.latest(by_days(*shares))
    assert (found["kind"], found["first"], found["days"], found["n"]) == (kind, first, 1, 40)
    assert found["cover80"]["value"] == pytest.approx(shares[-1]) and found["before"]["value"] == pytest.approx(shares[0])


def test_days_with_few_outcomes_are_taken_together_and_a_single_period_is_none():
    assert track.latest(by_days(0.8, 0.8, 0.5, n=16))["days"] == 2
    assert track.latest(by_days(0.5)) is None and track.latest(by_days(0.8, 0.5, n=15)) is None and track.latest(by_days(0.8, n=5)) is None
    far, near = by_days(1.0, 1.0, weeks=26), by_days(0.9, 0.9, 0.5)
    both = Pairs(*(np.concatenate([getattr(far, name), getattr(near, name)]) for name in ("plot", "on_day", "day", "weeks", "mean", "sd", "seen", "replayed")))
    assert track.latest(both)["before"]["value"] == pytest.approx(0.9), "held against days before that were spoken of as far ahead"


def test_the_latest_days_of_calibrated_forecasts_are_rarely_called_odd():
    """Four quarters of 40 independent pairs at 80 %: by simulation, one in ten at the most is said to differ."""
    rng, odd = np.random.default_rng(3), 0
    for _ in range(200):
        odd += track.latest(by_days(*(rng.binomial(40, 0.8, 4) / 40)))["kind"] != "same"
    assert odd <= 20
