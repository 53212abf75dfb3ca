"""A few estates of the laws of growth and loss (many of each: ``pinario bench tonnes``)."""

import numpy as np
import pytest

from webapp.bench import tonnes_truth, true_fields
from webapp.bench.true_fields import LAWS, simulate


@pytest.mark.parametrize("law", LAWS)
def test_the_same_seed_gives_the_same_fields(law):
    one, again = simulate(law, 3, plots=20), simulate(law, 3, plots=20)
    assert np.array_equal(one.mass_t, again.mass_t) and one.counts == again.counts and one.loads == again.loads
    assert (one.mass_t > 0).all()


def test_losses_pockets_and_dry_years_take_what_they_say():
    dry = [simulate("dry_year", seed, plots=30).mass_t[:, 104].sum() / simulate("logistic", seed, plots=30).mass_t[:, 104].sum() for seed in range(3)]
    assert all(ratio > 0 for ratio in dry)
    pockets = simulate("pockets", 1, plots=400)
    fell = pockets.mass_t[:, 104] < 0.9 * pockets.mass_t[:, 0]
    assert 0 < fell.mean() < true_fields.POCKET_SHARE


def test_quiet_fields_are_covered_and_loads_tell_the_estate():
    """Six estates: bands of the long run, wider by what six leave to chance."""
    parts = [tonnes_truth.score(simulate(law, seed), seed) for law in ("logistic", "gompertz") for seed in (2000, 2001, 2002)]
    assert 0.70 <= np.mean([p["tonnes80"] for p in parts]) <= 0.89
    assert 0.88 <= np.mean([p["tonnes95"] for p in parts]) <= 0.985
    assert abs(np.mean([p["tonnes_bias"][0] for p in parts])) < 0.05
    assert abs(np.mean([tonnes_truth.ready_bias(simulate("logistic", seed, loads=tonnes_truth.LOADS_FOR_BIAS)) for seed in (2000, 2001, 2002)])) <= 0.05
