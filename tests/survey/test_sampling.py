"""Enough sampled, sample sizes of the textbook, and the table of cases the phone is held to as well."""

import json
from pathlib import Path

import pytest

from webapp.survey import brix, sampling
from webapp.survey.sampling import Prior

CASES = json.loads((Path(__file__).parent.parent / "reference/shared_cases.json").read_text())


# Source: Cochran 1977, Sampling Techniques §4.4–4.6 (p=.5, d=.05, t=2, N=3200 → 356; S=3, e=.5, N=400 → 103; .03 → 1068, N=5000 → 880).
@pytest.mark.parametrize("sd, error, population, z, n", [(0.5, 0.05, 3200, 2.0, 356), (3, 0.5, 400, 1.96, 103), (0.5, 0.03, None, 1.96, 1068), (0.5, 0.03, 5000, 1.96, 880)])
def test_published_sample_sizes(sd, error, population, z, n):
    assert sampling.sample_size(sd, error, population, z) == n


def test_more_plants_narrow_and_enough_comes():
    prior = Prior(24, 1.6, 0.5, 2.2)
    sds = [sampling.mean_sd(prior, n) for n in range(20)]
    assert all(a > b for a, b in zip(sds, sds[1:]))
    assert sampling.still_needed(prior, 0, 0.05) > 3 and sampling.still_needed(prior, 40, 0.05) == 0


def test_readings_pull_the_mean_but_not_past_them():
    prior = Prior(24, 1.6, 0.5, 2.2)
    mean, sd = sampling.posterior(prior, [20.0] * 12)
    assert 20 < mean < 24 and sd == sampling.mean_sd(prior, 12)


def test_systematic_rows_lie_in_the_plot():
    rows = sampling.systematic(57, 6, 4)
    assert len(set(rows)) == 6 and min(rows) == 4 and max(rows) <= 57


@pytest.mark.parametrize("case", CASES["stand"], ids=lambda c: c["why"])
def test_shared_stand(case):
    p = Prior(**case["prior"])
    mean, sd = sampling.posterior(p, case["values_deg"])
    assert mean == pytest.approx(case["mean_deg"], abs=1e-9) and sd == pytest.approx(case["sd_deg"], abs=1e-9)
    assert sampling.still_needed(p, len(case["values_deg"]), case["narrowing_deg"]) == case["more"]


@pytest.mark.parametrize("case", CASES["correction"], ids=lambda c: c["why"])
def test_shared_correction(case):
    value, sd, tag = brix.correct(case["raw_deg"], case["temp_c"], case["atc"], case["atc_low_c"], case["atc_high_c"])
    assert value == pytest.approx(case["brix20_deg"], abs=1e-9) and sd == pytest.approx(case["sd_deg"], abs=1e-9) and tag == case["tag"]


@pytest.mark.parametrize("case", CASES["sample_size"], ids=lambda c: c["why"])
def test_shared_sample_size(case):
    assert sampling.sample_size(case["sd"], case["error"], case["population"]) == case["n"]
