"""Growth with age of the spread of plants, and its shape."""

import numpy as np
import pytest

from webapp.ripeness import spread
from webapp.ripeness.visits import gather

TODAY = 740_000


def estate(slope, seed=1, plots=80, plants=12):
    rng = np.random.default_rng(seed)
    age = rng.uniform(14, 96, plots)
    rows = [(f"P{i}", f"{i}-{j}", TODAY - 30 * j, 20 + rng.normal(0, 2 * np.sqrt(spread.relative(age[i] - j, slope))), 0.0) for i in range(plots) for j in range(4) for _ in range(plants)]
    visits = gather([f"P{i}" for i in range(plots)], *(np.array(column) for column in zip(*rows)))
    return visits, age[:, None] - (TODAY - visits.day) / 30.0, age


@pytest.mark.parametrize("slope", [-0.5, 0.0, 0.8])
def test_the_slope_is_found(slope):
    """3,500 plants: the slope's standard error is about 0.1, and the prior draws a little to 0."""
    visits, age, _ = estate(slope)
    assert spread.slope_of(visits, age) == pytest.approx(slope, abs=0.3)


def test_without_two_plants_anywhere_it_is_flat():
    visits, age, _ = estate(0.8, plants=1)
    assert spread.slope_of(visits, age) == 0.0


def test_the_shape_has_sd_one_whatever_the_age():
    visits, _, age = estate(0.8)
    shape = spread.shape_of(visits, age[visits.residual_plot] - (TODAY - visits.residual_day) / 30.0, 2.0, 0.8)
    assert shape.mean() == pytest.approx(0, abs=1e-12) and shape.std() == pytest.approx(1, abs=0.05) and (np.diff(shape) >= 0).all()


def test_too_few_plants_have_the_normal_shape():
    visits, age, _ = estate(0.0, plots=1, plants=2)
    shape = spread.shape_of(visits, np.zeros(0), 2.0, 0.0)
    assert len(shape) == 99 and shape[0] == pytest.approx(-shape[-1])
