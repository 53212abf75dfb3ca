"""The estimator reduced to their form reproduces published variance components."""

import numpy as np
import pytest
from scipy.optimize import check_grad, minimize_scalar

from webapp.ripeness.estimate import Grouped, evaluate, fit

# Source: lme4 `Dyestuff` (Davies 1947); published REML 1764.05 and 2451.25, grand mean 1527.5.
DYESTUFF = np.array([[1545, 1440, 1440, 1520, 1580], [1540, 1555, 1490, 1560, 1495], [1595, 1550, 1605, 1510, 1560],
                     [1445, 1440, 1595, 1465, 1545], [1595, 1630, 1515, 1635, 1625], [1520, 1455, 1450, 1480, 1445]], float)
# Source: lme4 `Dyestuff2` (Box & Tiao 1973): between-batch variance 0, residual variance 13.80631, mean 5.6656.
DYESTUFF2 = np.array([[7.298, 3.846, 2.434, 9.566, 7.990], [5.220, 6.556, 0.608, 11.788, -0.892], [0.110, 10.386, 13.434, 5.510, 8.166],
                      [2.212, 4.852, 7.092, 9.288, 4.980], [0.282, 9.014, 4.458, 9.446, 7.198], [1.722, 4.782, 8.106, 0.758, 3.758]])
# Source: lme4 `sleepstudy` (Belenky et al. 2003): Reaction by Subject, days 0–9.
SLEEP = """249.56 258.7047 250.8006 321.4398 356.8519 414.6901 382.2038 290.1486 430.5853 466.3535
222.7339 205.2658 202.9778 204.707 207.7161 215.9618 213.6303 217.7272 224.2957 237.3142
199.0539 194.3322 234.32 232.8416 229.3074 220.4579 235.4208 255.7511 261.0125 247.5153
321.5426 300.4002 283.8565 285.133 285.7973 297.5855 280.2396 318.2613 305.3495 354.0487
287.6079 285 301.8206 320.1153 316.2773 293.3187 290.075 334.8177 293.7469 371.5811
234.8606 242.8118 272.9613 309.7688 317.4629 309.9976 454.1619 346.8311 330.3003 253.8644
283.8424 289.555 276.7693 299.8097 297.171 338.1665 332.0265 348.8399 333.36 362.0428
265.4731 276.2012 243.3647 254.6723 279.0244 284.1912 305.5248 331.5229 335.7469 377.299
241.6083 273.9472 254.4907 270.8021 251.4519 254.6362 245.4523 235.311 235.7541 237.2466
312.3666 313.8058 291.6112 346.1222 365.7324 391.8385 404.2601 416.6923 455.8643 458.9167
236.1032 230.3167 238.9256 254.922 250.7103 269.7744 281.5648 308.102 336.2806 351.6451
256.2968 243.4543 256.2046 255.5271 268.9165 329.7247 379.4445 362.9184 394.4872 389.0527
250.5265 300.0576 269.8939 280.5891 271.8274 304.6336 287.7466 266.5955 321.5418 347.5655
221.6771 298.1939 326.8785 346.8555 348.7402 352.8287 354.4266 360.4326 375.6406 388.5417
271.9235 268.4369 257.2424 277.6566 314.8222 317.2135 298.1353 348.1229 340.28 366.5131
225.264 234.5235 238.9008 240.473 267.5373 344.1937 281.1481 347.5855 365.163 372.2288
269.8804 272.4428 277.8989 281.7895 279.1705 284.512 259.2658 304.6306 350.7807 369.4692
269.4117 273.474 297.5968 310.6316 287.1726 329.6076 334.4818 343.2199 369.1417 364.1236"""


def one_way(y):
    n, m = y.shape
    ones = np.ones((n, m, m))
    return Grouped(y, np.ones((n, m, 1)), np.ones((n, m), bool), (ones, np.broadcast_to(np.eye(m), (n, m, m))), np.zeros((n, m)), np.zeros((1, 1)))


