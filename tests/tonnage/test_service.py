"""Tonnage of the demo: intervals hold its truth; thin data get a wide answer, never a hole."""

import csv
import json

import numpy as np
import pytest

from webapp import settings
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


def test_row_counts_lie_about_what_was_expected_and_say_how_far(demo):
    """The gap between the account and the last row counts is shown with its z, and the z of many plots are spread as z are."""
    a = service.answer(demo)
    counted = [about["balance"] for about in a.meta["by_plot"].values() if about["n_counts"]]
    z = np.array([b["count_z"] for b in counted])
    assert len(z) > 50 and np.isfinite(z).all() and 0.7 < np.sqrt((np.clip(z, -4, 4) ** 2).mean()) < 1.5
    assert all(b["count_z"] is None and b["last_count"] is None for b in (about["balance"] for about in a.meta["by_plot"].values() if not about["n_counts"]))
    code = next(code for code, about in a.meta["by_plot"].items() if about["n_counts"])
    assert f"{counted[0]['count_z']:+.1f}".replace("-", "−") in service.balance_sentence(demo, code).text("es").replace("-", "−")


def test_generations_make_up_what_stands(demo):
    a = service.answer(demo)
    several = 0
    for i, code in enumerate(a.meta["plots"]):
        parts = a.meta["by_plot"][code]["generations"]
        several += len(parts) > 1
        assert sum(p["plants"] for p in parts) == pytest.approx(a.arrays["plants"][i], rel=1e-6) and parts[0]["age_years"] == pytest.approx(a.arrays["now_age"][i])
        assert all(p["age_years"] < parts[0]["age_years"] for p in parts[1:])
    assert several > 10 and any("generaciones" in s.text("es") for code in a.meta["plots"] for s in service.plant_sentences(demo, code))


def test_what_loads_taught_the_demo(demo):
    """Every plot with weighed loads says what was said before, what came and what is said now; nothing is taken off beside the fit."""
    a = service.answer(demo)
    estate = service.learned(demo)
    assert estate["spells"] > 10 and estate["before"]["low"] < 0.05 and abs(estate["now"]["share"]) < 0.02 and estate["sentence"].text("es")
    loaded = [service.learned(demo, code) for code, one in a.meta["learned"]["plots"].items() if one["loads"]]
    assert len(loaded) > 25
    inside = np.mean([one["said_low80_kg"] <= one["came_kg"] <= one["said_high80_kg"] for one in loaded])
    assert 0.60 <= inside <= 0.97, "what was said before held what came about as often as it claimed"
    for one in loaded:
        assert abs(np.log(one["says_kg"] / one["came_kg"])) <= abs(np.log(one["said_kg"] / one["came_kg"])) + 0.02 and one["sentence"].text("en")
    assert service.learned(demo, "no such plot") is None
    assert json.dumps(a.meta, sort_keys=True) == json.dumps(service.reckon(demo, settings.load(demo))[0], sort_keys=True), "the same records say the same, byte for byte"


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
