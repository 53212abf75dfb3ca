"""Enough sampled, sample sizes of the textbook, and the table of cases the phone is held to as well."""

import csv
import json
from pathlib import Path

import pytest

from webapp.survey import brix, sampling
from webapp.survey.sampling import Prior

CASES = json.loads((Path(__file__).parent.parent / "reference/shared_cases.json").read_text())


REFERENCE = Path(__file__).parent.parent / "reference"
SIZES = [row for row in csv.DictReader(line for line in (REFERENCE / "sampling.csv").open(encoding="utf-8") if not line.startswith("#"))]


@pytest.mark.parametrize("row", SIZES, ids=lambda r: r["source"][-30:])
def test_published_sample_sizes(row):
    sd, error, z = (float(row[name]) for name in ("sd", "error", "z"))
    assert (z * sd / error) ** 2 == pytest.approx(float(row["n0"]), abs=0.005)
    assert sampling.sample_size(sd, error, int(row["population"]) if row["population"] else None, z) == int(row["n"])


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
    off, surprise = sampling.against(p, case["values_deg"])
    assert off == pytest.approx(case["off_deg"], abs=1e-9) and surprise == case["surprise"]


@pytest.mark.parametrize("case", CASES["correction"], ids=lambda c: c["why"])
def test_shared_correction(case):
    value, sd, tag = brix.correct(case["raw_deg"], case["temp_c"], case["atc"], case["atc_low_c"], case["atc_high_c"])
    assert value == pytest.approx(case["brix20_deg"], abs=1e-9) and sd == pytest.approx(case["sd_deg"], abs=1e-9) and tag == case["tag"]


@pytest.mark.parametrize("case", CASES["sample_size"], ids=lambda c: c["why"])
def test_shared_sample_size(case):
    assert sampling.sample_size(case["sd"], case["error"], case["population"]) == case["n"]


@pytest.mark.parametrize("case", CASES["rows_stand"], ids=lambda c: c["why"])
def test_shared_rows_stand(case):
    found = sampling.rows_stand(case["counts"], case["rows_in_plot"], case["share"])
    for name in ("mean", "low", "high", "more"):
        assert getattr(found, name) == (None if case[name] is None else pytest.approx(case[name], abs=1e-9)), name


def test_students_t_is_the_printed_table():
    from scipy.stats import t

    assert sampling.T975 == tuple(round(float(t.ppf(0.975, df)), 3) for df in range(1, 31))


def test_rows_reach_what_they_promise():
    """Simulated plots: counting until it says enough leaves the mean within the share about 95 times in a hundred."""
    import numpy as np

    luck, inside, rows, share = np.random.default_rng(4), 0, 120, 0.05
    for _ in range(400):
        plot = luck.normal(90, 9, rows).round()
        order = luck.permutation(rows)
        n = 5
        while n < rows and sampling.rows_stand(list(plot[order[:n]]), rows, share).more > 0:
            n += 1
        inside += abs(plot[order[:n]].mean() - plot.mean()) <= share * plot.mean()
    assert 0.85 <= inside / 400 <= 0.99, inside / 400  # stopping at the first "enough" costs some of the 95
