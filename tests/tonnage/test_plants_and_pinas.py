"""The account of plants keeps its law; the growth curve learns from weighings and loads and says how sure it is."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.tonnage import balance, pina, weighed
from webapp.tonnage.balance import COUNT, CUT, LOSS, REPLANT, Event
from webapp.tonnage.weighed import WEIGHING, Seen

START, TODAY = date(2020, 7, 1), date(2026, 11, 23)
DAYS = st.dates(START, TODAY)


@given(st.lists(st.tuples(DAYS, st.sampled_from([CUT, LOSS, REPLANT, COUNT]), st.floats(0, 8000)), max_size=8), st.floats(0, 0.2))
def test_the_balance_law(events, mortality):
    """planted + replanted − cut − recorded losses − estimated losses = standing, exactly, whatever happened."""
    a = balance.run(30_000, 900, START, [Event(d, k, n, 400.0) for d, k, n in events], TODAY, mortality)
    assert a.planted + a.replanted - a.cut - a.recorded_losses - a.estimated_losses == pytest.approx(a.standing, abs=1e-6)
    assert a.standing >= 0 and np.isfinite(a.sd) and a.sd > 0


# Source: (1 − m)^7, arithmetic: 2, 3, 5 % a year leave 0.8681, 0.8080, 0.6983 after seven years.
@pytest.mark.parametrize("mortality, left", [(0.02, 0.8681), (0.03, 0.8080), (0.05, 0.6983)])
def test_survival(mortality, left):
    assert balance.survival(mortality, 7) == pytest.approx(left, abs=1e-4)
    a = balance.run(1000, 0.001, START, [], START + timedelta(days=round(7 * 365.25)), mortality)
    assert a.standing == pytest.approx(1000 * left, rel=1e-3)


def test_a_count_moves_the_account_and_tells_its_z():
    without = balance.run(30_000, 900, START, [], TODAY, 0.03)
    seen = balance.run(30_000, 900, START, [Event(TODAY, COUNT, 20_000, 600)], TODAY, 0.03)
    assert 20_000 < seen.standing < without.standing and seen.sd < without.sd and seen.count_z < -2 and seen.n_counts == 1


def test_cut_plants_are_gone():
    a = balance.run(30_000, 900, START, [Event(date(2026, 3, 1), CUT, 12_000)], TODAY, 0.0)
    assert a.cut == 12_000 and a.standing == pytest.approx(18_000)


def test_mortality_leans_on_the_counts():
    years = np.full(40, 6.0)
    m, sd, rates = balance.estate_mortality(np.full(40, 0.95**6), years, np.full(40, 0.05), 0.03, 0.012)
    assert 0.042 < m < 0.051 and sd < 0.004 and rates < 0.01, "plots that lost alike differ little in their rates"
    _, _, apart = balance.estate_mortality(0.95**6 * np.exp(np.linspace(-0.2, 0.2, 40)), years, np.full(40, 0.05), 0.03, 0.012)
    assert apart > 1.5 * rates
    m, sd, _ = balance.estate_mortality(np.zeros(0), np.zeros(0), np.zeros(0), 0.03, 0.012)
    assert m == pytest.approx(0.03) and sd == pytest.approx(0.012, rel=0.05)


CURVE = pina.Curve(50.0, 7.0, 0.42)


def test_gompertz_default():
    """check: A = 50, b = 7, k = 0.42 gives 3 y 6.9, 5 y 21.2, 7 y 34.5 kg (from memory, as the settings say)."""
    assert pina.gompertz_kg(np.array([3.0, 5.0, 7.0]), CURVE) == pytest.approx([6.9, 21.2, 34.5], abs=0.05)


NOW = np.zeros(1)


def seen(plot, age, log_kg, var, when=None, source=WEIGHING, **extra):
    """Observations of weighings (or loads), all today unless said otherwise."""
    beside = np.zeros((len(plot), len(pina.EXTRAS)))
    for name, value in extra.items():
        beside[:, pina.EXTRAS.index(name)] = value
    return Seen(np.asarray(plot, int), np.asarray(age, float), np.asarray(log_kg, float), np.asarray(var, float), np.zeros(len(plot)) if when is None else np.asarray(when, float),
                np.broadcast_to(source, len(plot)).copy(), beside)


def nothing():
    return seen([], [], [], [])


def test_nothing_weighed_is_a_wide_answer():
    g, _, _ = weighed.fit(nothing(), 3, CURVE, 0.25)
    mean, sd = pina.log_mass(g, np.full((3, 1), 6.0), NOW)
    assert np.isfinite(mean).all() and (sd > 0.2).all()


def test_weighings_teach_the_plot_and_the_estate():
    rng = np.random.default_rng(2)
    effect = rng.normal(0, 0.15, 30)
    plot = np.repeat(np.arange(30), 3)
    age = rng.uniform(5, 8, 90)
    log = np.log(pina.gompertz_kg(age, CURVE)) - 0.3 + effect[plot] + rng.normal(0, 0.08, 90)
    g, _, _ = weighed.fit(seen(plot, age, log, np.full(90, 0.06**2)), 31, CURVE, 0.25)
    mean, sd = pina.log_mass(g, np.full((31, 1), 6.5), NOW)
    truth = np.log(pina.gompertz_kg(np.array(6.5), CURVE)) - 0.3 + effect
    z = (mean[:30, 0] - truth) / sd[:30, 0]
    assert abs(z.mean()) < 0.6 and 0.3 < z.std() < 1.4 and sd[30, 0] > sd[:30, 0].max(), "a plot never weighed is less sure"
    assert mean[30, 0] == pytest.approx(np.log(pina.gompertz_kg(np.array(6.5), CURVE)) - 0.3, abs=0.15)


def test_draws_agree_with_the_intervals():
    g, _, _ = weighed.fit(seen([0, 0, 1], [6.0, 7, 6], np.log([24.0, 30, 20]), np.full(3, 0.01)), 3, CURVE, 0.25)
    age = np.array([[6.0, 7.0], [6.5, 7.5], [3.0, 4.0]])
    ahead = np.array([0.0, 1.0])
    mean, sd = pina.log_mass(g, age, ahead)
    drawn = np.log(pina.draw_kg(g, age, ahead, 6000, np.random.default_rng(1)))
    assert drawn.mean(axis=0) == pytest.approx(mean, abs=0.03) and drawn.std(axis=0) == pytest.approx(sd, rel=0.06)


def test_a_plot_of_unknown_age_is_wide_until_it_is_weighed():
    unknown = pina.age_variance(np.full(2, 5.0), np.array([0.0, 2.0]), CURVE)
    assert unknown[0] == 0.0 and 0.3 < np.sqrt(unknown[1]) < 1.2
    one = seen([1, 1], [5.0, 5.1], np.log([24.0, 25.0]), [0.001, 0.001], source=weighed.LOAD)
    before, _, _ = weighed.fit(nothing(), 2, CURVE, 0.25, plot_var=unknown)
    after, _, _ = weighed.fit(one, 2, CURVE, 0.25, plot_var=unknown)
    sd = lambda g: pina.log_mass(g, np.full((2, 1), 5.0), NOW)[1][:, 0]  # noqa: E731
    assert sd(before)[1] > 1.3 * sd(before)[0] and sd(after)[1] < 0.3 * sd(before)[1]
    assert np.exp(pina.log_mass(after, np.full((2, 1), 5.0), NOW)[0][1, 0]) == pytest.approx(24.4, rel=0.05)
