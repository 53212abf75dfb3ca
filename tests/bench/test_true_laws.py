"""The invented estates are what they say: repeatable, their shares those of their plants, their hidden visits about their means."""

import numpy as np
import pytest

from webapp.bench import true_laws
from webapp.bench.true_laws import LAWS, TARGET_BRIX_DEG, _World, simulate


@pytest.mark.parametrize("law", LAWS)
def test_the_same_seed_gives_the_same_estate_and_another_another(law):
    one, again, other = simulate(law, 3, plots=40), simulate(law, 3, plots=40), simulate(law, 4, plots=40)
    for name in ("brix_deg", "planted", "mean_deg", "seen_deg"):
        assert np.array_equal(getattr(one, name), getattr(again, name))
    assert not np.array_equal(one.mean_deg, other.mean_deg)


@pytest.mark.parametrize("law", LAWS)
def test_a_share_is_that_of_many_plants(law):
    """20,000 plants of each of 12 plots: within 4 standard errors of the stated share."""
    rng = np.random.default_rng(1)
    world = _World(law, rng, 12)
    at, day = np.arange(12), np.full(12, true_laws.CUT_DAY + 200.0)
    drawn = world.mean(at, day)[:, None] + world.spread(at, day)[:, None] * world.plants(rng, 240_000).reshape(12, -1)
    stated = world.share(at, day)
    assert np.all(np.abs((drawn >= TARGET_BRIX_DEG).mean(axis=1) - stated) <= 4 * np.sqrt(stated * (1 - stated) / 20_000) + 1e-3)


def test_hidden_visits_lie_about_the_truth_and_in_their_weeks():
    estate = simulate("gompertz", 5)
    for h, (low, high) in enumerate(true_laws.HORIZONS.values()):
        assert estate.week[:, h].min() >= low and estate.week[:, h].max() <= high
        error = estate.seen_deg[:, h] - estate.mean_deg[np.arange(len(estate.week)), estate.week[:, h]]
        assert abs(error.mean()) < 4 * error.std() / np.sqrt(len(error)) and 0.6 < error.std() < 1.0


def test_the_drought_steps_up_once_for_all():
    steps = []
    for seed in range(40):
        world = _World("drought", np.random.default_rng(seed), 5)
        at = np.arange(5)
        steps.append(world.mean(at, np.full(5, world.onset)) - world.mean(at, np.full(5, world.onset - 0.01)))
        assert true_laws.CUT_DAY - 728 <= world.onset <= true_laws.CUT_DAY + 728
    assert np.allclose(steps, true_laws.DROUGHT_DEG, atol=0.01)
