"""Sales into futures: trend, paths, spread."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from webapp.outlook import demand, futures, need
from webapp.outlook.demand import Path
from webapp.problems import Problem


def sales(years: int = 6, growth: float = 0.04, noise: float = 0.03, seed: int = 1, until: str = "2026-10") -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    months = pd.period_range(end=until, periods=12 * years, freq="M")
    rows = []
    for market, size in (("norte", 1.0), ("casa", 0.6)):
        for category, kind, litres in (("full", "unaged", 90_000), ("full", "rested", 40_000), ("full", "aged", 9_000), ("mixed", "unaged", 30_000)):
            year_noise = rng.normal(0, noise, years)
            for i, month in enumerate(months):
                rows.append((market, category, kind, str(month), size * litres / 12 * 12 * np.exp(growth * i / 12 + year_noise[i // 12]) * (1 + 0.2 * np.sin(i * np.pi / 6))))
    return pd.DataFrame(rows, columns=["market", "category", "class", "month", "litres"])


def fitted(**kwargs):
    past = demand.history(sales(**kwargs))
    return past, demand.fit(past)


def sampled(per_year, past, trend, years=np.arange(2026, 2042), count=300, seed=5, **kwargs):
    return demand.sample(past, trend, years, [Path("x", per_year)], np.zeros(count, int), futures.stream(seed, "demand"), **kwargs)


def test_trailing_years():
    past = demand.history(sales())
    assert past.litres.shape == (8, 6) and past.last_month == "2026-10"
    assert past.centre == pytest.approx(2026 + 10 / 12 - 0.5)
    assert past.lines == tuple(sorted(past.lines))


def test_trend_is_found():
    _, trend = fitted(growth=0.05, noise=0.005)
    assert trend.growth == pytest.approx(np.full(8, 0.05), abs=0.012)
    assert set(trend.method.values()) == {"damped"}


def test_no_trend_falls_back_to_last_year():
    _, trend = fitted(growth=0.0, noise=0.15, seed=3)
    assert "naive" in trend.method.values()
    for name, method in trend.method.items():
        assert (method == "naive") == (trend.mase[name] is not None and trend.mase[name] >= 1)


def test_row_order_is_irrelevant():
    table = sales()
    one, two = demand.fit(demand.history(table)), demand.fit(demand.history(table.sample(frac=1, random_state=1)))
    assert one.level == pytest.approx(two.level) and one.growth == pytest.approx(two.growth)


def test_spread_widens_with_the_years():
    past, trend = fitted()
    spread = np.log(sampled(0.0, past, trend).sum(axis=2)).std(axis=0)
    assert spread[10] > spread[4] > spread[1]
    assert 0.05 < spread[10] < 0.6


def test_equal_cases_keep_their_order_and_their_luck():
    """Growing ≥ flat ≥ falling in every future and line, the same noise in all; flat is flat in its median."""
    past, trend = fitted()
    grow, flat, fall = (sampled(rate, past, trend) for rate in (0.05, 0.0, -0.03))
    assert (grow >= flat - 1e-9).all() and (flat >= fall - 1e-9).all()
    ahead = np.maximum(np.arange(2026, 2042) + 0.5 - past.centre, 0)
    assert np.log(grow / flat)[0, :, 0] == pytest.approx(0.05 * ahead)
    # rows move with line-specific level noise; the median over futures of a ten-year-ahead flat path stays near its level
    assert np.median(flat[:, 10].sum(axis=1)) == pytest.approx(np.exp(trend.level).sum(), rel=0.12)


def test_a_stopped_market_does_not_grow():
    past, trend = fitted(growth=0.06, noise=0.01)
    free = sampled(0.05, past, trend)
    held = sampled(0.05, past, trend, stopped=("norte",))
    north = np.array([line[0] == "norte" for line in past.lines])
    assert (held[:, -1, north] < free[:, -1, north]).all()
    assert held[:, :, ~north] == pytest.approx(free[:, :, ~north])


def test_paths_share_the_futures_by_weight():
    paths = demand.paths_of(0.05, -0.03, [Path("mine", 0.02, weight=4.0)])
    which = demand.assign(paths, 200)
    counts = np.bincount(which, minlength=5)
    assert counts.tolist() == [25, 25, 25, 25, 100]
    assert demand.assign(demand.paths_of(0.05, -0.03), 100).tolist() == demand.assign(demand.paths_of(0.05, -0.03), 100).tolist()
    early = np.bincount(which[:40], minlength=5)
    assert early.min() >= 2  # spread evenly, so that a part of the futures is a fair part


def test_short_or_empty_sales_are_refused():
    with pytest.raises(Problem) as caught:
        demand.history(sales().iloc[:0])
    assert caught.value.code == "sales_none"
    table = sales()
    with pytest.raises(Problem) as caught:
        demand.history(table[table.month >= "2026-03"])
    assert caught.value.code == "sales_too_short"


def test_a_missing_month_is_told_and_made_up_for():
    table = sales(noise=0.0, growth=0.0)
    whole = demand.history(table)
    holed = demand.history(table[table.month != "2025-05"])
    assert holed.missing == ("2025-05",)
    assert holed.litres == pytest.approx(whole.litres, rel=0.03)


def test_a_new_line_borrows_the_estates_growth():
    table = sales(growth=0.05, noise=0.005)
    new = table[(table.market == "casa") & (table["class"] == "aged")]
    table = pd.concat([table.drop(new.index), new[new.month >= "2024-11"]])
    past = demand.history(table)
    trend = demand.fit(past)
    row = past.lines.index(("casa", "full", "aged"))
    assert np.isnan(past.litres[row, 0]) and np.isfinite(past.litres[row, -1])
    assert trend.growth[row] == pytest.approx(0.05, abs=0.02)
    assert np.isfinite(trend.level).all()


SPIRIT = need.Spirit(bottle_abv=40, kg_per_l=4.7, kg_per_l_sd=0.2, mixed_share=0.51, evaporation=0.08, floor_kg_per_l=2.4)


def needed(table, per_year=0.0, spirit=SPIRIT, stock=None, count=60):
    past = demand.history(table)
    years, length, _ = futures.calendar(2026, 0.9, True, 15)
    return need.need(past, demand.fit(past), [Path("x", per_year)], np.zeros(count, int), years, length, 7, spirit, stock, damping=0.9, growth_doubt=0.02)


def test_mixed_needs_half_the_agave():
    table = sales()
    both = table.assign(category="mixed")
    full = needed(table.assign(category="full"))
    half = needed(both)
    assert half.tonnes / full.tonnes == pytest.approx(np.full_like(full.tonnes, 0.51))


def test_ageing_and_evaporation_ask_for_more():
    young, old = sales().assign(**{"class": "unaged"}), sales().assign(**{"class": "long_aged"})
    assert needed(old).tonnes[:, 3:].mean() > 1.2 * needed(young).tonnes[:, 3:].mean()


def test_stock_lowers_the_need_and_bad_stock_is_told():
    table = sales()
    without = needed(table, stock={("full", "aged"): np.array([0.0])})
    with_ = needed(table, stock={("full", "aged"): np.array([0.0, 50_000.0, 200_000.0])})
    assert (with_.tonnes <= without.tonnes + 1e-9).all() and with_.tonnes.sum() < without.tonnes.sum() - 100
    assert without.too_late_l.sum() > 0 and with_.too_late_l.sum() < without.too_late_l.sum()
    assert needed(table).too_late_l.sum() == 0  # nobody told what is in wood


def test_growth_orders_the_need():
    table = sales()
    grow, flat, fall = (needed(table, rate).tonnes for rate in (0.05, 0.0, -0.03))
    assert (grow >= flat - 1e-9).all() and (flat >= fall - 1e-9).all() and np.isfinite(grow).all()


def test_yield_never_beats_the_ceiling():
    wild = needed(sales(), spirit=need.Spirit(40, 3.0, 2.0, 0.51, 0.08, 2.4), count=500)
    assert wild.kg_per_l.min() == pytest.approx(2.4)
