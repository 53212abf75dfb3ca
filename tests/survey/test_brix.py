"""Temperature correction against the printed table, a second series, and water's own refraction."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.survey import brix

ROWS = [row for row in csv.DictReader(line for line in (Path(__file__).parent.parent / "reference/brix_correction.csv").open() if not line.startswith("#"))]


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['series']}-{r['temp_c']}-{r['brix_deg']}")
def test_against_printed_tables(row):
    value, sd, tag = brix.correct(float(row["brix_deg"]), float(row["temp_c"]), False)
    assert value - float(row["brix_deg"]) == pytest.approx(float(row["correction_deg"]), abs=float(row["tolerance_deg"]))


def test_25_brix_at_30_and_15_degrees():
    """check: 25 °Bx at 30 °C without ATC is 25.80 ± 0.05; at 15 °C 24.65 (OIV)."""
    assert brix.correct(25, 30, False)[0] == pytest.approx(25.80, abs=0.05)
    assert brix.correct(25, 15, False)[0] == pytest.approx(24.65, abs=0.005)


def test_against_water_and_sucrose_from_a_general_library():
    """chemicals (IAPWS water refraction, ICUMSA 1974 sucrose table): the 0 °Bx column through the ICUMSA slope.

    Our tables start at 10 °Bx, where the correction is a little larger; it must lie between the water
    column and the water column plus 0.07 °Bx at every temperature above 20 °C.
    """
    from chemicals import RI_IAPWS, RI_to_brix, iapws95_rho

    for temp_c in (22, 25, 30, 35):
        n = RI_IAPWS(temp_c + 273.15, iapws95_rho(temp_c + 273.15, 101325.0))
        n20 = RI_IAPWS(293.15, iapws95_rho(293.15, 101325.0))
        slope = (RI_to_brix(1.33442) - RI_to_brix(1.33299)) / (1.33442 - 1.33299)
        water = -(n - n20) * slope
        ours = brix.correct(10.0, temp_c, False)[0] - 10.0
        assert water - 0.02 <= ours <= water + 0.07, (temp_c, water, ours)


@given(st.floats(0, 60), st.sampled_from([True, False, None]))
def test_neutral_at_20(raw, atc):
    assert brix.correct(raw, 20.0, atc)[0] == raw


@given(st.floats(10, 50), st.floats(5, 40), st.floats(5, 40))
def test_monotone_in_temperature(raw, one, other):
    low, high = sorted((one, other))
    assert brix.correct(raw, low, False)[0] <= brix.correct(raw, high, False)[0] + 1e-12


def test_atc_is_never_corrected_twice():
    inside, sd_in, tag_in = brix.correct(25, 28, True)
    outside, sd_out, tag_out = brix.correct(25, 36, True)
    assert (inside, tag_in) == (25.0, "atc") and (outside, tag_out) == (25.0, "atc_outside") and sd_out > sd_in
    assert brix.correct(25, 36, True, 10, 40)[2] == "atc"


def test_what_is_not_known_widens():
    known = brix.correct(25, 30, False)
    no_temp = brix.correct(25, None, False)
    unknown = brix.correct(25, 30, None)
    assert no_temp[2] == "no_temp" and no_temp[1] > 10 * known[1]
    assert unknown[2] == "atc_unknown" and 25 < unknown[0] < known[0] and unknown[1] > known[1]
    assert brix.correct(25, 45, False)[1] > brix.correct(25, 40, False)[1] + 0.4 and brix.correct(25, 45, False)[2] == "outside"
    assert brix.correct(45, 6, False)[2] == "outside"
    assert np.isnan(brix.correct(float("nan"), 20, False)[0]) and brix.correct(float("nan"), 20, False)[2] == "no_reading"


def test_arrays_equal_scalars():
    rng = np.random.default_rng(5)
    raw, temp, atc = rng.uniform(5, 40, 50), rng.uniform(2, 44, 50), rng.choice([0.0, 1.0, np.nan], 50)
    temp[::7] = np.nan
    value, sd, tag = brix.correct_many(raw, temp, atc, np.full(50, np.nan), np.full(50, np.nan))
    for i in range(50):
        one = brix.correct(raw[i], None if np.isnan(temp[i]) else temp[i], None if np.isnan(atc[i]) else bool(atc[i]))
        assert one == (value[i], sd[i], brix.TAGS[tag[i]])
