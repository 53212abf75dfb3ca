"""More published fits through the same estimator: nested and growth data, small areas with and without their outlier, shrinkage of averages.

REML within 0.02 % (2e-4). Unit and citation beside each set.
"""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from webapp.ripeness.estimate import Grouped, fit

from .test_estimate import DYESTUFF, DYESTUFF2, SLEEP, one_way
from .test_small_areas import MILK, SEGMENTS, table

# Pastes: strength of a chemical paste, 10 batches × 3 casks × 2 tests; Davies & Goldsmith 1972, Statistical Methods in Research and Production; in lme4. Per cent of strength.
PASTES = np.array("""62.8 62.6 60.1 62.3 62.7 63.1 60.0 61.4 57.5 56.9 61.1 58.9 58.7 57.5 63.9 63.1 65.4 63.7 57.1 56.4 56.9 58.6 64.7 64.5 55.1 55.1 54.7 54.2 58.8 57.5
63.4 64.9 59.3 58.1 60.5 60.0 62.5 62.6 61.0 58.7 56.9 57.7 59.2 59.4 65.2 66.0 64.8 64.1 54.8 54.8 64.0 64.0 57.7 56.8 58.3 59.3 59.2 59.2 58.9 56.6""".split(), float).reshape(10, 6)
# Orthodont: jaw distance, mm, of 27 children aged 8, 10, 12, 14; Potthoff & Roy 1964, Biometrika 51:313–326; in nlme.
ORTHODONT = np.array("""26 25 29 31 21.5 22.5 23 26.5 23 22.5 24 27.5 25.5 27.5 26.5 27 20 23.5 22.5 26 24.5 25.5 27 28.5 22 22 24.5 26.5 24 21.5 24.5 25.5 23 20.5 31 26 27.5 28 31 31.5
23 23 23.5 25 21.5 23.5 24 28 17 24.5 26 29.5 22.5 25.5 25.5 26 23 24.5 26 30 22 21.5 23.5 25 21 20 21.5 23 21 21.5 24 25.5 20.5 24 24.5 26 23.5 24.5 25 26.5 21.5 23 22.5 23.5
20 21 21 22.5 21.5 22.5 23 25 23 23 23.5 24 20 21 22 21.5 16.5 19 19 19.5 24.5 25 28 28""".split(), float).reshape(27, 4)
# Soybean ha of the same segments as ``SEGMENTS`` (Battese, Harter & Fuller 1988, table 1), and row 33 with all its columns: corn, soy, corn px, soy px.
SOY = np.array("""8.09 106.03 103.6 6.47 63.82 43.5 71.43 42.49 105.26 76.49 174.34 95.67 76.57 93.48 37.84 131.12 124.44 144.15 103.6 88.59 115.58 99.15 124.56 110.88 109.14 143.66
91.05 132.33 143.14 104.13 118.57 102.59 69.28 99.15 143.66 94.49""".split(), float)
OUTLIER = np.array([12, 88.59, 340, 87.0])
# Batting averages of 18 players, hits of 45 at bats: Efron & Morris 1975, JASA 70:311–319; 1977, Scientific American 236(5):119–127.
HITS = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7])


def lines(y, x):
    """Groups with intercepts and slopes on ``x`` that may be correlated: independent ones about the place where their correlation vanishes (searched)."""
    n, m = y.shape
    X = np.broadcast_to(np.stack([np.ones(m), x], axis=1), (n, m, 2))

    def at(origin):
        z = x - origin
        blocks = (np.ones((n, m, m)), np.broadcast_to(np.outer(z, z), (n, m, m)), np.broadcast_to(np.eye(m), (n, m, m)))
        return fit(Grouped(y, X, np.ones((n, m), bool), blocks, np.zeros((n, m)), np.zeros((2, 2))), np.array([y.std(), y.std() / np.ptp(x), y.std() / 2]))

    origin = minimize_scalar(lambda o: at(o).criterion, bounds=(x[0] - np.ptp(x), x[-1] + np.ptp(x)), method="bounded", options={"xatol": 1e-6}).x
    found = at(origin)
    level, slope, rest = found.sds**2
    effects = np.stack([level * found.q.sum(axis=1) - origin * slope * found.q @ (x - origin), slope * found.q @ (x - origin)], axis=1)
    return found, (level + origin**2 * slope, slope, -origin * slope, rest), effects


