"""The estate's own past errors: wider where it erred more than it said, narrower where less; and a drought is followed once seen."""

import numpy as np
import pytest

from webapp.bench import true_laws
from webapp.bench.ripeness_truth import read
from webapp.ripeness import constants as k
from webapp.ripeness import fitting, ripening
from webapp.ripeness.visits import gather


@pytest.mark.parametrize("factor", [0.75, 1.0, 2.5])
def test_the_factor_is_found(factor):
    rng = np.random.default_rng(5)
    week, var, noise = rng.uniform(1, 52, 3000), rng.uniform(0.2, 1.0, 3000), np.full(3000, 0.4)
    found = fitting._line_of_errors(week, (factor * var + noise) * rng.standard_normal(3000) ** 2, var, noise)
    assert found == pytest.approx(np.full(len(found), factor), rel=0.25)


def test_a_few_errors_change_little_and_none_nothing():
    found = fitting._line_of_errors(np.array([20.0]), np.array([9.0]), np.array([0.5]), np.array([0.4]))
    assert np.all((found > 1.0) & (found < 1.5))
    visits = gather(["A"], np.array(["A"] * 3), np.array(["a"] * 3), np.full(3, true_laws.CUT_DAY - 30), np.array([20.0, 21.0, 22.0]), np.zeros(3))
    land = ripening.Land(np.array([true_laws.CUT_DAY - 1800.0]), np.zeros(1), np.zeros(1, int), ("Z",))
    assert fitting.fit_estate(visits, land, 90.0, float(true_laws.CUT_DAY)).inflation == pytest.approx(np.ones(len(fitting.WIDEN_AT_WEEKS)))


def test_the_factor_keeps_its_limits():
    week, var = np.linspace(1, 52, 4000), np.full(4000, 1.0)
    for squared, limit in ((np.zeros(4000), 0), (np.full(4000, 1e6), 1)):
        found = fitting._line_of_errors(week, squared, var, np.full(4000, 1e-3))
        assert found == pytest.approx(np.full(len(found), k.BACK_TEST_LIMITS[limit]))


def test_a_drought_is_followed_once_it_is_seen():
    """+1.8 °Bx for all half a year to a year ago: today's plots are said within 0.6 °Bx on average, and the estate's own movement has grown."""
    seeds = [s for s in range(200) if -52 <= (true_laws._World("drought", np.random.default_rng([true_laws.LAWS.index("drought"), s]), true_laws.PLOTS).onset - true_laws.CUT_DAY) / 7 <= -26][:3]
    assert len(seeds) == 3
    for seed in seeds:
        estate = true_laws.simulate("drought", seed)
        visits, land = read(estate)
        f = fitting.fit_estate(visits, land, true_laws.PEAK_MONTHS, float(true_laws.CUT_DAY))
        out = ripening.ahead(f, ripening.posterior(f, visits, land, f.about), np.array([float(true_laws.CUT_DAY)]))
        assert abs((out.mean[:, 0] - estate.mean_deg[:, 0]).mean()) < 0.6
        assert f.sd("shock") > 0.4
