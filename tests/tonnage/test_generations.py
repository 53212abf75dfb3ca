"""Replanted gaps, quiotes and field work have their place in plants and piñas."""

from collections import namedtuple
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.tonnage import accounting, balance, bolting, generations, known, lines, pina, reckoning, weighed
from webapp.tonnage.balance import COUNT, CUT, LOSS, LOSS_SHARE, REPLANT, Event

from .test_learning import COLUMNS, SETTINGS, TODAY, kg_now

START = date(2019, 7, 1)
Labor = namedtuple("Labor", "plot day labor plants")
CURVE = pina.Curve(50.0, 7.0, 0.42)


def labors(*rows):
    return {"A": [Labor("A", *row) for row in rows]}


def test_shares_of_the_generations():
    g = generations.of_plots(["A", "B"], {"A": START, "B": START}, {"A": 10_000.0, "B": 5000.0}, labors((date(2021, 7, 1), "replanting", 3000.0), (date(2022, 7, 1), "weeding", 9000.0)), TODAY, 0.0)
    assert g.share[0] == pytest.approx([10 / 13, 3 / 13]) and g.lag[0] == pytest.approx([0.0, 2.0], abs=0.01)
    assert g.share[1].tolist() == [1.0, 0.0], "a plot without replanting is of one generation"
    many = generations.of_plots(["A"], {"A": START}, {"A": 10_000.0}, labors(*((START + timedelta(days=200 * k), "replanting", 500.0) for k in range(1, 9))), TODAY, 0.03)
    assert many.share.shape[1] == generations.MOST and many.share[0].sum() == pytest.approx(1.0)


def test_a_mixture_weighs_what_its_generations_weigh():
    """Mean piña of 70 % of seven years and 30 % of four, by the default curve: 0.7·34.5 + 0.3·13.6 kg."""
    log_kg, _ = pina.mixed(np.array([[7.0]]), np.array([[0.0, 3.0]]), np.array([[0.7, 0.3]]), CURVE)
    assert np.exp(log_kg[0, 0]) == pytest.approx(0.7 * 34.5 + 0.3 * 13.6, abs=0.1)
    before, _ = pina.mixed(np.array([[2.5]]), np.array([[0.0, 3.0]]), np.array([[0.7, 0.3]]), CURVE)
    assert np.exp(before[0, 0]) == pytest.approx(float(pina.gompertz_kg(np.array(2.5), CURVE))), "plants not yet replanted weigh nothing and count for nothing"


def replanted(seed=3, share=0.3):
    """Twelve plots of seven years, half of them replanted by ``share`` three years after; weighings of their mixtures, scale errors small."""
    rng, codes = np.random.default_rng(seed), [f"P{i:02d}" for i in range(12)]
    planted = {c: TODAY - timedelta(days=7 * 365 + 2) for c in codes}
    rows = {name: [] for name in COLUMNS}
    true = []
    for i, c in enumerate(codes):
        young = share if i % 2 == 0 else 0.0
        if young:
            rows["labors"].append((c, planted[c] + timedelta(days=3 * 365), "replanting", young / (1 - young) * 6000 * 0.97**3))
        for back in (400, 200):
            day, age = TODAY - timedelta(days=back), 7 - back / 365.25
            kg = (1 - young) * pina.gompertz_kg(np.array(age), CURVE) + young * pina.gompertz_kg(np.array(age - 3), CURVE)
            rows["loads"].append((c, day, 500.0, 500.0 * float(kg) * np.exp(rng.normal(0, 0.02)), "short", 1.0))
        true.append(float((1 - young) * pina.gompertz_kg(np.array(9.0), CURVE) + young * pina.gompertz_kg(np.array(6.0), CURVE)))
    frame = pd.DataFrame({"planted_plants": 6000.0, "area_ha": 2.0, "row_spacing_m": 3.0, "perimeter_m": 600.0}, index=codes)
    return frame, planted, {name: pd.DataFrame(rows[name], columns=COLUMNS[name]) for name in COLUMNS}, np.array(true)


