"""The cutting window and the condition words are one rule: ripe from its first week, passing the week after its last; and what is not sure is not told as sure."""

import numpy as np
import pytest

from webapp.ripeness import readiness, service, turning, why
from webapp.ripeness.readiness import PAST, RIPENS, UNRIPE, Limits
from webapp.sentences import LANGUAGES, format_chance, format_share

RIPE, PASSING = turning.RIPE, turning.PASSING


def held(window, kind, words):
    """What a window and its kind say of a plot's words, week by week."""
    passing = words == PASSING
    if kind is None:
        assert window is None and (words < RIPE).all()
    elif kind == PAST:
        assert window == (0, 0) and passing.all()
    elif kind == UNRIPE:
        assert window[0] == window[1] and passing[window[0]:].all() and (words[: window[0]] < RIPE).all(), "never ripe before its limit"
    else:
        first, last = window
        assert kind == RIPENS and words[first] == RIPE and (words[:first] < RIPE).all(), "ripe from its first week on"
        if last is None:
            assert not passing.any()
        else:
            assert first <= last and not passing[: last + 1].any() and passing[last + 1:].all() and last + 1 < len(words), "passing from the week after its last"


@pytest.mark.parametrize("seed", range(6))
def test_window_and_words_agree_over_all_weeks_of_simulated_plots(seed):
    rng = np.random.default_rng(seed)
    limits = Limits(24.0, float(rng.choice([0.3, 0.5, 0.7])), 0.25, 42.0, 90.0, float(rng.choice([0.0, 0.0145, 0.05])), float(rng.choice([0.02, 0.12, 0.3])))
    weeks = np.arange(105) / 4.35
    age = rng.uniform(20, 130, (400, 1)) + weeks
    wave = 0.3 * np.sin(2 * np.pi * (np.arange(105) / 52 + rng.random((400, 1))))
    share = np.clip(rng.uniform(-0.3, 1.0, (400, 1)) + rng.uniform(0, 0.03, (400, 1)) * weeks + wave, 0, 1)
    keep = readiness.keep_share(age, limits)
    words = readiness.condition(share, keep, age, limits)
    kinds, windows = readiness.window_kinds(share, keep, limits), readiness.windows(share, keep, limits)
    for window, kind, row in zip(windows, kinds, words):
        held(window, kind, row)
    assert {RIPENS, UNRIPE} <= set(kinds) or not limits.loss_per_month


def test_window_and_words_agree_over_all_weeks_of_the_demo(demo):
    a = service.answer(demo)
    weeks, ended = a.meta["weeks"], 0
    for i, code in enumerate(a.meta["plots"]):
        about = a.meta["by_plot"][code]
        window = about["window"] and tuple(w and weeks.index(w) for w in about["window"])
        held(window, about["window_kind"], a.arrays["condition"][i])
        ended += about["window_kind"] == RIPENS and window[1] is not None
    assert ended > 10, "many windows end within the weeks shown"


def test_a_window_of_this_week_alone_is_not_past():
    shares, keep = np.full((1, 4), 0.8), np.array([[0.95, 0.87, 0.86, 0.85]])
    limits = Limits(24.0, 0.5, 0.25, 42.0, 90.0, 0.0145, 0.12)
    assert readiness.windows(shares, keep, limits) == [(0, 0)] and readiness.window_kinds(shares, keep, limits) == [RIPENS]
    assert why.window_short(RIPENS, ["2026-W48", "2026-W48"], "2026-W48") is None and why.window_short(PAST, ["2026-W48", "2026-W48"], "2026-W48") is not None


def test_chances_are_never_all_or_nothing_and_shares_never_cross_their_threshold():
    assert [format_chance(p).replace("\u00a0", " ") for p in (0.0, 0.004, 0.006, 0.54, 0.994, 0.9951, 1.0)] == ["< 1 %", "< 1 %", "1 %", "54 %", "99 %", "> 99 %", "> 99 %"]
    limits = (0.25, 0.5)
    assert [format_share(s, limits).replace("\u00a0", " ") for s in (0.4994, 0.49996, 0.5, 0.2478, 0.331, 0.0, 1.0)] == ["49.9 %", "49.996 %", "50 %", "24.8 %", "33 %", "0 %", "100 %"]
    for share in np.random.default_rng(1).random(2000):
        shown = float(format_share(share, limits).split("\u00a0")[0]) / 100
        assert all((shown >= limit) == (share >= limit) for limit in limits)


def test_a_reason_is_not_rounded_onto_the_threshold_it_misses():
    limits = Limits(24.0, 0.5, 0.25, 42.0, 90.0, 0.0145, 0.12)
    for language in LANGUAGES:
        assert "49.9\u00a0%" in turning.reason(turning.NEAR, 0.49996, 1.0, 80.0, limits).text(language)


@pytest.mark.parametrize("condition, chance, hangs", [(turning.RIPE, 0.54, True), (turning.RIPE, 0.95, False), (turning.NEAR, 0.35, True), (turning.NEAR, 0.01, False), (turning.PASSING, 0.5, False)])
def test_a_word_on_a_coin_toss_hangs(condition, chance, hangs):
    assert turning.hangs(condition, chance) is hangs


def test_how_likely_it_is_ripe_enough_is_how_likely_its_mean_reaches_what_lacks():
    limits = Limits(24.0, 0.5, 0.25, 42.0, 90.0, 0.0145, 0.12)
    assert turning.chance_ripe_enough(0.0, 0.5, 0.4, 0.0, limits) == pytest.approx(0.5)
    assert turning.chance_ripe_enough(-0.4, 0.6, 0.4, 0.0, limits) == pytest.approx(0.8413, abs=1e-4)
    assert turning.chance_ripe_enough(None, 0.9, 0.4, 0.0, limits) == 1 and turning.chance_ripe_enough(None, 0.0, 0.4, 0.0, limits) == 0


def test_passing_says_why_sugar_that_rises_is_no_reason_to_wait():
    limits = Limits(24.0, 0.5, 0.25, 42.0, 90.0, 0.0145, 0.12)
    said = turning.ahead(turning.PASSING, [], np.full(4, 0.9), ["2027-W01"] * 4, limits)[0]
    assert "época" in said.text("es") and f"{0.0145:.1%}"[:-1] in said.text("es") and "season" in said.text("en")
