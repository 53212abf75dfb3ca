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


def rebuilt(n, mean, variance):
    """A sample of ``n`` with exactly that mean and variance: books print these, not the thousands of rows."""
    x = np.linspace(-1, 1, n)
    return mean + x * np.sqrt(variance) / x.std(ddof=1)


def test_petition_sheets():
    """Source: Cochran 1977, *Sampling Techniques*, §2.7: signatures on 50 of 676 sheets; total 19 888, 80 % limits 18 107 and 21 669 (data from memory; se 1 392.12 recomputed)."""
    y = np.array([42] * 23 + [41] * 4 + [36, 32, 29, 27, 27, 23, 19, 16, 16, 15, 15, 14, 11, 10, 9, 7, 6, 6, 6, 5, 5, 4, 3], float)
    assert (y.sum(), (y**2).sum(), y.var(ddof=1)) == pytest.approx((1471, 54_497, 228.983), abs=1e-3)
    mean, se = counts.simple_mean(y, 676)
    assert (676 * mean, 676 * se) == pytest.approx((19_887.92, 1_392.12), abs=0.01)
    assert (676 * (mean - 1.28 * se), 676 * (mean + 1.28 * se)) == pytest.approx((18_107, 21_669), abs=2)
    assert counts.two_stage(676, [1] * 50, [[v] for v in y]).se == pytest.approx(1_392.12, abs=0.01)  # rows of one plant each: the same


def test_farm_acres():
    """Source: Lohr 1999, *Sampling: Design and Analysis*, p. 37: acres of 300 of 3,078 counties, mean 297 897, SE 18 898, total 916 927 110, SE 58 169 381."""
    mean, se = counts.simple_mean(rebuilt(300, 297_897.0467, 344_551.8948**2), 3078)
    assert se == pytest.approx(18_898.434, abs=0.001) and (3078 * mean, 3078 * se) == pytest.approx((916_927_110, 58_169_381), rel=1e-8)


def stratified(parts, sizes):
    """(mean, SE) over strata from the simple estimator in each."""
    each = [counts.simple_mean(y, N) for y, N in zip(parts, sizes)]
    share = np.array(sizes) / sum(sizes)
    return float(share @ [m for m, _ in each]), float(np.sqrt((share**2) @ np.array([se**2 for _, se in each])))


def test_strata():
    """Sources: Lehtonen & Pahkinen, *Practical Methods for Design and Analysis of Complex Surveys*, p. 74 (unemployed, 475.33, SE 133.73); the California school index
    api00 by level (R ``survey``, apistrat: 662.2874, SE 9.4089); Lohr 1999, ch. 4, acres by region (total 909 736 034, SE 50 417 248)."""
    found = stratified([np.array([4123.0, 666, 760, 457]), np.array([61.0, 262, 331, 98])], [7, 25])
    assert found == pytest.approx((475.328125, 133.732863), abs=1e-6)
    found = stratified([rebuilt(100, 674.43, 15_687.4193), rebuilt(50, 625.82, 11_947.0894), rebuilt(50, 636.60, 13_824.8571)], [4421, 755, 1018])
    assert found == pytest.approx((662.287364, 9.408941), abs=1e-5)
    acres = [(103, 300_504.1553, 29_618_183_543.29), (21, 97_629.8095, 7_647_472_708.16), (135, 211_315.0444, 53_587_487_856.19), (41, 662_295.5122, 396_185_950_266.26)]
    mean, se = stratified([rebuilt(*part) for part in acres], [1054, 220, 1382, 422])
    assert (3078 * mean, 3078 * se) == pytest.approx((909_736_034, 50_417_248), rel=1e-8)


def test_whole_clusters():
    """Source: Lehtonen & Pahkinen, p. 29: 2 of 8 clusters, total 13 188. They enter 32 elements in the correction (SE 3 814.9); with the 8 clusters that were
    drawn from, as here, it is 3 412.14."""
    found = counts.two_stage(8, [4, 4], [[666, 528, 760, 187], [129, 128, 331, 568]])
    assert found.total == pytest.approx(13_188) and found.within == 0 and found.se == pytest.approx(3_412.14, abs=0.01)
    assert found.se * np.sqrt((1 - 2 / 32) / (1 - 2 / 8)) == pytest.approx(3_814.9, abs=0.05)


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