def test_dyestuff():
    found = fit(one_way(DYESTUFF), np.array([30.0, 50.0]))
    assert found.sds[0] ** 2 == pytest.approx(1764.05, rel=2e-4) and found.sds[1] ** 2 == pytest.approx(2451.25, rel=2e-4)
    assert found.theta[0] == pytest.approx(1527.5, abs=1e-6)
    assert found.cov[0, 0] == pytest.approx(375.714676744, rel=2e-4)  # published variance of the mean
    # published BLUPs A…F in closed form
    blups = found.sds[0] ** 2 * found.q.sum(axis=1)
    assert blups == pytest.approx([-17.6069, 0.3913, 28.5622, -23.0845, 56.7332, -44.9953], abs=0.01)
    # published REML criterion 319.654276842342 = ours + (n − p) log 2π
    assert found.criterion + 29 * np.log(2 * np.pi) == pytest.approx(319.654276842342, abs=1e-4)


def test_dyestuff2_has_no_between_variance():
    found = fit(one_way(DYESTUFF2), np.array([1.0, 4.0]))
    assert found.sds[0] == pytest.approx(0.0, abs=0.02) and found.sds[1] ** 2 == pytest.approx(13.80631, rel=2e-4)
    assert np.abs(found.sds[0] ** 2 * found.q.sum(axis=1)).max() < 1e-3


def test_sleepstudy():
    """Correlated intercept and slope: independent ones at the day where their correlation vanishes (searched)."""
    y = np.array([[float(v) for v in line.split()] for line in SLEEP.splitlines()])
    days = np.arange(10.0)
    X = np.broadcast_to(np.stack([np.ones(10), days], axis=1), (18, 10, 2))

    def at(origin, details=False):
        z = days - origin
        data = Grouped(y, X, np.ones((18, 10), bool), (np.ones((18, 10, 10)), np.broadcast_to(np.outer(z, z), (18, 10, 10)), np.broadcast_to(np.eye(10), (18, 10, 10))),
                       np.zeros((18, 10)), np.zeros((2, 2)))
        found = fit(data, np.array([20.0, 5.0, 25.0]))
        return found if details else found.criterion

    origin = minimize_scalar(at, bounds=(-3, 3), method="bounded", options={"xatol": 1e-5}).x
    found = at(origin, True)
    level, slope, rest = found.sds**2
    assert found.theta == pytest.approx([251.405104848485, 10.467285959595], rel=1e-8)
    assert slope == pytest.approx(35.0717, rel=2e-4) and rest == pytest.approx(654.941, rel=2e-4)
    assert level + origin**2 * slope == pytest.approx(612.090, rel=2e-4) and -origin * slope == pytest.approx(9.6043, rel=2e-3)
    assert found.criterion + 178 * np.log(2 * np.pi) == pytest.approx(1743.6282722424, abs=1e-3)


def test_gradient_is_the_derivative():
    rng = np.random.default_rng(3)
    n, m, p = 7, 4, 3
    mask = rng.random((n, m)) > 0.2
    X = np.where(mask[..., None], rng.normal(size=(n, m, p)), 0)
    ones = mask[:, :, None] * mask[:, None, :] * 1.0
    data = Grouped(np.where(mask, rng.normal(size=(n, m)), 0), X, mask, (ones, np.eye(m) * mask[:, :, None]), np.where(mask, 0.1, 1.0), np.diag([0.0, 0.2, 0.0]),
                   (np.array([2]),), (1, 30.0, 12.0), ((1.0, 0.7), None, (0.5, 0.6)))
    phi = np.array([0.1, -0.3, 0.2])
    assert check_grad(lambda v: evaluate(data, v)[0], lambda v: evaluate(data, v)[1], phi) < 1e-4


def test_row_order_does_not_matter():
    data = one_way(DYESTUFF[::-1, ::-1])
    assert fit(data, np.array([30.0, 50.0])).sds == pytest.approx(fit(one_way(DYESTUFF), np.array([30.0, 50.0])).sds, rel=1e-5)
