"""Doubts about masses and ages: what is put in is found, what is sound is left alone."""

from datetime import date

import numpy as np
import pandas as pd
import pytest

from webapp.database import open_estate
from webapp.land import service as land
from webapp.survey import quality_land, quality_mass, quality_scale
from webapp.survey import service as survey


@pytest.fixture(scope="module")
def demo_tables(demo_made):
    db = open_estate(demo_made)
    yield survey.loads(db), survey.weighings(db), survey.age_checks(db), land.plots(db)
    db.conn.close()


def test_slipped_masses_of_the_demo_are_all_found_and_no_other(demo_tables):
    _, weighings, _, _ = demo_tables
    assert quality_mass.slipped_weighings(weighings) == []
    rng = np.random.default_rng(2)
    full = weighings.groupby("plot")["id"].transform("size") >= 6
    at = rng.permutation(np.flatnonzero(full))[:20]
    wrong = weighings.copy()
    right = wrong["mass_kg"].to_numpy().copy()
    wrong.loc[wrong.index[at], "mass_kg"] = np.round(right[at] * rng.choice([0.1, 10.0], 20), 2)
    told = {d["record"]: d["proposal"]["mass_kg"] for d in quality_mass.slipped_weighings(wrong)}
    real = dict(zip(weighings["id"].iloc[at], right[at]))
    assert set(told) <= set(real) and len(told) >= 19
    assert all(told[name] == pytest.approx(real[name], abs=0.06) for name in told)


def thinned(loads, rng):
    """Two loads of each plot only, so that no plot can be judged by its own."""
    return loads.iloc[rng.permutation(len(loads))].groupby("plot").head(2).sort_values(["taken_at", "id"])


@pytest.mark.parametrize("share", [1 / 1.85, 1 / 3])
def test_pieces_in_plots_with_little_of_their_own(demo_tables, share):
    """Halves and thirds counted as plants, against loads of other plots of like age."""
    loads, _, _, plots = demo_tables
    rng = np.random.default_rng(4)
    planted = {d["record"] for d in quality_land.pieces_as_plants(loads, pd.DataFrame({"plot": [], "mass_kg": []}))}
    found = wrong = put = 0
    for _ in range(4):
        some = thinned(loads[~loads["id"].isin(planted) & (loads["plants"] > 0) & (loads["net_kg"] > 0)], rng).copy()
        at = rng.permutation(len(some))[:5]
        names = set(some["id"].iloc[at])
        some.loc[some.index[at], "plants"] = np.round(some["plants"].iloc[at] / share)
        told = {d["record"]: d for d in quality_mass.pieces_by_age(some, plots, set(), set())}
        found, wrong, put = found + len(names & set(told)), wrong + len(set(told) - names), put + len(names)
        for name in names & set(told):
            row = some[some["id"] == name].iloc[0]
            assert told[name]["proposal"]["pieces"] == row["plants"] and told[name]["proposal"]["plants"] < row["plants"]
    assert found >= (0.6 if share > 0.4 else 0.9) * put and wrong <= 2, (found, wrong, put)


def test_the_sound_loads_of_the_demo_raise_nothing_more(demo_tables):
    loads, weighings, checks, plots = demo_tables
    codes = [d["code"] for d in quality_land.all_doubts(loads, weighings, checks, plots)]
    assert not {"pieces_by_age", "slipped_mass", "ages_contradict", "age_apart"} & set(codes) and codes.count("pieces_as_plants") == 3


def checks_of(*years, plot="VS-01"):
    return pd.DataFrame({"id": [f"c{i}" for i in range(len(years))], "plot": plot, "planting_year": np.array(years, float), "day": date(2026, 5, 1)})


def plots_of(planted, status="standing"):
    return pd.DataFrame({"planted_on": pd.Series([planted], dtype=object).to_numpy(), "status": [status]}, index=["VS-01"])


@pytest.mark.parametrize("years, papers, odd, void", [
    ((2019, 2019, 2016), 2019, "c2", True), ((2016, 2019), 2019, "c0", True), ((2016, 2019), None, "c1", False), ((2019, 2020, 2019), 2019, None, False), ((2016, 2020, 2018), None, "c2", False)])
def test_ages_that_contradict_each_other(years, papers, odd, void):
    told = quality_land.ages_contradict(plots_of(date(papers, 7, 1) if papers else None), checks_of(*years), set())
    assert [d["record"] for d in told] == ([odd] if odd else [])
    one = quality_land.ages_contradict(plots_of(date(2019, 7, 1)), checks_of(2016), set())
    assert [(d["code"], d["record"], d["proposal"]) for d in one] == [("age_apart", "c0", None)]
    assert quality_land.ages_contradict(plots_of(date(2019, 7, 1)), checks_of(2018), set()) == []
    if odd:
        assert (told[0]["proposal"] == {"void": True}) is void and told[0]["params"]["years"] == sorted(set(years))
    assert quality_land.ages_contradict(plots_of(None), checks_of(*years), {"VS-01"}) == []
    assert quality_land.ages_contradict(plots_of(None, "cut"), checks_of(*years), set()) == []


