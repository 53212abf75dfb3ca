"""The general two-stage code against textbook problems and its own laws."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.stats import norm

from webapp.outlook import scenario


def program(cost, high, first_rows, first_high, t, w, q, y_high, row_low, weight=None):
    """Dense matrices in, arrays of a TwoStage out: t [S, k, n], w [S, k, m], q [S, m]; rows are ≥ row_low [S, k]."""
    t, w = np.asarray(t, float), np.asarray(w, float)
    count, k, n = t.shape
    m = w.shape[2]
    t_row, t_col = (a.ravel() for a in np.indices((k, n)))
    w_row, w_col = (a.ravel() for a in np.indices((k, m)))
    row_low = np.broadcast_to(np.asarray(row_low, float), (count, k)).copy()
    return scenario.TwoStage(
        cost=np.asarray(cost, float), low=np.zeros(n), high=np.asarray(high, float),
        first_rows=sparse.csr_matrix(np.atleast_2d(first_rows)), first_low=np.full(len(first_high), -np.inf), first_high=np.asarray(first_high, float),
        t_row=t_row, t_col=t_col, t_value=t.reshape(count, -1), w_row=w_row, w_col=w_col, w_value=w.reshape(count, -1),
        q=np.broadcast_to(np.asarray(q, float), (count, m)).copy(), y_low=np.zeros((count, m)), y_high=np.broadcast_to(np.asarray(y_high, float), (count, m)).copy(),
        row_low=row_low, row_high=np.full((count, k), np.inf), weight=np.full(count, 1 / count) if weight is None else np.asarray(weight))


def farmer():
    """Birge & Louveaux, Introduction to Stochastic Programming, §1.1: 500 acres of wheat, corn and beet."""
    w = np.array([[-1, 1, 0, 0, 0, 0], [0, 0, -1, 1, 0, 0], [0, 0, 0, 0, -1, -1]]) * 1.0  # sold wheat, bought wheat, sold corn, bought corn, beet, beet beyond quota
    t = [np.diag([2.5 * f, 3 * f, 20 * f]) for f in (1.2, 1.0, 0.8)]
    return program([150, 230, 260], [np.inf] * 3, [[1, 1, 1]], [500], t, [w] * 3,
                   [-170, 238, -150, 210, -36, -10], [np.inf, np.inf, np.inf, np.inf, 6000, np.inf], [200, 240, 0])


def test_farmer_problem():
    """RP 108,390; WS 115,405.56; EV 118,600; EEV 107,240; EVPI 7,015.56; VSS 1,150 (Birge & Louveaux)."""
    problem = farmer()
    best = scenario.recourse(problem)
    assert best.cost == pytest.approx(-108_390, abs=0.01)
    assert best.x == pytest.approx([170, 80, 250], abs=1e-6)
    m = scenario.measures(problem)
    assert m.ws == pytest.approx(-115_405.56, abs=0.01)
    assert m.ev == pytest.approx(-118_600, abs=0.01)
    assert m.eev == pytest.approx(-107_240, abs=0.01)
    assert m.evpi == pytest.approx(7_015.56, abs=0.01)
    assert m.vss == pytest.approx(1_150, abs=0.01)
    assert scenario.mean_value(problem).x == pytest.approx([120, 80, 300], abs=1e-6)


@pytest.mark.parametrize("method", ["simplex", "ipm", "choose"])
def test_methods_agree(method):
    assert scenario.recourse(farmer(), method=method).cost == pytest.approx(-108_390, abs=0.01)


def test_newsvendor():
    """h = 0.18, p = 0.70, N(50, 8): order 56.604, cost 1.99761 (Snyder & Shen, Fundamentals of Supply Chain Theory; stockpyl 1.0.2 docs)."""
    count = 2000
    demand = norm.ppf((np.arange(count) + 0.5) / count, 50, 8)
    t, w = np.ones((count, 1, 1)), np.broadcast_to(np.array([[1.0, -1.0]]), (count, 1, 2))
    base = program([0.0], [500], [[1.0]], [500], t, w, [0.70, 0.18], [np.inf, np.inf], demand[:, None])
    problem = scenario.replace(base, row_high=base.row_low)  # order + short − left over = demand
    best = scenario.recourse(problem)
    assert best.x[0] == pytest.approx(56.604, abs=0.03)
    assert best.cost == pytest.approx(1.9976, abs=0.003)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0.5, 1.5), min_size=2, max_size=5), st.integers(0, 10_000))
def test_order_of_the_measures(factors, seed):
    """WS ≤ RP ≤ EEV in cost, whatever the futures; and the order of the futures doesn't matter."""
    rng = np.random.default_rng(seed)
    w = np.array([[-1, 1, 0, 0, 0, 0], [0, 0, -1, 1, 0, 0], [0, 0, 0, 0, -1, -1]]) * 1.0
    weight = rng.dirichlet(np.ones(len(factors)))
    problem = program([150, 230, 260], [np.inf] * 3, [[1, 1, 1]], [500], [np.diag([2.5, 3, 20]) * f for f in factors], [w] * len(factors),
                      [-170, 238, -150, 210, -36, -10], [np.inf] * 4 + [6000, np.inf], [200, 240, 0], weight)
    m = scenario.measures(problem)
    assert m.ws <= m.rp + 1e-6 * abs(m.rp) and m.rp <= m.eev + 1e-6 * abs(m.eev)
    order = rng.permutation(len(factors))
    assert scenario.recourse(problem.only(order)).cost == pytest.approx(m.rp, rel=1e-9)


def test_risk_weight_lifts_the_worst_future():
    problem = farmer()
    plain, careful = scenario.recourse(problem), scenario.recourse(problem, risk_weight=0.9, risk_tail=1 / 3)
    assert careful.future_cost.max() < plain.future_cost.max() - 1
    assert careful.cost >= plain.cost


def test_fixed_first_stage_costs_what_it_says():
    problem = farmer()
    held = scenario.at(problem, np.array([170.0, 80.0, 250.0]))
    assert held.cost == pytest.approx(-108_390, abs=0.01)
    assert held.future_cost == pytest.approx([-167_000, -109_350, -48_820], abs=0.5)  # Birge & Louveaux, table 1.5
