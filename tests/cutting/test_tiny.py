"""The model against every plan there is, on cases small enough to list."""

from __future__ import annotations

import pytest

from webapp.cutting import check, form, model
from webapp.cutting.plan import account
from webapp.cutting.windows import all_windows

from .brute import best
from .instances import tiny


@pytest.mark.parametrize("seed, plots, weeks, idle, longest", [(1, 2, 5, 1, 2), (2, 2, 5, 1, 2), (3, 2, 6, 2, 3), (4, 2, 6, 1, 3), (5, 3, 4, 1, 1), (6, 3, 4, 1, 2)])
def test_equals_brute_force(seed, plots, weeks, idle, longest):
    problem = tiny(seed, plots, weeks, idle, longest)
    listed = best(problem)
    built = form.build(problem, all_windows(problem))
    solved = model.solve(built, seconds=20, gap=1e-7)
    plan = model.plan_of(problem, built, solved.x, "model")
    value = account(problem, plan).incremental
    assert solved.proven and solved.bound == pytest.approx(listed, abs=1e-4)
    assert value == pytest.approx(listed, abs=1e-4)
    assert check.check(problem, plan, value) == []


@pytest.mark.parametrize("seed", range(1, 9))
def test_the_relaxed_model_is_a_bound(seed):
    problem = tiny(seed)
    built = form.build(problem, all_windows(problem))
    relaxed, whole = model.solve(built, whole=False), model.solve(built, seconds=20)
    assert relaxed.value >= whole.value - 1e-6
