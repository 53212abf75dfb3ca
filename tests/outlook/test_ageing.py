"""Time in wood, evaporation and stock."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.outlook import ageing


@pytest.mark.parametrize("evaporation, years, left, gross", [(0.08, 3, 0.7787, 1.2842), (0.10, 3, 0.729, 1.3717), (0.06, 1, 0.940, 1.0638), (0.08, 1, 0.92, 1.0870)])
def test_evaporation(evaporation, years, left, gross):
    """Remaining fraction and gross-up (derived from 5–12 % a year; agronomy sheet, check 15)."""
    assert ageing.remaining(evaporation, years) == pytest.approx(left, abs=1e-4)
    assert ageing.gross_up(evaporation, years) == pytest.approx(gross, abs=1e-4)


def test_lead_time():
    """Long-aged bottles of year 5 are distilled in year 2, with 1.2842 L for each; unaged in their own year."""
    sales = np.zeros((1, 10, 2))
    sales[0, 5] = 1000.0
    got = ageing.lay_down(sales, np.ones(10), np.array([0.0, 3.0]), np.zeros((2, 1)), 0.08, 6)
    assert got.distil_l[0, 5, 0] == pytest.approx(1000.0)
    assert got.distil_l[0, 2, 1] == pytest.approx(1284.2, abs=0.1)
    assert got.distil_l.sum() == pytest.approx(2284.2, abs=0.1)


def test_two_months_reach_into_the_next_year():
    sales = np.zeros((1, 6, 1))
    sales[0, 3] = 600.0
    got = ageing.lay_down(sales, np.ones(6), np.array([1 / 6]), np.zeros((1, 1)), 0.0, 5)
    assert got.distil_l[0, 2, 0] == pytest.approx(100.0) and got.distil_l[0, 3, 0] == pytest.approx(500.0)


def test_stock_serves_first_and_what_is_too_late_is_told():
    sales = np.full((1, 8, 1), 100.0)
    none = ageing.lay_down(sales, np.ones(8), np.array([3.0]), np.zeros((1, 5)), 0.0, 4)
    assert none.too_late_l[0, :, 0] == pytest.approx([100, 100, 100, 0])
    stock = np.array([[0.0, 0.0, 100.0, 200.0, 0.0]])  # 100 L in their third year, 200 L in their fourth
    some = ageing.lay_down(sales, np.ones(8), np.array([3.0]), stock, 0.0, 4)
    assert some.too_late_l[0, :, 0] == pytest.approx([0, 0, 0, 0])
    assert some.from_stock_l[0, :3, 0] == pytest.approx([100, 100, 100])
    assert some.distil_l[0, 0, 0] == pytest.approx(100)  # for year 3


def test_young_stock_ripens_into_its_sale():
    """Litres in their first year serve a one-year class bit by bit: half of them by the middle of this year's sales."""
    sales = np.full((1, 5, 1), 1000.0)
    got = ageing.lay_down(sales, np.ones(5), np.array([1.0]), np.array([[400.0]]), 0.0, 3)
    assert got.from_stock_l[0, 0, 0] == pytest.approx(200.0) and got.too_late_l[0, 0, 0] == pytest.approx(800.0)


def test_cover_is_drawn_down_evenly():
    """Unaged stock of 500 L over five years: 100 L a year less to distil."""
    sales = np.full((1, 9, 1), 1000.0)
    got = ageing.lay_down(sales, np.ones(9), np.array([0.0]), np.array([[500.0]]), 0.08, 7, drawn_years=5.0)
    assert got.distil_l[0, :, 0] == pytest.approx([900] * 5 + [1000] * 2)


def test_a_short_first_period_fills_its_own_share_only():
    """From late November 0.1 year is left: what is distilled in it serves the last tenth of next year's one-year-old."""
    sales = np.full((1, 6, 1), 1000.0)
    length = np.array([0.1, 1, 1, 1, 1, 1])
    got = ageing.lay_down(sales, length, np.array([1.0]), np.zeros((1, 1)), 0.0, 4)
    assert got.distil_l[0, :, 0] == pytest.approx([100, 1000, 1000, 1000])
    assert got.too_late_l[0, :, 0] == pytest.approx([100, 900, 0, 0])


@given(st.floats(0, 0.2), st.floats(0, 500), st.floats(0, 3), st.floats(0.1, 1))
def test_litres_balance(evaporation, in_wood, years, first_length):
    """Every litre sold comes from stock, from the still, or is named too late; more stock never asks for more distilling."""
    sales = np.full((1, 9, 1), 120.0)
    length = np.array([first_length] + [1.0] * 8)
    stock = np.array([[0.0, in_wood, in_wood, in_wood]])
    got = ageing.lay_down(sales, length, np.array([years]), stock, evaporation, 5)
    bare = ageing.lay_down(sales, length, np.array([years]), np.zeros((1, 4)), evaporation, 5)
    assert np.isfinite(got.distil_l).all() and (got.distil_l >= -1e-9).all()
    assert (got.distil_l <= bare.distil_l + 1e-6).all()
    assert (got.from_stock_l + got.too_late_l <= 120.0 * length[None, :5, None] + 1e-6).all()