def test_replanted_plots_keep_growing_as_the_younger_do():
    frame, planted, tables, true = replanted()
    def ahead(f):
        return np.exp(pina.log_mass(f.growth, f.now_age[:, None] + 2, np.full(1, 2.0))[0][:, 0])
    run = lambda t: reckoning.reckon(frame, list(frame.index), planted, TODAY, accounting.Tables.of(**t), SETTINGS)  # noqa: E731
    f = run(tables)
    off = np.log(ahead(f) / true)
    one_age = np.log(ahead(run(tables | {"labors": tables["labors"].iloc[:0]})) / true)
    assert abs(off[::2].mean() - off[1::2].mean()) < 0.02 < one_age[1::2].mean() - one_age[::2].mean(), "taken for old plants, the young third would be said to stop growing with the rest"
    parts = reckoning.by_generation(f)
    assert [p["age_years"] for p in parts[0]] == pytest.approx([7.0, 4.0], abs=0.02) and len(parts[1]) == 1
    assert sum(p["plants"] for p in parts[0]) == pytest.approx(f.accounts[0].standing) and parts[0][0]["mass_kg"] > 1.8 * parts[0][1]["mass_kg"]
    assert sum(p["plants"] * p["mass_kg"] for p in parts[0]) / f.accounts[0].standing == pytest.approx(kg_now(f)[0], rel=0.06)


# Source: shares flowered by age, from memory (not published): 4 y < 1 %, 5 y 2–5, 6 y 8–15, 7 y 20–35, 8 y 45–65, 10 y > 90.
@pytest.mark.parametrize("age, low, high", [(4, 0, 0.01), (5, 0.02, 0.05), (6, 0.08, 0.15), (7, 0.20, 0.35), (8, 0.45, 0.65), (10, 0.90, 1.0)])
def test_quiotes_by_age(age, low, high):
    assert low <= bolting.flowered(float(age)) <= high


def test_counted_quiotes_move_the_level():
    none = bolting.learn(np.zeros(0), np.zeros(0), np.zeros(0), 0.02)
    assert none.level == 1.0 and none.log_sd == bolting.LEVEL_LOG_SD and none.lost(0.5) == pytest.approx(0.0, abs=1e-4)
    few = bolting.learn(np.full(50, 7.0), np.full(50, 300.0), np.full(50, 3.0), 0.02)
    assert few.level < 0.1 and few.flowering(7.0) < 0.06 < none.flowering(7.0)
    assert 0 < none.flowering(12.0) + 1e-9 < 1 and none.flowering(6.0) < none.flowering(7.5)


def test_quiotes_nobody_cuts_are_estimated_losses():
    level = bolting.Bolting(1.0, 0.7, 0.10)
    with_, without = (balance.run(10_000, 300, TODAY - timedelta(days=8 * 365), [], TODAY, 0.03, 0.012, lost) for lost in (level.lost, lambda age: 0.0))
    assert with_.estimated_losses > without.estimated_losses + 0.05 * 10_000 * float(level.lost(8.0)) and with_.standing < without.standing
    assert with_.planted + with_.replanted - with_.cut - with_.recorded_losses - with_.estimated_losses == pytest.approx(with_.standing)


@given(st.lists(st.tuples(st.dates(START, TODAY), st.sampled_from([CUT, LOSS, LOSS_SHARE, REPLANT, COUNT]), st.floats(0, 1)), max_size=10), st.floats(0, 0.15), st.floats(0, 0.05), st.floats(0, 0.3))
def test_the_balance_law_with_quiotes_rates_and_generations(events, mortality, rate_sd, lost):
    told = [Event(d, kind, v if kind == LOSS_SHARE else 9000 * v, 500.0) for d, kind, v in events]
    a = balance.run(30_000, 900, START, told, TODAY, mortality, rate_sd, bolting.Bolting(1.0, 0.7, lost).lost)
    assert a.planted + a.replanted - a.cut - a.recorded_losses - a.estimated_losses == pytest.approx(a.standing, abs=1e-6)
    assert a.standing >= 0 and np.isfinite([a.sd, a.rate, a.rate_sd, a.rate_with]).all() and a.sd > 0 and a.rate_sd <= rate_sd + 1e-9


def test_two_counts_teach_the_plots_own_rate():
    day = lambda years: START + timedelta(days=round(365.25 * years))  # noqa: E731
    dying = balance.run(10_000, 100, START, [Event(day(3), COUNT, 8000, 150), Event(day(6), COUNT, 6400, 150)], day(6), 0.03, 0.02)
    sound = balance.run(10_000, 100, START, [Event(day(3), COUNT, 9700, 150), Event(day(6), COUNT, 9400, 150)], day(6), 0.03, 0.02)
    assert dying.rate > 0.01 > 0 > sound.rate and dying.rate_sd < 0.02
    ahead = [accounting.left(np.array([a.standing]), np.array([a.rate]), np.array([6.0]), np.array([2.0]), accounting.Losses(0.03, 0.002, 0.02, bolting.Bolting()))[0, 0] / a.standing for a in (dying, sound)]
    assert ahead[0] < ahead[1]


