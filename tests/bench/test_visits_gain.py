"""The morning's round against simple rules, on a few small estates (the bench runs dozens)."""

import numpy as np

from webapp.bench import visits_gain


def test_the_round_tells_more_an_hour_than_simple_rules():
    parts = [visits_gain.one("gompertz", 7000 + i, plots=60) for i in range(2)]
    assert all(np.isfinite(list(of.values())).all() for part in parts for of in part.values())
    mean = {rule: np.mean([part[rule]["part"] for part in parts]) for rule in ("ours", *visits_gain.RULES)}
    assert mean["ours"] > mean["oldest"] and mean["ours"] > 2 * max(mean["ripest"], mean["nearest"], 0.0), mean
    assert all(1 <= part["ours"]["visits"] <= 6 for part in parts)
