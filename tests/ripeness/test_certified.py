"""The least squares and the variance components against NIST's certified values (Statistical Reference Datasets, itl.nist.gov/div898/strd)."""

import numpy as np
import pytest

from webapp.ripeness import growth
from webapp.ripeness.estimate import Grouped, fit

from .test_estimate import one_way


def numbers(text):
    return np.array(text.split(), float)


# Misra1a: volume (y) against pressure (x) of a monomolecular adsorption; D. Misra, NIST 1978.
MISRA_X = numbers("77.6 114.9 141.1 190.8 239.9 289.0 332.8 378.4 434.8 477.3 536.8 593.1 689.1 760.0")
MISRA_Y = numbers("10.07 14.73 17.94 23.93 29.61 35.18 40.02 44.82 50.76 55.05 61.01 66.40 75.47 81.78")
# MGH17: Osborne 1972, generated; x 0, 10 … 320.
MGH17_Y = numbers(""".844 .908 .932 .936 .925 .908 .881 .850 .818 .784 .751 .718 .685 .658 .628 .603 .580
.558 .538 .522 .506 .490 .478 .467 .457 .448 .438 .431 .424 .420 .414 .411 .406""")
# Thurber: electron mobility (y) against log density (x) of a semiconductor; R. Thurber, NIST 1979.
THURBER_X = numbers("""-3.067 -2.981 -2.921 -2.912 -2.840 -2.797 -2.702 -2.699 -2.633 -2.481 -2.363 -2.322 -1.501 -1.460 -1.274 -1.212 -1.100 -1.046 -.915
-.714 -.566 -.545 -.400 -.309 -.109 -.103 .010 .119 .377 .790 .963 1.006 1.115 1.572 1.841 2.047 2.200""")
THURBER_Y = numbers("""80.574 84.248 87.264 87.195 89.076 89.608 89.868 90.101 92.405 95.854 100.696 101.060 401.672 390.724 567.534 635.316 733.054 759.087 894.206
990.785 1090.109 1080.914 1122.643 1178.351 1260.531 1273.514 1288.339 1327.543 1353.863 1414.509 1425.208 1421.384 1442.962 1464.350 1468.705 1447.894 1457.628""")
# Norris: ozone monitors against a standard; J. Norris, NIST.
NORRIS_Y = numbers("""0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 448.9 10.8 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0
998.5 778.9 10.2 117.6 228.9 668.4 449.2 0.2""")
NORRIS_X = numbers("""0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0 447.5 11.6 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2
999.0 779.0 11.1 118.3 229.2 669.1 448.9 0.5""")
# SiRstv: resistivity of silicon (ohm·cm) by five instruments; Ehrstein & Croarkin, NIST.
SIRSTV = numbers("""196.3052 196.1240 196.1890 196.2569 196.3403 196.3042 196.3825 196.1669 196.3257 196.0422 196.1303 196.2005 196.2889 196.0343 196.1811 196.2795 196.1748 196.1494 196.1485 195.9885
196.2119 196.1051 196.1850 196.0052 196.2090""").reshape(5, 5)
# AtmWtAg: atomic weight of silver by two instruments; Powell, Murphy & Gramlich, NIST 1982. In 1e-7 above 107.868.
ATMWTAG = numbers("""1568 1465 1572 1785 1446 1903 1526 1494 1616 1587 1519 1486 1419 1569 1508 1672 1385 1518 1662 1424 1360 1333 1610 1477
1079 1344 1513 1197 1604 1385 1642 1365 1151 1082 1517 1448 1198 1482 1334 1609 1101 1512 1469 1360 1254 1261 1450 1368""").reshape(2, 24)


@pytest.mark.parametrize("start", [(500, 1e-4), (250, 5e-4)])
def test_misra1a(start):
    found = growth.fit_growth("approach", MISRA_X, MISRA_Y, [start])
    assert found.b == pytest.approx([238.94212918, 5.5015643181e-4], rel=1e-8) and found.b_sd == pytest.approx([2.7070075241, 7.2668688436e-6], rel=1e-7)
    assert found.rss == pytest.approx(0.12455138894, rel=1e-8) and found.spread == pytest.approx(0.10187876330, rel=1e-8)


