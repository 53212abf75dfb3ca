"""Plants from counted rows against the textbooks."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.tonnage import counts

MU284 = [row for row in csv.DictReader(line for line in (Path(__file__).parent.parent / "reference/sampling_two_stage.csv").open() if not line.startswith("#"))]


def test_two_stage_of_the_textbook():
    found = counts.two_stage(50, [int(r["size"]) for r in MU284], [[float(v) for v in r["y"].split()] for r in MU284])
    assert found.total == pytest.approx(15_080)
    assert found.between == pytest.approx(5_134_910.0) and found.within == pytest.approx(37_324.444, abs=1e-3)
    assert found.variance == pytest.approx(5_172_234.444, abs=1e-3) and found.se == pytest.approx(2_274.2547, abs=1e-4)


def test_simple_random_sample():
    """Source: R survey 4.5, test deff.R: mean 113.700, SE 35.626 without the correction; with N = 1000 35.4476."""
    y = np.array([15, 143, 21, 51, 337, 50, 274, 145, 15, 86])
    assert counts.simple_mean(y) == pytest.approx((113.7, 35.626), abs=1e-3)
    assert counts.simple_mean(y, 1000)[1] == pytest.approx(35.4476, abs=1e-4)


def test_trees_by_photo_and_field():
    """Source: Lohr 1999, Sampling: Design and Analysis, example 3.6: regression estimate 11.98929, SE 0.40798."""
    photo = np.array([10, 12, 7, 13, 13, 6, 17, 16, 15, 10, 14, 12, 10, 5, 12, 10, 10, 9, 6, 11, 7, 9, 11, 10, 10])
    field = np.array([15, 14, 9, 14, 8, 5, 18, 15, 13, 15, 11, 15, 12, 8, 13, 9, 11, 12, 9, 12, 13, 11, 10, 9, 8])
    assert counts.regression_mean(photo, field, 11.3, 100) == pytest.approx((11.98929, 0.40798), abs=1e-5)


def test_every_row_counted_leaves_no_doubt():
    found = counts.plants_of_rows(np.array([310.0, 322, 305, 318]), np.ones(4), 4, 0.12)
    assert found.total == 1255 and found.variance == pytest.approx(0.0)


@given(st.permutations([300.0, 310, 280, 333, 295]))
def test_row_order_does_not_matter(rows):
    found = counts.plants_of_rows(np.array(rows), np.ones(5), 60, 0.12)
    assert found.total == pytest.approx(60 * 303.6) and found.variance == pytest.approx(counts.plants_of_rows(np.array(sorted(rows)), np.ones(5), 60, 0.12).variance)


def test_a_stretch_of_a_row_is_less_sure_than_the_row():
    whole = counts.plants_of_rows(np.array([300.0, 310, 290]), np.ones(3), 60, 0.12)
    part = counts.plants_of_rows(np.array([75.0, 77.5, 72.5]), np.full(3, 0.25), 60, 0.12)
    assert part.total == pytest.approx(whole.total) and part.variance > whole.variance


def test_coverage_over_repeated_samples():
    """Rows of an invented plot, sampled again and again: the 80 % interval holds the truth four times in five."""
    rng = np.random.default_rng(4)
    rows = rng.normal(300, 30, 80).round()
    hits = 0
    for _ in range(600):
        found = counts.plants_of_rows(rows[rng.choice(80, 8, replace=False)], np.ones(8), 80, 0.12)
        hits += abs(found.total - rows.sum()) < 1.2816 * found.se
    assert 0.74 < hits / 600 < 0.88
