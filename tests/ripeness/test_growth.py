"""Growth curves against certified values."""

from pathlib import Path

import numpy as np
import pytest

from webapp.ripeness.growth import fit_growth, plain_curve

REFERENCE = Path(__file__).parent.parent / "reference"


def data(name):
    return np.loadtxt(REFERENCE / name, delimiter=",", skiprows=2).T


# Source: NIST Statistical Reference Datasets, nonlinear regression, certified values, both starts given there.
@pytest.mark.parametrize("start", [(100, 1, 0.1), (75, 2.5, 0.07)])
def test_rat42(start):
    found = fit_growth("logistic", *data("nist_rat42.csv"), [start])
    assert found.b == pytest.approx([72.462237576, 2.6180768402, 0.067359200066], rel=1e-6)
    assert found.b_sd == pytest.approx([1.7340283401, 0.088295217536, 0.0034465663377], rel=1e-5)
    assert found.rss == pytest.approx(8.0565229338, rel=1e-9) and found.spread == pytest.approx(1.1587725499, rel=1e-8)


@pytest.mark.parametrize("start", [(100, 10, 1, 1), (700, 5, 0.75, 1.3)])
def test_rat43(start):
    found = fit_growth("richards", *data("nist_rat43.csv"), [start])
    assert found.b == pytest.approx([699.64151270, 5.2771253025, 0.75962938329, 1.2792483859], rel=1e-5)
    assert found.b_sd == pytest.approx([16.302297817, 2.0828735829, 0.19566123451, 0.68761936385], rel=1e-4)
    assert found.rss == pytest.approx(8786.4049080, rel=1e-9)


def test_boxbod_from_its_bad_start():
    """NIST StRD BoxBOD: plain Levenberg–Marquardt runs off from (1, 1); it is either found or refused, never wrong."""
    x, y = [1, 2, 3, 5, 7, 10], [109, 149, 149, 191, 213, 224]
    far = fit_growth("approach", x, y, [(1, 1)])
    assert far is None or far.rss == pytest.approx(1168.0088766, rel=1e-8)
    found = fit_growth("approach", x, y, [(1, 1), (100, 0.75)])
    assert found.b == pytest.approx([213.80940889, 0.54723748542], rel=1e-6) and found.rss == pytest.approx(1168.0088766, rel=1e-8)


def test_says_nothing_where_data_say_nothing():
    assert plain_curve(np.full(40, 60.0), np.linspace(20, 24, 40), np.full(40, 12)) is None
    assert plain_curve(np.array([30.0, 60.0]), np.array([12.0, 22.0]), np.array([12, 12])) is None
    assert plain_curve(np.linspace(30, 90, 30), np.full(30, 22.0), np.full(30, 12)) is None