def test_the_harder_sets(monkeypatch):
    """Curves the product doesn't use, through the same routine: MGH17 (average difficulty by NIST), Thurber (higher)."""
    monkeypatch.setitem(growth.CURVES, "mgh17", lambda x, b: b[0] + b[1] * np.exp(-x * b[3]) + b[2] * np.exp(-x * b[4]))
    monkeypatch.setitem(growth.CURVES, "thurber", lambda x, b: np.polyval(b[3::-1], x) / (1 + x * np.polyval(b[:3:-1], x)))
    found = growth.fit_growth("mgh17", 10.0 * np.arange(33), MGH17_Y, [(0.5, 1.5, -1, 0.01, 0.02)])
    assert found.b == pytest.approx([0.37541005211, 1.9358469127, -1.4646871366, 0.012867534640, 0.022122699662], rel=1e-7)
    assert found.rss == pytest.approx(5.4648946975e-5, rel=1e-8) and found.spread == pytest.approx(1.3970497866e-3, rel=1e-8)
    for start in ((1000, 1000, 400, 40, 0.7, 0.3, 0.03), (1300, 1500, 500, 75, 1, 0.4, 0.05)):
        found = growth.fit_growth("thurber", THURBER_X, THURBER_Y, [start])
        assert found.b == pytest.approx([1288.1396800, 1491.0792535, 583.23836877, 75.416644291, 0.96629502864, 0.39797285797, 0.049727297349], rel=1e-7)
        assert found.rss == pytest.approx(5642.7082397, rel=1e-8) and found.spread == pytest.approx(13.714600784, rel=1e-8)


def test_norris():
    """A straight line is the estimator with no groups: REML of the one variance is RSS/(n − p)."""
    X = np.column_stack([np.ones(36), NORRIS_X])
    found = fit(Grouped(NORRIS_Y[None], X[None], np.ones((1, 36), bool), (np.eye(36)[None],), np.zeros((1, 36)), np.zeros((2, 2))), np.array([3.0]))
    assert found.theta == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-7)
    assert found.sds[0] == pytest.approx(0.884796396144373, rel=1e-6)
    assert np.sqrt(np.diag(found.cov)) == pytest.approx([0.232818234301152, 4.29796848199937e-4], rel=1e-6)


def components(y, between_ms, within_ms):
    """Variances by REML against the certified mean squares: σ² = MS within, σ_b² = (MS between − MS within)/m; balanced, so both agree exactly."""
    found = fit(one_way(y), np.array([within_ms**0.5, within_ms**0.5]))
    assert found.sds**2 == pytest.approx([(between_ms - within_ms) / y.shape[1], within_ms], rel=2e-4)
    assert 1 + y.shape[1] * found.sds[0] ** 2 / found.sds[1] ** 2 == pytest.approx(between_ms / within_ms, rel=2e-4)  # the F statistic


def test_sirstv():
    assert 1.27865654e-2 / 1.08318280e-2 == pytest.approx(1.18046237440255, rel=1e-9)
    components(SIRSTV - 196, 1.27865654e-2, 1.08318280e-2)


def test_atmwtag():
    """Certified F 15.9467335677930, residual sd 1.51048314446410e-5."""
    within = 1.51048314446410e-5**2 * 1e14
    components(ATMWTAG, 15.9467335677930 * within, within)


@pytest.mark.parametrize("constant", [0.0, 1e6])
def test_simulated_levels(constant):
    """SmLs01 (lower difficulty) and SmLs04 (average; six constant leading digits): F 21, mean squares 0.21 and 0.01, 9 × 21 values. With the leading
    constant taken off first, as the model takes off the practice curve: the criterion is made of sums of squares and wouldn't survive twelve of them."""
    levels = np.array([1.4, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5])
    swing = np.r_[0.0, np.tile([-0.1, 0.1], 10)]
    y = constant + (levels[:, None] + swing[None, :])
    components(y - constant, 0.21, 0.01)
