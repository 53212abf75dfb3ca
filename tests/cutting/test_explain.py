"""Reasons carry numbers, and the number moves when the input does."""

from __future__ import annotations

import numpy as np
import pytest

from webapp.cutting import by_hand, explain, making, search, view
from webapp.cutting.plan import Plan, account
from webapp.cutting.problem import OPEN, ROAD

from .instances import estate


@pytest.fixture(scope="module")
def case():
    problem = estate(11, plots=60, need=90.0)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(search, "WHOLE_NODES", 1)
        found, _ = making.make(problem, lambda: 1e6, 1, lambda done, code: done < 0.3)
    return problem, found


def prices(found):
    return {name: values.tolist() for name, values in found.prices.items()}


def test_every_plot_gets_a_reason_in_both_languages(case):
    problem, found = case
    kinds = set()
    for p in range(len(problem.plots)):
        said = explain.why(problem, found.plan, prices(found), p)
        assert said, problem.plots[p]
        kinds |= {s.code for s in said}
        assert all(problem.plots[p] in s.text(language) for s in said for language in ("es", "en"))
    assert {"cutting.why.planned", "cutting.why.unripe", "cutting.why.worth_more_later"} <= kinds


def test_the_planned_tonnes_are_the_plans(case):
    problem, found = case
    p = found.plan.windows[0][0]
    said = [s for s in explain.why(problem, found.plan, prices(found), p) if s.code == "cutting.why.planned"]
    assert sum(s.params["mass_t"] for s in said) == pytest.approx((problem.keep[p] * found.plan.cut[p]).sum())
    for s in said:  # a pass of one week names it once
        assert s.text("es").count(s.params["first"]) == 1 and s.params["last"] in s.text("en")


def test_leaving_out_names_what_it_would_cost(case):
    """The stated loss is what forcing the plot's best pass would really cost, its amounts alone changed."""
    problem, found = case
    for p in range(len(problem.plots)):
        said = [s for s in explain.why(problem, found.plan, prices(found), p) if s.code == "cutting.why.worth_more_later"]
        if said:
            s, n, tonnes, worth = explain.best_window(problem, found.plan, p, problem.gain())
            assert said[0].params["loss_mxn"] == pytest.approx(-1e3 * worth) and worth <= 0
            dearer = problem.with_changes(end_value=problem.end_value * 1.1)
            assert explain.why(dearer, found.plan, prices(found), p)[0].params["loss_mxn"] > said[0].params["loss_mxn"]
            return
    raise AssertionError("no such plot")


def test_a_closed_road_is_named_with_its_weeks(case):
    problem, found = case
    inside = {p for p, _, _ in found.plan.windows}
    p = next(p for p in range(len(problem.plots)) if p not in inside and problem.ripe[p, 0] > 0.5)
    closed = problem.closed.copy()
    closed[p, 3:8][closed[p, 3:8] == OPEN] = ROAD
    said = [s for s in explain.why(problem.with_changes(closed=closed), found.plan, prices(found), p) if s.code == "cutting.why.closed.road"]
    assert said[0].params["n"] == (closed[p] == ROAD).sum() and said[0].params["first"] == problem.weeks[int(np.flatnonzero(closed[p] == ROAD)[0])]


def test_a_plot_too_large_for_the_crews_is_said_so(case):
    """With few people no pass fits: that is the reason, with its numbers, and not that other plots use the crews better."""
    problem, found = case
    p = int(np.argmax(problem.stand_t * (problem.ripe[:, 5] > 0.6)))
    few = problem.with_changes(crew_t=np.full(len(problem.weeks), 0.02 * problem.stand_t[p]))
    said = explain.why(few, Plan("x", np.zeros(few.shape), ()), {}, p)
    assert [s.code for s in said][-1] == "cutting.why.too_big"
    told = said[-1].params
    assert told["can_t"] == pytest.approx(few.rules.longest_pass_weeks * 0.02 * problem.stand_t[p]) and told["least_t"] > told["can_t"]
    assert "las cuadrillas" in said[-1].text("es") and "the crews" in said[-1].text("en")
    assert by_hand.plain(few, "oldest").cut[p].sum() == 0  # and indeed nobody's rule can cut it


