"""Why a plot's word is what it is and what changes it: told by the same arrays and the same rule."""

import numpy as np
import pytest

from webapp.ripeness import narrowing, picked, readiness, turning
from webapp.ripeness.readiness import Limits
from webapp.sentences import LANGUAGES

LIMITS = Limits(24.0, 0.5, 0.25, 42.0, 90.0, 0.0145, 0.12)
WEEKS = [f"2027-W{w:02d}" for w in range(1, 53)]
SHAPE = np.sort(np.random.default_rng(3).standard_normal(300))


def arrays(seed):
    """A plot of a year: shares that wander, an age that crosses the thresholds."""
    rng = np.random.default_rng(seed)
    age = rng.uniform(30, 100) + np.arange(52) / 4.35
    share = np.clip(rng.uniform(0, 0.7) + 0.25 * np.sin(np.arange(52) / 52 * 2 * np.pi + rng.uniform(0, 6)) + rng.normal(0, 0.01, 52), 0, 1)
    keep = readiness.keep_share(age, LIMITS)
    return age, share, keep, readiness.condition(share, keep, age, LIMITS)


@pytest.mark.parametrize("seed", range(12))
def test_every_sentence_agrees_with_the_rule(seed):
    age, share, keep, condition = arrays(seed)
    said = turning.reason(int(condition[0]), share[0], keep[0], age[0], LIMITS)
    assert said.code.split(".")[-1][0] == readiness.CONDITIONS[condition[0]] and said.params["share"] == share[0] and said.params["loss"] == pytest.approx(1 - keep[0])
    found = turning.turns(condition, share, keep, WEEKS)
    word = {t["week"]: t["condition"] for t in found}
    now = condition[0]
    for week, there in zip(WEEKS[1:], condition[1:]):
        assert word.get(week, now) == there, "between two turns the word stays"
        now = there
    for turn, part in zip(found, turning.ahead(int(condition[0]), found, share, WEEKS, LIMITS)):
        assert part.params["week"] == turn["week"]
        if part.code == "ripeness.turn.up":
            assert part.params["share"] >= part.params["limit"]
        elif part.code == "ripeness.turn.down":
            assert part.params["share"] < part.params["limit"]
        elif part.code == "ripeness.turn.to_passing":
            assert part.params["loss"] >= LIMITS.loss_limit
        assert all("{" not in part.text(language) for language in LANGUAGES)


def test_no_change_says_the_most_it_reaches_and_passing_stays():
    share = np.linspace(0.3, 0.4, 52)
    only = turning.ahead(turning.NEAR, [], share, WEEKS, LIMITS)
    assert [s.code for s in only] == ["ripeness.turn.stays"] and only[0].params["top"] == pytest.approx(0.4) and only[0].params["week"] == WEEKS[-1]
    assert [s.code for s in turning.ahead(turning.YOUNG, [], share / 100, WEEKS, LIMITS)] == ["ripeness.turn.stays_none"]
    assert [s.code for s in turning.ahead(turning.PASSING, [], share, WEEKS, LIMITS)] == ["ripeness.turn.stays_passing"]


@pytest.mark.parametrize("taken, ready", [(0.0, 0.0), (0.3, 0.05)])
def test_what_lacks_brings_the_share_to_its_threshold(taken, ready):
    by = turning.lacking_deg(22.5, 0.6, 2.2, SHAPE, LIMITS, 0.5, taken, ready)
    one = [np.full((1, 1), v) for v in (22.5 + by, 0.6, 2.2)]
    share = picked.share_of_standing(*one, SHAPE, 24.0, np.full((1, 1), taken), np.full((1, 1), ready))[0]
    assert float(share[0, 0]) == pytest.approx(0.5, abs=0.003) and by > 0
    assert turning.lacking_deg(2.0, 0.6, 2.2, SHAPE, LIMITS, 0.5) is None, "nothing is said of what lies far off"
    assert [s.code for s in turning.margin(turning.NEAR, {turning.NEAR: -1.0, turning.RIPE: by})] == ["ripeness.turn.spare", "ripeness.turn.short"]
    assert turning.margin(turning.PASSING, {turning.NEAR: -1.0, turning.RIPE: by}) == []


def test_a_better_known_plot_turns_ripe_in_fewer_weeks():
    mean, plant, none = 22.0 + np.arange(104) * 0.05, np.full(104, 2.2), np.zeros(104)
    wide, close = (narrowing.known(mean, np.full(104, sd), plant, SHAPE, LIMITS, none, none) for sd in (1.2, 0.4))
    assert wide.first < close.first <= close.last < wide.last and close.width < wide.width and close.deg == pytest.approx(1.96 * 0.4, abs=1e-3)
    assert wide.share[0] < close.share[0] < close.share[1] < wide.share[1]
    assert narrowing.worth_it(wide, close) and not narrowing.worth_it(close, close)
    never = narrowing.known(mean - 12, np.full(104, 0.3), plant, SHAPE, LIMITS, none, none)
    assert never.first is None and never.last is None and never.end_first is None
    ends = [narrowing.known(mean, np.full(104, 0.4), plant, SHAPE, LIMITS, none, none, end) for end in ((40.0, 10.0), (-5.0, 2.0), (100.0, 10.0), (np.inf, 0.0))]
    assert [(e.end_first, e.end_last) for e in ends] == [(28, 53), (0, 0), (88, None), (None, None)]