def test_a_count_far_off_counts_for_less():
    """A pass of the tally counted twice: the account moves to it by less than an honest count would, and its z stays to be seen."""
    double = balance.run(10_000, 300, START, [Event(TODAY, COUNT, 16_000, 400)], TODAY, 0.03)
    assert double.count_z > 5 and double.standing < 13_000


def test_field_work_and_capon_are_columns():
    table = pd.DataFrame([("A", date(2026, 3, 1), "leaf_pruning", np.nan), ("A", date(2024, 3, 1), "leaf_pruning", np.nan), ("A", date(2025, 7, 1), "fertilising", np.nan)], columns=("plot", "day", "labor", "plants"))
    count = pd.DataFrame([("A", date(2026, 5, 1), 200.0, 3.0, 50.0)], columns=("plot", "day", "plants_standing", "quiote", "capon"))
    facts = known.gather({"A": 1000.0}, {}, {}, lines.by_plot(table, "labor", "plants"), lines.by_plot(count, "plants_standing", "quiote", "capon"))
    today = dict(zip(pina.EXTRAS, facts.row("A", TODAY, None, None)))
    assert (today["leaf_pruning"], today["fertilising"], today["capon"], today["weighed"], today["selective"]) == (1.0, 1.0, 0.25, 0.0, 0.0)
    assert dict(zip(pina.EXTRAS, facts.row("A", date(2028, 11, 1), None, None)))["leaf_pruning"] == 0.0
    g, _, _ = weighed.fit(weighed.Seen(*(np.zeros(0, t) for t in (int, float, float, float, float, int)), np.zeros((0, len(pina.EXTRAS)))), 1, CURVE, 0.25,
                          extra=np.array([facts.row("A", TODAY, None, None)]), labor_log=(float(np.log1p(-0.05)), float(np.log1p(0.04)), 0.0))
    assert np.exp(pina.log_mass(g, np.array([[6.0]]), np.zeros(1))[0][0, 0]) == pytest.approx(float(pina.gompertz_kg(np.array(6.0), CURVE)) * 0.95 * 1.04, rel=1e-6)


def test_the_loss_past_the_peak_gives_way_to_old_plots():
    """Thirty plots of nine years weighed at nine tenths of the curve's own kilos, not at the three quarters the settings believe: said so two years on."""
    falls = pina.Curve(50.0, 7.0, 0.42, 7.5, 0.18)
    rng = np.random.default_rng(5)
    plot, age = np.repeat(np.arange(40), 2), np.tile([7.6, 9.2], 40) + rng.uniform(-0.3, 0.3, 80)
    log = np.log(pina.gompertz_kg(age, falls)) - 0.06 * np.maximum(age - 7.5, 0) + rng.normal(0, 0.1, 40)[plot] + rng.normal(0, 0.03, 80)
    seen = weighed.Seen(plot, age, log, np.full(80, 0.002), np.zeros(80), np.ones(80, int), np.zeros((80, len(pina.EXTRAS))))
    g, _, _ = weighed.fit(seen, 41, falls, 0.25)
    at = lambda g, years: float(pina.log_mass(g, np.full((41, 1), years), np.zeros(1))[0][40, 0])  # noqa: E731
    nothing, _, _ = weighed.fit(seen.of(np.zeros(80, bool)), 41, falls, 0.25)
    assert at(nothing, 10.0) - at(nothing, 7.5) == pytest.approx(-0.18 * 2.5 + np.log(pina.gompertz_kg(np.array(10.0), falls) / pina.gompertz_kg(np.array(7.5), falls)), abs=1e-6)
    true = -0.06 * 2.5 + np.log(pina.gompertz_kg(np.array(10.0), falls) / pina.gompertz_kg(np.array(7.5), falls))
    assert abs(at(g, 10.0) - at(g, 7.5) - true) < 0.5 * abs(at(nothing, 10.0) - at(nothing, 7.5) - true)