def test_an_infeasible_need_still_has_a_plan_and_says_by_how_much():
    problem = estate(11, plots=60, need=90.0)
    need = problem.need_low.copy()
    need[2] = 5000.0
    hard = problem.with_changes(need_low=need)
    plan = by_hand.plain(hard, "oldest")
    gave = [g for g in explain.gave_way(hard, plan) if g["rule"] == "low" and g["week"] == hard.weeks[2]]
    assert gave[0]["by"] == pytest.approx(5000.0 - account(hard, plan).delivered[2])
    assert f"{gave[0]['by']:,.1f}" in explain.said(gave[0]).text("es")


def test_a_lease_that_runs_out_is_said():
    problem = estate(11, plots=30, need=40.0)
    p = int(np.argmax(problem.ripe[:, 0] * problem.stand_t))
    last = problem.last_week.copy()
    last[p] = 1
    closed = problem.closed.copy()
    closed[p, 2:] = 4
    leased = problem.with_changes(last_week=last, closed=closed)
    nothing = Plan("x", np.zeros(leased.shape), ())
    gave = [g for g in explain.gave_way(leased, nothing) if g["rule"] == "lease"]
    assert gave[0]["plot"] == leased.plots[p] and gave[0]["by"] == pytest.approx(leased.stand_t[p] * leased.ripe[p, 1])


def test_what_binds_is_what_is_full(case):
    problem, found = case
    made = account(problem, found.plan)
    for w, limits in enumerate(explain.binds(problem, found.plan)):
        assert ("high" in limits) == (problem.need_high[w] > 0 and made.delivered[w] >= 0.995 * problem.need_high[w])


def test_changes_name_what_moved():
    before = {("A", "2026-W48"): 50.0, ("B", "2026-W49"): 30.0, ("C", "2026-W50"): 10.0, ("E", "2026-W50"): 10.0}
    after = {("A", "2026-W49"): 55.0, ("C", "2026-W50"): 14.0, ("D", "2026-W51"): 9.0, ("E", "2026-W50"): 10.2}
    kinds = {c["plot"]: c["kind"] for c in explain.changes(before, after, {"A": "El Tapia"})}
    assert kinds == {"A": "moved", "B": "dropped", "C": "amount", "D": "new"}
    assert explain.changes(before, before, {}) == []


@pytest.mark.parametrize("cut, bound, meta, code", [
    (1, None, {"notes": ["RuntimeError: killed"]}, "by_hand_failed"), (1, None, {"notes": ["stopped"]}, "by_hand_stopped"), (1, 9e6, {"hurried": True}, "by_hand_late"),
    (1, 9e6, {}, "by_hand_search"), (1, 1e6 + 500, {}, "by_hand_best"),
    (0, 1e6, {"passes_allowed": 0}, "empty_none"), (0, 1e6, {"passes_allowed": 7}, "empty_best"), (0, 9e6, {"passes_allowed": 7}, "empty"), (0, 9e6, {"hurried": True}, "empty_late"),
    (0, None, {"notes": ["RuntimeError: killed"]}, "empty_failed"), (0, None, {"notes": ["stopped"]}, "empty_stopped")])
def test_a_plan_that_no_search_made_says_the_real_reason(cut, bound, meta, code):
    """Only a search that the clock cut short is said to have had no time; a plan without cuts says whether any pass was allowed at all."""
    seen = view.PlanView(1, "", "", "oldest_plain", "", "by_hand", 1e6, bound, None, False, None, ({},) * 26, ({},) * cut, (), (), meta).outcome_said()
    assert seen.code == f"cutting.outcome.{code}" and ("tiempo" in seen.text("es")) == code.endswith("_late") == ("time" in seen.text("en"))
