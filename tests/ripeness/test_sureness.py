"""Intervals of fitted standard deviations: against the closed form of a published layout, on estates whose truth is known, and said so at the edge."""

from dataclasses import replace

import numpy as np
import pytest

from webapp.ripeness import believed, estimate, fitting, sureness, visits
from webapp.ripeness.falling_back import HELD, USUAL
from webapp.ripeness.ripening import COMPONENTS, Land

from .estates import PEAK, TODAY, simulate
from .test_estimate import DYESTUFF, DYESTUFF2, one_way

TRUTH = {"level": 2.2, "visit": 0.7, "plant": 1.6}
"""Away from the priors' medians, which would otherwise help."""


def test_one_way_layout_in_closed_form():
    """Balanced REML: Var σ̂a² = (2/n²)(MSA²/(a − 1) + MSE²/(a(n − 1))), Var σ̂e² = 2 MSE²/(a(n − 1)) (Searle, Casella & McCulloch 1992, Variance Components, §3.5)."""
    found = estimate.fit(one_way(DYESTUFF), np.array([30.0, 50.0]))
    a, n = DYESTUFF.shape
    mse, msa = found.sds[1] ** 2, n * found.sds[0] ** 2 + found.sds[1] ** 2
    between, within = np.sqrt(2 / n**2 * (msa**2 / (a - 1) + mse**2 / (a * (n - 1)))), np.sqrt(2 * mse**2 / (a * (n - 1)))
    log_sds = sureness.spread_of(one_way(DYESTUFF), np.log(found.sds), np.arange(2))
    assert log_sds == pytest.approx([between / (2 * found.sds[0] ** 2), within / (2 * mse)], rel=5e-3)
    assert sureness.edges_of(one_way(DYESTUFF), np.log(found.sds)).tolist() == [False, False]


def test_batches_that_do_not_differ_stand_at_the_edge():
    found = estimate.fit(one_way(DYESTUFF2), np.array([1.0, 4.0]))
    assert sureness.edges_of(one_way(DYESTUFF2), np.log(np.maximum(found.sds, 0.3)))[0], "held at 0.3 by a prior, the data would have none of it"


@pytest.fixture(scope="module")
def estates():
    made = [simulate(seed, "logistic", plots=60, level_sd=TRUTH["level"], visit_sd=TRUTH["visit"], plant_sd=TRUTH["plant"]) for seed in range(20)]
    return [(e, fitting.fit_estate(e.visits, e.land, PEAK, TODAY, widened=False)) for e in made]


def test_intervals_hold_the_truth_about_as_often_as_they_say(estates):
    held = []
    for e, fit in estates:
        sure = sureness.of_fit(fit, e.visits, e.land)
        held += [low <= value <= high for name, value in TRUTH.items() for low, high in [sure[name].interval(fit.sd(name), 1.2816)]]
    assert 39 <= sum(held) <= 56, "60 intervals at 80 %: 48 expected, beyond 39 to 56 in one run of a hundred"


def test_the_criterion_is_the_fits_own_and_so_is_the_doubt(estates):
    e, fit = estates[0]
    data = sureness.criterion(fit, e.visits, e.land)
    slope = estimate.evaluate(data, np.log(fit.sds))[1]
    sure = sureness.of_fit(fit, e.visits, e.land)
    log_sd = np.array([sure[name].log_sd for name in COMPONENTS])
    assert np.abs(slope * log_sd).max() < 0.1, "nowhere a tenth of a standard error from the top"
    drawn = np.log(estimate.doubt(data, fit.sds, 4000, seed=1)).std(axis=0)
    assert log_sd == pytest.approx(drawn, rel=0.06), "what the forecasts are widened by"


def test_zones_alike_are_at_the_edge_and_what_was_not_sought_has_no_interval(estates):
    e, fit = estates[0]
    told = {b.name: b for b in believed.beliefs(fit, len(e.land.zones), sureness.of_fit(fit, e.visits, e.land))}
    assert told["sd_zone"].note == "edge" and not told["sd_plant"].note  # the three zones differ in pace and season only
    for b in told.values():
        assert b.low is None or 0 < b.low < b.value < b.high or not b.name.startswith("sd_")
    held = sureness.of_fit(replace(fit, step=HELD), e.visits, e.land)
    assert held["pace"].log_sd is None and held["level"].log_sd > 0
    usual = {b.name: b for b in believed.beliefs(fit, len(e.land.zones), sureness.of_fit(replace(fit, step=USUAL), e.visits, e.land))}
    assert usual["sd_level"].note == "held" and usual["sd_level"].low is None
    gone = sureness.of_fit(replace(fit, sds=np.where(np.array(COMPONENTS) == "drift", 0.0, fit.sds)), e.visits, e.land)["drift"]
    assert gone.edge and gone.log_sd is None


def test_nothing_seen_says_nothing():
    none = visits.gather(["A", "B"], *(np.zeros(0) for _ in range(5)))
    land = Land(np.full(2, TODAY - 1500.0), np.zeros(2), np.zeros(2, int), ("Z",))
    fit = fitting.fit_estate(none, land, PEAK, TODAY, widened=False)
    assert all(one.silent for one in sureness.of_fit(fit, none, land).values())
