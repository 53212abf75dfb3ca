"""A morning's round: fits, is stable, and comes near what trying everything finds."""

from itertools import permutations, product

import numpy as np
import pytest

from webapp.crop import day_round, walking
from webapp.crop.day_round import Stop, minutes_of, plan


def instance(seed, plots, works=3):
    """Random places, gains of three works, and topics that several plots tell of (so that the gain is submodular)."""
    rng = np.random.default_rng(seed)
    place = rng.uniform(0, 60, (plots + 1, 2))
    legs = np.hypot(*(place[:, None, :] - place[None, :, :]).transpose(2, 0, 1)) / 2
    gain = np.zeros((plots, 3))
    gain[:, 0], gain[:, 1] = rng.gamma(1.5, 1, plots), rng.gamma(0.7, 0.5, plots)
    gain[:, 2] = gain[:, 0] + gain[:, 1]
    gain[:, works:] = 0.0
    topics = rng.random((plots, 3)) < 0.5

    def gain_of(stops):
        own = sum(gain[s.plot, s.work] for s in stops)
        told = np.zeros(3, bool)
        for s in stops:
            if s.work != 1:
                told |= topics[s.plot]
        return float(own + 0.4 * told.sum())

    alone = np.array([[gain_of((Stop(i, k),)) if k < works else 0.0 for k in range(3)] for i in range(plots)])
    return alone, gain_of, legs, np.tile([40.0, 30.0, 62.0], (plots, 1))


def best_of_all(alone, gain_of, legs, work, limit, works=3):
    """Every set of plots, every work in each, in every order."""
    P, best = len(alone), 0.0
    for picked in product([None, *range(works)], repeat=P):
        stops = [Stop(i, k) for i, k in enumerate(picked) if k is not None]
        if gain_of(stops) <= best or sum(work[s.plot, s.work] for s in stops) > limit:
            continue
        if any(minutes_of(order, legs, work, P) <= limit + 1e-9 for order in permutations(stops)):
            best = gain_of(stops)
    return best


@pytest.mark.parametrize("plots, works, seeds", [(4, 3, 12), (7, 1, 12)])
def test_near_the_best_of_all(plots, works, seeds):
    parts = []
    for seed in range(seeds):
        case = instance(seed, plots, works)
        found = plan(*case, limit_minutes=240.0)
        parts.append(found.gain / best_of_all(*case, 240.0, works))
        assert found.gain == pytest.approx(case[1](found.stops)) and found.minutes == pytest.approx(minutes_of(found.stops, case[2], case[3], plots))
        assert found.minutes <= 240 and len({s.plot for s in found.stops}) == len(found.stops)
    assert max(parts) <= 1 + 1e-9 and min(parts) > 0.9 and np.mean(parts) > 0.98, parts


def test_ties_and_order_are_stable():
    legs = np.full((7, 7), 10.0)
    np.fill_diagonal(legs, 0.0)
    gain, work = np.zeros((6, 3)), np.tile([40.0, 30.0, 62.0], (6, 1))
    gain[:, 0] = 1.0
    found = [plan(gain, lambda stops: float(len(stops)), legs, work, 170.0) for _ in range(3)]
    assert found[0] == found[1] == found[2] and {s.plot for s in found[0].stops} == {0, 1, 2}  # the first of equals


def test_nothing_fits_nothing_is_worth_it_or_nothing_is_there():
    gain, gain_of, legs, work = instance(1, 4)
    for made in (plan(gain, gain_of, legs, work, 20.0), plan(0 * gain, lambda stops: 0.0, legs, work, 300.0), plan(gain, gain_of, legs, work, 300.0, np.zeros(4, bool)),
                 plan(np.zeros((0, 3)), lambda stops: 0.0, np.zeros((1, 1)), np.zeros((0, 3)), 300.0)):
        assert made == day_round.Round((), 0.0, 0.0, ())
    shut = plan(gain, gain_of, legs, work, 300.0, np.array([False, True, True, True]))
    assert 0 not in {s.plot for s in shut.stops} and shut.stops


PACE = walking.Pace(4.0, 20.0, 8.0, 1.4, 10.0, 3.0, 6.0, 12)


def test_minutes_of_ways_and_work():
    assert PACE.work().tolist() == [46.0, 40.0, 76.0]
    assert PACE.way(np.array([0.0, 200.0, 10_000.0])) == pytest.approx([0.0, 60 * 0.28 / 4, 8 + 60 * 14 / 20])  # near on foot, far by pick-up
    legs = walking.legs(np.array([20.6, 20.6]), np.array([-103.0, -103.01]), PACE, (20.6, -103.0))
    metres = 0.01 * walking.METRES_PER_DEGREE * np.cos(np.radians(20.6))
    assert walking.from_start(np.array([20.6, 20.6]), np.array([-103.0, -103.01]), PACE, (20.6, -103.0)) == pytest.approx(legs[2, :2])
    assert legs == pytest.approx(legs.T) and legs[0, 1] == pytest.approx(PACE.way(metres)) and legs[2, 0] == 0


def test_plots_without_a_place_are_as_far_as_the_usual_leg():
    legs = walking.legs(np.array([20.6, np.nan, 20.7]), np.array([-103.0, np.nan, -103.0]), PACE)
    assert np.isfinite(legs).all() and legs[0, 1] == legs[1, 2] == legs[3, 1] > 0
    nowhere = walking.legs(np.full(3, np.nan), np.full(3, np.nan), PACE)
    assert nowhere.tolist() == np.zeros((4, 4)).tolist()
    assert np.isfinite(walking.from_start(np.array([20.6, np.nan]), np.array([-103.0, np.nan]), PACE)).all()
    assert walking.legs(np.zeros(0), np.zeros(0), PACE).shape == (1, 1)