LOAD = {"plot": "A", "day": date(2026, 10, 5), "plants": 400.0, "net_kg": 14_000.0, "gross_kg": np.nan, "tare_kg": np.nan}
PINA = {"plot": "A", "day": date(2026, 10, 5), "mass_kg": 34.0}


def of_scale(loads=(), weighings=(), planted=date(2019, 7, 1)):
    tables = [pd.DataFrame([{**usual, **row, "id": f"r{i}"} for i, row in enumerate(rows)], columns=["id", *usual]) for usual, rows in ((LOAD, loads), (PINA, weighings))]
    return quality_land.all_doubts(*tables, pd.DataFrame({"plot": [], "planting_year": []}), pd.DataFrame({"planted_on": [planted], "status": "standing", "parcel": "", "registered_plants": np.nan}, index=["A"]))


@pytest.mark.parametrize("row, proposal", [({"net_kg": 14.0}, {"net_kg": 14_000.0}), ({"plants": 1.0}, None), ({"net_kg": 50_000.0}, None), ({"net_kg": 14.0, "gross_kg": 34.0, "tare_kg": 20.0}, None)])
def test_a_load_that_no_piña_weighs_is_told_though_it_is_the_only_one(row, proposal):
    doubt, = of_scale([row])
    assert (doubt["code"], doubt["proposal"]) == ("load_out_of_scale", proposal)


def test_out_of_scale_among_good_loads_is_not_told_as_pieces():
    told = of_scale([{}] * 5 + [{"net_kg": 14.0}])
    assert [(d["code"], d["proposal"]) for d in told] == [("load_out_of_scale", {"net_kg": 14_000.0})]


@pytest.mark.parametrize("kg, told", [(0.2, True), (300.0, True), (8.0, True), (12.0, False), (60.0, False), (110.0, False)])
def test_one_weighed_piña(kg, told):
    assert bool(of_scale(weighings=[{"mass_kg": kg}])) is told


def test_what_piñas_really_weigh_is_never_out_of_scale(demo_tables):
    loads, weighings, _, plots = demo_tables
    assert quality_scale.all_doubts(loads, weighings, plots) == []
    assert of_scale([{}], [{}]) == [] and of_scale([{"net_kg": 1200.0}], [{"mass_kg": 3.0}], planted=date(2024, 10, 1)) == []
    assert [d["code"] for d in of_scale([{}, {"net_kg": 14.0}], [{}], planted=None)] == ["load_out_of_scale", "no_planting_date"]


def test_it_teaches_nothing_until_somebody_has_looked(demo_made, tmp_path):
    """The only load of the estate with fourteen kilograms in place of fourteen tonnes: tonnes stay; left as it is, it counts."""
    import shutil

    from webapp.survey import office_service
    from webapp.tonnage import service as tonnage

    db = open_estate(shutil.copy(demo_made, tmp_path / "demo.db"))
    before = tonnage.answer(db).arrays["mass_t"][:, 0]
    survey.load_file(db, b"plot,taken_at,plants,net_kg,ticket\nVS-04,2026-11-20T12:00:00-06:00,400,14,B-odd\n", "load.csv", who="prueba")
    odd = survey.out_of_scale(db)
    during = tonnage.answer(db, fresh=True).arrays["mass_t"][:, 0]
    i = tonnage.answer(db).meta["plots"].index("VS-04")
    assert len(odd) == 1 and np.delete(during, i) == pytest.approx(np.delete(before, i), rel=1e-4) and during[i] == pytest.approx(before[i], rel=0.1)
    doubt, = [d for d in survey.doubts(db) if d["code"] == "load_out_of_scale"]
    version = survey.data_version(db)
    office_service.settle_doubt(db, doubt["id"], "leave", "prueba")
    assert survey.out_of_scale(db) == set() and survey.data_version(db) != version
    assert abs(tonnage.answer(db, fresh=True).arrays["mass_t"][i, 0] / during[i] - 1) > 0.03
    db.conn.close()


def test_a_proposal_taken_and_undone_is_asked_again(demo_made, tmp_path):
    """Else the load would count for nothing for ever, with nothing left to answer."""
    import shutil

    from webapp.survey import correcting_service, office_service

    db = open_estate(shutil.copy(demo_made, tmp_path / "demo.db"))
    survey.load_file(db, b"plot,taken_at,plants,net_kg,ticket\nVS-04,2026-11-20T12:00:00-06:00,400,14,B-odd\n", "load.csv", who="prueba")
    open_ones = lambda: [d for d in survey.doubts(db) if d["code"] == "load_out_of_scale"]  # noqa: E731
    doubt, = open_ones()
    office_service.settle_doubt(db, doubt["id"], "take", "prueba")
    assert open_ones() == [] and survey.out_of_scale(db) == set()
    mended = survey.loads(db).query("ticket == 'B-odd'")["id"].iloc[0]
    correcting_service.undo(db, mended, "prueba", "no era")
    again, = open_ones()
    assert survey.out_of_scale(db) == {again["record"]}
    office_service.settle_doubt(db, again["id"], "leave", "prueba")
    survey.review(db)
    assert open_ones() == [] and survey.out_of_scale(db) == set()
    db.conn.close()
