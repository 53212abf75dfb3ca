"""Plots of which almost all, all, or more than all is cut or lost while the land still calls them standing: small, finite, and inside their own interval."""

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from webapp.bench.tonnes_truth import EMPTY
from webapp.bench.true_fields import CUT
from webapp.config import BY_NAME
from webapp.tonnage import accounting, drawing, reckoning

PUT_IN, GONE = 30_000, (0, 6_000, 15_000, 24_000, 26_000, 28_000, 30_000, 40_000)
AHEAD = np.array([0.0, 0.25, 1.0, 2.0])


@pytest.fixture(scope="module", params=["cut", "burnt"])
def found(request):
    plots = [f"P{i}" for i in range(len(GONE))]
    frame = pd.DataFrame({"planted_plants": float(PUT_IN), "area_ha": 10.0, "row_spacing_m": 3.2, "perimeter_m": 1270.0}, index=plots)
    rows = {name: pd.DataFrame(columns=list(columns)) for name, columns in EMPTY.items()}
    if request.param == "cut":
        rows["loads"] = pd.DataFrame([{"plot": plot, "day": CUT - timedelta(days=40), "plants": float(n), "net_kg": 35.0 * n} for plot, n in zip(plots, GONE) if n])
    else:
        rows["losses"] = pd.DataFrame([{"plot": plot, "day": CUT - timedelta(days=40), "plants": None, "area_share": min(n / PUT_IN, 1.0)} for plot, n in zip(plots, GONE) if n])
    tables = accounting.Tables.of(rows["counts"], rows["losses"], rows["labors"], rows["loads"], rows["weighings"])
    return reckoning.reckon(frame, plots, dict.fromkeys(plots, CUT - timedelta(days=2500)), CUT, tables, {one.name: one.default for one in BY_NAME.values()})


def test_tonnes_by_week_are_finite_and_no_more_than_what_may_stand(found):
    told = accounting.by_day(found.growth, found.accounts, found.now_age, CUT.toordinal() + 365.25 * AHEAD, CUT, found.losses)
    mass, low, high = (told[name] for name in ("mass_t", "mass_lo", "mass_hi"))
    assert all(np.isfinite(told[name]).all() for name in told) and (0 <= low).all() and (low <= mass).all() and (mass <= high).all()
    assert (np.diff(mass[:, 0]) <= 1e-9).all(), "the more is gone the less stands"
    assert (high[3:, 0] < high[0, 0]).all() and high[-1, 0] < 0.25 * mass[0, 0], high[:, 0]


def test_draws_are_finite_never_below_nought_and_centred_on_the_account(found):
    plants, kg = drawing.draw(drawing.stored(found), AHEAD, 4000, 3)
    standing, sd = (np.array([getattr(a, name) for a in found.accounts]) for name in ("standing", "sd"))
    assert np.isfinite(plants).all() and np.isfinite(kg).all() and (plants >= 0).all()
    assert np.median(plants[:, :, 0], axis=0) == pytest.approx(standing, abs=0.06 * PUT_IN / 10 + 0.05 * sd.max())
    assert (plants[:, :, 0].mean(axis=0) < standing + 0.5 * sd).all(), "a plot of which little is left is not told as a full one"
    high = np.quantile(plants[:, :, 0], 0.9, axis=0)
    assert high == pytest.approx(standing + 1.2816 * sd, rel=0.15, abs=50)
