"""What moves the whole estate at once: its knots, its interpolation, and the knots to come against plain conditioning."""

import numpy as np
import pytest

from webapp.ripeness import constants as k
from webapp.ripeness import shock

TODAY = 740_000.0


def test_knots_end_today_and_begin_before_the_first_visit():
    past = shock.past_knots(TODAY - 400, TODAY)
    assert past[-1] == TODAY and past[0] <= TODAY - 400 < past[1] and np.allclose(np.diff(past), shock.STEP_DAYS)
    assert list(shock.past_knots(TODAY, TODAY)) == [TODAY]
    assert len(shock.past_knots(TODAY - 40_000, TODAY)) == shock.MOST_PAST


def test_between_knots_it_is_linear_and_beyond_them_constant():
    at = np.array([0.0, 10.0, 30.0])
    height = np.array([1.0, 3.0, -1.0])
    days = np.array([-5.0, 0.0, 5.0, 10.0, 20.0, 30.0, 99.0])
    assert shock.along(days, at) @ height == pytest.approx(np.interp(days, at, height))
    assert shock.along(days, at).sum(axis=-1) == pytest.approx(np.ones(len(days)))
    assert shock.along(days[None, :, None], at[:1]).shape == (1, 7, 1, 1)


def test_the_root_gives_the_correlation_back():
    past = shock.past_knots(TODAY - 700, TODAY)
    root = shock.root(past)
    assert root @ root.T == pytest.approx(shock.correlation(past, past), abs=1e-8)


def test_knots_to_come_are_those_of_a_joint_normal():
    """The process at all knots, conditioned on what is known of the past ones: by the textbook formula for joint normals."""
    rng = np.random.default_rng(3)
    past = shock.past_knots(TODAY - 350, TODAY)
    K, sd = len(past), 0.8
    A = rng.normal(size=(K + 2, K + 2))
    theta, cov = rng.normal(size=K + 2), A @ A.T / 10
    got, got_cov = shock.extend(theta, cov, np.arange(2, K + 2), sd, past)
    turn = np.eye(K + 2)
    turn[2:, 2:] = shock.root(past)
    known, known_cov = turn @ theta, turn @ cov @ turn.T
    every = shock.knots(past)
    S = shock.correlation(every, every)
    B = S[K:, :K] @ np.linalg.inv(S[:K, :K])
    wide = sd**2 + float(k.SHOCK_AHEAD_DEG) ** 2
    assert got[: K + 2] == pytest.approx(known) and got[K + 2:] == pytest.approx(B @ known[2:], abs=1e-6)
    assert got_cov[: K + 2, : K + 2] == pytest.approx(known_cov)
    assert got_cov[K + 2:, K + 2:] == pytest.approx(B @ known_cov[2:, 2:] @ B.T + wide * (S[K:, K:] - B @ S[:K, K:]), abs=1e-6)
    assert got_cov[K + 2:, : K + 2] == pytest.approx(B @ known_cov[2:], abs=1e-6)


def test_the_rare_part_is_what_is_added_to_come():
    """Up to the fit's day none; later the difference that it makes in the extended covariance, along the same weights; its root gives it back."""
    past = shock.past_knots(TODAY - 350, TODAY)
    K, days = len(past), TODAY + np.array([-200.0, 0.0, 45.0, 364.0, 728.0, 4000.0])
    with_it = shock.extend(np.zeros(K), 0.01 * np.eye(K), np.arange(K), 0.3, past)[1]
    weight = shock.along(days, shock.knots(past))
    own = shock.rare_root()
    added = np.zeros_like(with_it)
    added[K:, K:] = own @ own.T
    fade = np.exp(-shock.AHEAD_DAYS / 7 / float(k.SHOCK_WEEKS))
    carried = np.outer(fade, fade) * with_it[K - 1, K - 1]
    assert (with_it - added)[K:, K:] - carried == pytest.approx((with_it[K:, K:] - carried) * 0.09 / (0.09 + float(k.SHOCK_AHEAD_DEG) ** 2), abs=1e-6)
    got = shock.rare_var(past, days)
    assert got == pytest.approx(((weight @ added) * weight).sum(axis=1), abs=1e-6)
    assert got[:2] == pytest.approx([0.0, 0.0]) and (np.diff(got[1:]) > 0).all()
    assert got[-1] == pytest.approx(float(k.SHOCK_AHEAD_DEG) ** 2, rel=0.01)
