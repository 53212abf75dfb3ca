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


def pinball(share, low, seen):
    return np.maximum(share * (seen - low), (share - 1) * (seen - low))


def test_pinball_and_the_interval_score():
    """Pinball of quantile forecasts as published (Gneiting & Raftery 2007; scikit-learn 1.9.1's own examples), and IS = 2/α (pinball of both ends)."""
    assert [float(pinball(q, y, x)) for q, y, x in ((0.9, 12, 10), (0.9, 8, 10), (0.1, 8, 10), (0.1, 12, 10))] == pytest.approx([0.2, 1.8, 0.2, 1.8])
    seen = np.array([1.0, 2, 3])
    for told, q, mean in (([0, 2, 3], 0.1, 1 / 30), ([1, 2, 4], 0.1, 0.3), ([0, 2, 3], 0.9, 0.3), ([1, 2, 4], 0.9, 1 / 30)):
        assert pinball(q, np.array(told, float), seen).mean() == pytest.approx(mean)
    rng = np.random.default_rng(2)
    low, y = rng.normal(22, 2, 50), rng.normal(24, 4, 50)
    high = low + rng.exponential(5, 50)
    for alpha in (0.05, 0.2, 0.5):
        assert interval_score(low, high, y, alpha) == pytest.approx(2 / alpha * (pinball(alpha / 2, low, y) + pinball(1 - alpha / 2, high, y)))


def test_crps_is_twice_the_mean_pinball():
    """CRPS(F, y) = 2∫ pinball_τ(F⁻¹(τ), y) dτ = ∫ (F(x) − 1{x ≥ y})² dx (Gneiting & Raftery 2007): N(0, 1) at 1 gives 0.602441."""
    from scipy.stats import norm

    share = (np.arange(200_000) + 0.5) / 200_000
    assert 2 * pinball(share, norm.ppf(share), 1.0).mean() == pytest.approx(0.602441, abs=2e-6)
    x = np.linspace(10, 38, 400_001)
    whole = (norm.cdf(x, 24, 1.5) - (x >= 25.3)) ** 2
    assert ((whole[1:] + whole[:-1]) / 2).sum() * (x[1] - x[0]) == pytest.approx(float(crps_normal(24.0, 1.5, 25.3)), abs=1e-5)


def test_crps_of_many_draws_is_the_normals():
    draws = 24 + 1.5 * np.random.default_rng(3).standard_normal(4000)
    assert crps_draws(draws, 25.3) == pytest.approx(0.7738629503, abs=0.03)


def test_coverage_counts_both_ends():
    assert coverage(np.array([0.0, 0.0, 0.0]), np.array([1.0, 1.0, 1.0]), np.array([0.0, 1.0, 1.1])) == pytest.approx(2 / 3)
