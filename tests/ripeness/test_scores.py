"""Scores of forecasts against published and closed-form values."""

import numpy as np
import pytest

from webapp.ripeness.scores import coverage, crps_draws, crps_normal, interval_score


def test_crps_of_a_normal():
    # (√2 − 1)/√π; Gneiting & Raftery 2007; the others as scoringrules 0.10.0 gives them
    assert crps_normal(0.0, 1.0, 0.0) == pytest.approx(0.23369497725510915, abs=1e-13)
    assert crps_normal(0.0, 1.0, 1.0) == pytest.approx(0.6024413576276163, abs=1e-12)
    assert crps_normal(0.1, 0.4, 0.5) == pytest.approx(0.2409765430510465, abs=1e-12)
    assert crps_normal(np.array([24.0, 24.0]), 1.5, np.array([25.3, 30.0])) == pytest.approx([0.7738629503, 5.1537370605], abs=1e-9)


def test_crps_of_an_ensemble():
    assert crps_draws(np.array([1, 2, 3, 4]), 2) == pytest.approx(0.375)  # properscoring, energy form


def test_interval_score():
    # Winkler 1972 as in Gneiting & Raftery 2007: 90–110 at 80 %, seen 100, 85, 112
    assert interval_score(90.0, 110.0, np.array([100.0, 85.0, 112.0]), 0.2) == pytest.approx([20, 70, 40])
    assert interval_score(22.0, 28.0, 29.0, 0.1) == pytest.approx(26)
    assert interval_score(0.0, 0.4, 0.1, 0.5) == pytest.approx(0.4)  # scoringrules' own example


def test_coverage_counts_both_ends():
    assert coverage(np.array([0.0, 0.0, 0.0]), np.array([1.0, 1.0, 1.0]), np.array([0.0, 1.0, 1.1])) == pytest.approx(2 / 3)
