"""Tonnage of the demo: intervals hold its truth; thin data get a wide answer, never a hole."""

import csv
import json

import numpy as np
import pytest

from webapp.commands.seeding import FOLDER
from webapp.land import service as land
from webapp.tonnage import service


def truth():
    with (FOLDER / "truth.csv").open() as file:
        return {row["code"]: row for row in csv.DictReader(file)}


def test_intervals_hold_the_demo_truth(demo):
    """80 % intervals over 141 plots: accepted where binomial chance at 99.9 % would still leave them (check_values §5)."""
    a, true = service.answer(demo), truth()
    plots = a.meta["plots"]
    mass = np.array([float(true[c]["standing_t"]) for c in plots])
    hits = ((a.arrays["mass_lo"][:, 0] <= mass) & (mass <= a.arrays["mass_hi"][:, 0])).mean()
    assert 0.68 <= hits <= 0.92
    plants = np.array([float(true[c]["standing_plants"]) for c in plots])
    assert 0.68 <= (np.abs(a.arrays["plants"] - plants) <= 1.2816 * a.arrays["plants_sd"]).mean() <= 0.92
    ripe = np.array([float(true[c]["share_today"]) for c in plots]) > 0.3
    assert a.arrays["mass_t"][ripe, 0].sum() == pytest.approx(mass[ripe].sum(), rel=0.08)


def test_balance_of_every_plot(demo):
    for about in service.answer(demo).meta["by_plot"].values():
        b = about["balance"]
        assert b["planted"] + b["replanted"] - b["cut"] - b["recorded_losses"] - b["estimated_losses"] == pytest.approx(b["standing"], abs=1e-6)


def test_totals_are_summed_draw_by_draw(demo):
    a = service.answer(demo)
    plants, kg = service.draws(a, 300, 5)
    total = (plants[:, :, 0] * kg[:, :, 0]).sum(axis=1) / 1000
    alone = np.sqrt(((plants[:, :, 0] * kg[:, :, 0] / 1000).std(axis=0) ** 2).sum())
    assert total.std() > 1.2 * alone, "the growth curve is shared, so plots err together"
    again = service.draws(a, 300, 5)
    assert np.array_equal(plants, again[0]) and np.array_equal(kg, again[1])


def test_one_plot_and_nothing_else(db):
    square = [[-103.0, 20.6], [-102.997, 20.6], [-102.997, 20.603], [-103.0, 20.603], [-103.0, 20.6]]
    feature = {"type": "Feature", "properties": {"code": "A"}, "geometry": {"type": "Polygon", "coordinates": [square]}}
    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": [feature]}).encode(), "a.geojson"), "Ana")
    a = service.answer(db)
    assert all(np.isfinite(v).all() for v in a.arrays.values())
    assert a.arrays["mass_hi"][0, 0] > 2 * a.arrays["mass_lo"][0, 0]
    assert service.balance_sentence(db, "A").text("es")
