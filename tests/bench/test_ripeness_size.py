"""The measurement of size runs, finite everywhere; its figures at ten thousand plots: ``pinario bench region``."""

import pytest

from webapp.bench import ripeness_size


@pytest.mark.parametrize("full", [False, True])
def test_a_small_region(full):
    found = ripeness_size.once(60, full)
    assert found["finite"] == 1.0 and found["plots"] == 60
    assert all(found[name] > 0 for name in ("gather_s", "fit_s", "forecast_s", "one_visit_ms", "rss_mb"))


def test_its_readings_are_the_same_each_time():
    one, again = ripeness_size.readings(5), ripeness_size.readings(5)
    assert all((a == b).all() for a, b in zip(one, again)) and len(one[5]) == 5 * ripeness_size.VISITS * ripeness_size.PLANTS