def test_dyestuffs_shrinkage_and_criterion():
    found = fit(one_way(DYESTUFF), np.array([30.0, 50.0]))
    between, within = found.sds**2
    assert between / (between + within / 5) == pytest.approx(0.7825267267, rel=1e-4)  # closed form
    flat = fit(one_way(DYESTUFF2), np.array([1.0, 4.0]))
    assert flat.criterion + 29 * np.log(2 * np.pi) == pytest.approx(161.82828, abs=1e-3)  # lme4's REML criterion


def test_sleepstudy_subjects():
    """ms of reaction: standard errors 6.8246 and 1.5458, and the predicted deviations of three subjects, as lme4 and statsmodels 0.15.0 give them."""
    found, (level, slope, both, rest), effects = lines(np.array([[float(v) for v in row.split()] for row in SLEEP.splitlines()]), np.arange(10.0))
    assert np.sqrt(np.diag(found.cov)) == pytest.approx([6.8246, 1.5458], rel=2e-4)
    assert (level, slope, both, rest) == pytest.approx((612.09, 35.0717, 9.605, 654.94), rel=2e-4)
    rows = SLEEP.splitlines()
    at = [next(i for i, row in enumerate(rows) if row.startswith(first)) for first in ("249.56", "222.7339", "312.3666")]  # 308, 309, 337
    assert effects[at] == pytest.approx(np.array([[2.2586, 9.1990], [-40.3986, -8.6197], [34.8904, 8.6283]]), rel=2e-4)


def test_orthodont():
    """nlme's own example ``lme(distance ~ age)``: sds 2.3270, 0.2264 (r −0.609), 1.3100; 16.7611 (0.7752), 0.6602 (0.0713); log-likelihood −221.3183
    (printed values from memory, recomputed with statsmodels 0.15.0: 5.415085, 0.05127, −0.32106, 1.716204)."""
    found, (level, slope, both, rest), _ = lines(ORTHODONT, np.array([8.0, 10, 12, 14]))
    assert (level, slope, both, rest) == pytest.approx((5.415085, 0.05127, -0.32106, 1.716204), rel=2e-4)
    assert np.sqrt([level, slope, rest]) == pytest.approx([2.3270, 0.2264, 1.3100], abs=1e-4) and both / np.sqrt(level * slope) == pytest.approx(-0.609, abs=5e-4)
    assert found.theta == pytest.approx([16.761111, 0.660185], rel=1e-6) and np.sqrt(np.diag(found.cov)) == pytest.approx([0.7752461, 0.0712533], rel=2e-4)
    assert -0.5 * (found.criterion + 106 * np.log(2 * np.pi)) == pytest.approx(-221.3183, abs=1e-3)


def test_pastes():
    """Nested as plot, round and plant are: batch 1.657 (sd 1.287), cask 8.434 (2.904), test 0.678 (0.823), mean 60.0533 (0.6769), REML criterion 246.99
    (lme4's printed fit from memory; statsmodels 0.15.0 gives 1.6584, 8.4329, 0.67800, 246.99075)."""
    cask = np.kron(np.eye(3), np.ones((2, 2)))
    blocks = tuple(np.broadcast_to(B, (10, 6, 6)) for B in (np.ones((6, 6)), cask, np.eye(6)))
    found = fit(Grouped(PASTES, np.ones((10, 6, 1)), np.ones((10, 6), bool), blocks, np.zeros((10, 6)), np.zeros((1, 1))), np.array([1.0, 2.0, 1.0]))
    assert found.sds == pytest.approx([1.2874, 2.9041, 0.8234], abs=3e-4)
    assert found.theta[0] == pytest.approx(60.0533, abs=1e-4) and found.cov[0, 0] ** 0.5 == pytest.approx(0.6769, abs=1e-4)
    assert found.criterion + 59 * np.log(2 * np.pi) == pytest.approx(246.99075, abs=1e-3)


