"""The search: never worse than people's plans, repeatable, honest about its bound, alive when the solver dies."""

from __future__ import annotations

import numpy as np
import pytest

from webapp.cutting import by_hand, check, making, model, search
from webapp.cutting.plan import account
from webapp.solver import BY_HAND, USABLE

from .instances import estate, tiny


def clock(total=1e6):
    """A count-down that a machine's speed can't touch: each look takes a tick."""
    ticks = [float(total)]

    def left():
        ticks[0] -= 0.01
        return ticks[0]
    return left


@pytest.fixture(scope="module", autouse=True)
def little_work():
    """Less work than in earnest, all of it counted in nodes: the tests must not depend on the machine's speed."""
    with pytest.MonkeyPatch.context() as patch:
        for name, value in (("WHOLE_NODES", 1), ("FIRST_NODES", 20), ("ROUND_NODES", 10), ("ROUNDS", 6), ("FIRST_SECONDS", 60.0), ("ROUND_SECONDS", 60.0), ("WHOLE_SECONDS", 60.0)):
            patch.setattr(search, name, value)
        yield


@pytest.fixture(scope="module")
def small():
    return estate(11, plots=60, weeks=18, need=70.0)


@pytest.fixture(scope="module")
def found(small):
    return making.make(small, clock(), 1, lambda done, code: True)


def test_better_than_every_plan_by_hand_and_below_the_bound(small, found):
    best, hand = found
    assert best.plan.how == "search" and not best.failed
    assert check.check(small, best.plan, best.value) == []
    assert best.value > max(account(small, plan).incremental for plan in hand)
    assert best.value <= best.bound + 1e-6


def test_beats_oldest_first_by_three_percent(small, found):
    best, hand = found
    plain = account(small, hand[0]).incremental
    assert hand[0].how == "oldest_plain" and (best.value - plain) / best.value >= 0.03


def test_same_seed_same_plan(small, found):
    again, _ = making.make(small, clock(), 1, lambda done, code: True)
    assert np.array_equal(again.plan.cut, found[0].plan.cut) and again.value == found[0].value and again.log == found[0].log


@pytest.mark.parametrize("seed", range(1, 7))
def test_never_worse_than_by_hand_on_tiny_cases(seed):
    problem = tiny(seed, plots=4, weeks=7)
    best, hand = making.make(problem, clock(), 1, lambda done, code: True)
    assert best.value >= max(account(problem, plan).incremental for plan in hand) - 1e-9
    assert check.check(problem, best.plan, best.value) == []


def test_a_solver_that_dies_leaves_the_plan_by_hand_named_so(small, monkeypatch):
    from webapp.cutting.view import outcome_of

    def dies(*args, **kwargs):
        raise MemoryError("the solver's process was killed")
    monkeypatch.setattr(model, "solve", dies)
    best, hand = making.make(small, clock(), 1, lambda done, code: True)
    assert best.plan.how in by_hand.NAMES and "killed" in best.failed and best.bound is None
    assert best.value == max(account(small, plan).incremental for plan in hand)
    outcome = outcome_of(best, 1.0)
    assert outcome.word == BY_HAND and outcome.gap is None


def test_a_solver_that_dies_on_the_way_leaves_the_best_so_far_with_its_gap(small, monkeypatch):
    from webapp.cutting.view import outcome_of

    real = model.solve

    def dies_at_the_end(*args, **kwargs):
        if kwargs.get("nodes") == search.WHOLE_NODES:
            raise model.SolverFailed("no memory")
        return real(*args, **kwargs)
    monkeypatch.setattr(model, "solve", dies_at_the_end)
    best, _ = making.make(small, clock(), 1, lambda done, code: True)
    outcome = outcome_of(best, 1.0)
    assert best.plan.how == "search" and best.failed == "no memory" and outcome.word == USABLE and outcome.gap > 0
    assert check.check(small, best.plan, best.value) == []


def test_no_time_at_all_gives_the_plan_by_hand(small):
    best, hand = making.make(small, lambda: 0.0, 1, lambda done, code: True)
    assert check.check(small, best.plan, best.value) == []
    assert best.value >= max(account(small, plan).incremental for plan in hand)


def test_stop_keeps_the_best_so_far(small):
    best, _ = making.make(small, clock(), 1, lambda done, code: done < 0.25)
    assert best.stopped and check.check(small, best.plan, best.value) == []


def test_the_whole_model_tightens_the_bound(small, found):
    assert dict(found[0].log)["whole"] <= dict(found[0].log)["relaxed"] + 1e-6
