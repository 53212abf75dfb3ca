"""Plans by hand keep every rule; the check sees each rule broken; orders already out stay."""

from __future__ import annotations

import numpy as np
import pytest

from webapp.cutting import by_hand, check, form, model
from webapp.cutting.assembly import Orders, hold
from webapp.cutting.plan import Plan, account, passes, tidy
from webapp.cutting.problem import LABOR, from_arrays, to_arrays
from webapp.cutting.windows import all_windows

from .instances import estate, tiny


@pytest.mark.parametrize("seed", range(6))
def test_plans_by_hand_keep_the_rules(seed):
    problem = estate(seed, plots=80)
    for plan in by_hand.all_plans(problem):
        assert check.check(problem, plan, account(problem, plan).incremental) == [], plan.how


def test_tuned_is_never_worse_than_plain():
    problem = estate(3)
    plans = {p.how: account(problem, p).total for p in by_hand.all_plans(problem)}
    for order in by_hand.ORDERS:
        assert plans[f"{order}_tuned"] >= plans[f"{order}_plain"]


def solved(problem, **how):
    built = form.build(problem, all_windows(problem))
    return model.plan_of(problem, built, model.solve(built, seconds=20, **how).x, "model")


@pytest.fixture()
def good():
    problem = estate(5, plots=40, weeks=12, need=60.0)
    return problem, by_hand.tuned(problem, "oldest")


def test_check_sees_every_rule(good):
    problem, plan = good
    p, s, n = next(w for w in plan.windows if w[2] >= 1 and w[1] > 1)
    rules = lambda changed, made=plan: {b.rule for b in check.check(changed, made)}  # noqa: E731
    assert rules(problem) == set()
    closed = problem.closed.copy()
    closed[p, s] = LABOR
    assert "labor" in rules(problem.with_changes(closed=closed))
    assert "lease" in rules(problem.with_changes(last_week=np.where(np.arange(len(problem.plots)) == p, s - 1, problem.last_week)))
    assert {"ripe", "week_ripe"} & rules(problem.with_changes(share=problem.share * 0.3))
    assert "crew" in rules(problem.with_changes(crew_t=problem.crew_t * 0.01))
    assert "trips" in rules(problem.with_changes(trips=problem.trips * 0.01))
    assert "high" in rules(problem.with_changes(need_high=problem.need_high * 0.01))
    assert "plots" in rules(problem.with_changes(active_plots=0))
    assert "rest" in rules(problem.with_changes(rest_until=np.full(len(problem.plots), s + 1)))
    assert "value" in {b.rule for b in check.check(problem, plan, account(problem, plan).incremental + 1.0)}
    less = plan.cut.copy()
    less[p, s: s + n] *= 0.2
    assert "least" in rules(problem, Plan("x", less, plan.windows))
    assert "outside" in rules(problem, Plan("x", plan.cut, tuple(w for w in plan.windows if w[0] != p)))
    assert "longest" in rules(problem, Plan("x", plan.cut, tuple((q, a, b + 3) if q == p else (q, a, b) for q, a, b in plan.windows)))
    split = tuple(w for w in plan.windows if w[0] != p) + ((p, s - 2, 1), (p, s, n))
    assert "idle" in rules(problem, Plan("x", plan.cut, split))
    assert "numbers" in rules(problem, Plan("x", np.full_like(plan.cut, np.nan), plan.windows))
    assert "negative" in rules(problem, Plan("x", plan.cut - 1.0, plan.windows))


@pytest.mark.parametrize("seed", range(1, 6))
def test_orders_already_out_stay(seed):
    problem = estate(seed, plots=60, weeks=14, need=90.0)
    before = by_hand.tuned(problem, "oldest")
    tonnes = {(problem.plots[p], problem.weeks[0]): float(problem.keep[p, 0] * before.cut[p, 0]) for p in np.flatnonzero(before.cut[:, 0])}
    held = hold(problem, Orders(1, tonnes))
    assert held.gave_way == () and tonnes
    for plan in (*by_hand.all_plans(held), solved(held, nodes=20)):
        assert np.allclose(plan.cut[:, 0], before.cut[:, 0], atol=1e-5), plan.how
        assert check.check(held, plan, account(held, plan).incremental) == [], plan.how


def test_orders_that_no_longer_fit_say_what_gave_way():
    problem = estate(2, plots=60, weeks=14, need=90.0)
    before = by_hand.tuned(problem, "oldest")
    first = np.flatnonzero(before.cut[:, 0])
    tonnes = {(problem.plots[p], problem.weeks[0]): float(problem.keep[p, 0] * before.cut[p, 0]) for p in first}
    total = sum(tonnes.values())
    broken_trucks = problem.with_changes(trips=problem.trips * 0.1)
    held = hold(broken_trucks, Orders(1, tonnes))
    gave = {g["rule"]: g for g in held.gave_way}
    assert gave["trips"]["by"] == pytest.approx(total / 20 - problem.trips[0] * 0.1, rel=1e-6)
    plan = by_hand.plain(held, "oldest")
    assert check.check(held, plan) == []
    closed = problem.closed.copy()
    closed[first[0], 0] = 2
    held = hold(problem.with_changes(closed=closed), Orders(1, tonnes))
    assert [(g["rule"], g["plot"]) for g in held.gave_way] == [("order", problem.plots[first[0]])]
    assert held.gave_way[0]["by"] == pytest.approx(tonnes[problem.plots[first[0]], problem.weeks[0]])


def test_a_pass_under_way_goes_on_without_a_second_move():
    problem = tiny(3, plots=3, weeks=6)
    running = np.array([1, 0, 0])
    problem = problem.with_changes(running=running, rest_until=np.array([3, 0, 0]), closed=np.zeros(problem.shape, np.int8))
    table = all_windows(problem)
    mine = [(s, n, c) for p, s, n, c in zip(table.plot, table.start, table.length, table.cost) if p == 0]
    assert (0, 1, 0.0) in mine and not any(s == 0 and n > 1 for s, n, _ in mine) and all(s >= 3 for s, _, c in mine if c > 0)
    plan = solved(problem)
    assert check.check(problem, plan, account(problem, plan).incremental) == []


def test_inputs_survive_storage():
    problem = hold(estate(4, plots=20, weeks=8), Orders(1, {}))
    import json

    arrays, rest = to_arrays(problem)
    again = from_arrays(arrays, json.loads(json.dumps(rest)))
    assert again.rules == problem.rules and again.costs == problem.costs and again.plots == problem.plots
    assert all(np.array_equal(getattr(again, name), value) for name, value in arrays.items())


def test_tidy_drops_empty_ends():
    problem = tiny(2, weeks=6).with_changes(closed=np.zeros((3, 6), np.int8))
    cut = np.zeros((3, 6))
    cut[1, 2] = 5.0
    assert tidy(problem, Plan("x", cut, ((1, 1, 3), (2, 0, 2)))).windows == ((1, 2, 1),)


def test_passes_are_numbered_in_time():
    plan = Plan("x", np.zeros((2, 10)), ((0, 1, 2), (0, 8, 1), (1, 3, 1)))
    assert passes(plan)[0].tolist() == [0, 1, 1, 0, 0, 0, 0, 0, 2, 0]