def counties(rows):
    """Nested errors by county of ``rows`` [county, ha, corn px, soy px]."""
    county = rows[:, 0].astype(int) - 1
    M = np.bincount(county).max()
    y, X, mask = np.zeros((12, M)), np.zeros((12, M, 3)), np.zeros((12, M), bool)
    for i in range(12):
        mine = rows[county == i]
        y[i, : len(mine)], mask[i, : len(mine)] = mine[:, 1], True
        X[i, : len(mine)] = np.column_stack([np.ones(len(mine)), mine[:, 2:]])
    both = (mask[:, :, None] & mask[:, None, :]).astype(float)
    return fit(Grouped(y, X, mask, (both, np.eye(M) * mask[:, :, None]), np.where(mask, 0.0, 1.0), np.zeros((3, 3))), np.array([10.0, 10.0]))


def test_soybeans_and_the_outlier():
    """ha per segment; statsmodels 0.15.0: soybeans −15.590, 0.0272, 0.4944 with 247.53 and 190.45; corn with row 33 kept 63.31 and 297.71 — one wrong row halves
    what counties are said to differ by and doubles the rest, which is why doubtful rounds are asked about."""
    rows = table(SEGMENTS)
    soy = counties(np.column_stack([rows[:, 0], SOY, rows[:, 2:]]))
    assert soy.sds**2 == pytest.approx([247.53, 190.45], rel=2e-4) and soy.theta == pytest.approx([-15.590, 0.0272, 0.4944], abs=5e-4)
    assert counties(np.vstack([rows, OUTLIER])).sds ** 2 == pytest.approx([63.31, 297.71], rel=2e-4)


def test_milk_areas_in_full():
    """Fresh milk, dollars a week: log-likelihood of REML's fit 12.677472, shrinkages .411139 .743490 .729199, mean squared errors (Prasad & Rao 1990; Datta & Lahiri 2000) of areas 1–5."""
    rows = table(MILK)
    X = np.column_stack([np.ones(43), *(rows[:, 0] == area for area in (2, 3, 4))]).astype(float)
    D = rows[:, 2] ** 2
    found = fit(Grouped(rows[:, 1:2], X[:, None, :], np.ones((43, 1), bool), (np.ones((43, 1, 1)),), D[:, None], np.zeros((4, 4))), np.array([0.1]))
    A = found.sds[0] ** 2
    shrunk = A / (A + D)
    assert shrunk[:3] == pytest.approx([0.411139, 0.743490, 0.729199], rel=2e-4)
    left = rows[:, 1] - X @ found.theta
    assert -0.5 * (np.log(2 * np.pi * (A + D)) + left**2 / (A + D)).sum() == pytest.approx(12.677472, abs=1e-3)
    g1, g2 = shrunk * D, (1 - shrunk) ** 2 * np.einsum("ij,jk,ik->i", X, found.cov, X)
    g3 = D**2 / (A + D) ** 3 * 2 / ((A + D) ** -2.0).sum()
    assert (g1 + g2 + 2 * g3)[:5] == pytest.approx([0.0134603, 0.0053729, 0.0057020, 0.0085417, 0.0095796], rel=5e-4)


def test_batting_averages():
    """Known variances all alike: REML gives A + D = S/(k − 1), so that (k − 3)/(k − 1) of its shrinkage is James and Stein's, published as 0.212 kept of each difference."""
    y = HITS / 45
    D, k = y.mean() * (1 - y.mean()) / 45, len(y)
    assert (y.mean(), D) == pytest.approx((0.265432, 0.004332842), abs=1e-6)
    scale = 1000.0  # points of batting average, so that the variance is far from the smallest the estimator knows
    found = fit(Grouped(scale * y[:, None], np.ones((k, 1, 1)), np.ones((k, 1), bool), (np.ones((k, 1, 1)),), np.full((k, 1), scale**2 * D), np.zeros((1, 1))), np.array([30.0]))
    A = found.sds[0] ** 2 / scale**2
    kept = 1 - (k - 3) / (k - 1) * D / (A + D)
    assert kept == pytest.approx(0.211653, rel=2e-4)
    told = y.mean() + kept * (y - y.mean())
    assert told == pytest.approx([.294, .289, .285, .280, .275, .275, .270, .266, .261, .261, .256, .256, .256, .256, .256, .252, .247, .242], abs=6e-4)
