"""The whole question on invented plots: laws, sentences, determinism."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from webapp import settings
from webapp.outlook import assess, demand, tell
from webapp.sentences import LANGUAGES, say

from . import synthetic
from .test_demand import sales

COUNT = 16


def ask(**values) -> assess.Ask:
    land = synthetic.plots(50, 2)
    d = synthetic.draws(land, COUNT, 2)
    table = sales(growth=0.02)
    table["litres"] *= 0.18
    rented = np.full(50, np.nan)
    rented[0] = 2028
    return assess.Ask(
        today=synthetic.TODAY, season_passed=True, values=settings.defaults().with_values(**({"bought_agave_limit_t": 400, "land_limit_ha_year": 150} | values)),
        land=assess.Land(land["zone"], land["planted"], land["area_ha"], land["area_ha"] * 2900, rented), draws=assess.Draws(d["days"], d["share"], d["mass_t"], d["art"]),
        past=demand.history(table), stock={("full", "aged"): np.array([800.0, 700.0])}, own_classes={}, own_paths=[demand.Path("propia", None, 1.0, {})],
        last_planted_ha=40.0, haul_km=20.0, seed=7)


def told(question):
    found = assess.assess(question)
    return found, *tell.told(question, found, 3000.0, 2027, True)


@pytest.fixture(scope="module")
def base():
    return ask(), *told(ask())


def floats(data):
    if isinstance(data, dict):
        for value in data.values():
            yield from floats(value)
    elif isinstance(data, list):
        for value in data:
            yield from floats(value)
    elif isinstance(data, float):
        yield data


def test_answer_is_plain_data_without_nan(base):
    _, _, meta, arrays = base
    json.dumps(meta, allow_nan=False)
    assert all(np.isfinite(x) for x in floats(meta))
    assert all(np.isfinite(a).all() for a in arrays.values())
    assert meta["years"] == list(range(2027, 2042)) and arrays["need_t"].shape == (COUNT, 15)


def test_headline(base):
    question, found, meta, arrays = base
    head = meta["headline"]
    assert head["year"] == 2027 and head["area_ha"] == float(found.plan.hectares[0]) == float(arrays["hectares"][0])
    assert head["flat_low_ha"] <= head["area_ha"] <= head["flat_high_ha"]
    assert head["offsets"] == pytest.approx(head["area_ha"] * 2900 * 1.07)
    assert head["offsets_own"] + head["offsets_bought"] == pytest.approx(head["offsets"])
    assert 0 <= meta["chances"]["short"] <= 1 and meta["chances"]["years"] == [2033, 2034, 2035, 2036, 2037]


def test_supply_meets_need_or_says_where_not(base):
    _, _, meta, arrays = base
    met = arrays["standing_t"] + arrays["new_t"] + arrays["bought_t"] + arrays["short_t"]
    assert (met >= arrays["need_t"] - 0.5).all()
    s = meta["supply"]
    for lo, hi, mean in zip(s["lo80_t"], s["hi80_t"], np.add(s["standing_t"], s["to_plant_t"])):
        assert lo - 1e-6 <= mean <= hi * 1.2 + 1e-6
    assert sum(s["to_plant_t"][:5]) == pytest.approx(0, abs=1)


def test_cases_in_order(base):
    """Growing asks for at least as many hectares as flat, flat as falling; following this plan is short oftener when sales grow."""
    _, _, meta, _ = base
    case = {c["case"]: c for c in meta["cases"]}
    assert set(case) == {"trend", "grow", "flat", "fall", "propia"}
    assert case["grow"]["area_ha"] >= case["flat"]["area_ha"] - 1e-3 >= case["fall"]["area_ha"] - 2e-3
    assert case["grow"]["short_chance"] >= case["flat"]["short_chance"] >= case["fall"]["short_chance"]
    assert case["grow"]["glut_chance"] <= case["fall"]["glut_chance"]
    assert all(c["regret_mxn"] >= -1.0 for c in meta["cases"] + meta["markets"])
    assert {c["case"] for c in meta["markets"]} == {"norte", "casa"}
    assert all(c["area_ha"] <= meta["headline"]["area_ha"] + 1e-3 for c in meta["markets"])


def test_rules_lose_or_tie(base):
    _, _, meta, _ = base
    assert [r["rule"] for r in meta["rules"]] == ["plan", "same", "plus_five", "mean_need"]
    assert all(r["regret_mxn"] >= -1.0 for r in meta["rules"]) and meta["rules"][0]["regret_mxn"] == 0
    assert meta["vss_mxn"] >= 0 and meta["evpi_mxn"] > 0


def test_what_matters_adds_up(base):
    _, _, meta, _ = base
    shares = [m["share"] for m in meta["what_matters"]]
    assert sum(shares) == pytest.approx(1.0) and shares == sorted(shares, reverse=True)
    assert {m["what"] for m in meta["what_matters"]} == {"sales", "spirit", "standing", "planted"}


def test_without_sales_no_market_is_named(base):
    """The factory's need stands in for the sales: its internal name is no market of the user's."""
    question, _, meta, _ = base
    first = {**meta, "what_matters": sorted(meta["what_matters"], key=lambda m: m["what"] != "sales")}
    said = [s for s in tell.sentences(first, question, False) if s.code.startswith("outlook.matters.")]
    assert [s.code for s in said] == ["outlook.matters.sales.need"] and "factory" not in said[0].text("es") and said[0].text("en")


def test_every_sentence_has_its_words(base):
    _, _, meta, _ = base
    for language in LANGUAGES:
        for sentence in meta["said"]:
            words = say(sentence["code"], language, **sentence["params"])
            assert "{" not in words
    plant = say("outlook.said.plant", "es", **meta["said"][0]["params"])
    assert f"{meta['headline']['area_ha_rounded']:,g}" in plant and "2027" in plant


def test_same_question_same_answer(base):
    question, _, meta, arrays = base
    _, again, more = told(ask())
    assert json.dumps(again, sort_keys=True) == json.dumps(meta, sort_keys=True)
    assert all(more[k].tobytes() == arrays[k].tobytes() for k in arrays)


def first_ha(question) -> float:
    """Only the plan itself, for laws that need no cases."""
    from webapp.outlook import scenario
    from webapp.outlook.futures import Futures, cohort_luck
    from webapp.outlook.need import Spirit, need
    from webapp.outlook.planting import program

    v = question.values
    years, length, first = assess.timetable(question)
    standing, curve = assess.supply_of(question, years)
    ratio = assess.sugar_ratio(standing, curve)
    paths = demand.paths_of(v["case_grow"], v["case_fall"])
    trend = demand.fit(question.past)
    spirit = Spirit(v["bottle_abv"], v["agave_kg_per_l_40"], 0.0, v["mixed_agave_share"], v["evaporation_per_year"], 2.4)
    got = need(question.past, trend, paths, demand.assign(paths, COUNT), years, length, 7, spirit, question.stock, damping=0.9, growth_doubt=0.02)
    f = Futures(years, length, first, got.tonnes, standing, curve, cohort_luck(COUNT, len(years), 0.15, 7))
    built, lay = program(f, assess.terms_of(question, ratio))
    return scenario.recourse(built).x[:lay.seasons]


def test_twelve_low_readings_move_the_hectares():
    """Ten plots turn out four °Brix lower: their ripe share and sugar fall in the same futures, and more must be planted."""
    question = ask()
    d = question.draws
    share, art = d.share.copy(), d.art.copy()
    share[:, :10] *= 0.6
    art[:, :10] -= 0.036
    after = first_ha(replace(question, draws=replace(d, share=share, art=art)))
    before = first_ha(question)
    assert after.sum() > before.sum() and after[0] >= before[0] - 1e-6


def test_thirstier_distillery_plants_more():
    assert first_ha(ask(agave_kg_per_l_40=5.2))[0] > first_ha(ask())[0]


def test_an_ended_lease_gives_nothing_afterwards():
    question = ask()
    years, _, _ = assess.timetable(question)
    land = question.land
    lone = [0]
    d = question.draws
    cut = replace(question, land=assess.Land([land.zone[0]], land.planted[lone], land.area_ha[lone], land.plants[lone], land.last_year[lone]),
                  draws=assess.Draws(d.days, d.share[:, lone], d.mass_t[:, lone], d.art[:, lone]))
    standing, _ = assess.supply_of(cut, years)
    assert (standing.mass_t[:, 0, years > 2028] == 0).all() and (standing.mass_t[:, 0, years <= 2028] > 0).all()


def test_progress_may_stop_it():
    from webapp.problems import Problem

    with pytest.raises(Problem) as caught:
        assess.assess(ask(), lambda done, code: done < 0.3)
    assert caught.value.code == "outlook_stopped"


def empty_land(question):
    nothing = np.zeros((COUNT, 0, 56))
    return replace(question, land=assess.Land([], *(np.zeros(0) for _ in range(4))), draws=assess.Draws(question.draws.days, nothing, nothing, nothing))


def sold(question, **kwargs):
    table = sales(growth=0.02)
    table["litres"] *= 0.18
    if "market" in kwargs:
        table.loc[table.market == kwargs["market"], "litres"] = 0.0
    return replace(question, past=demand.history(table[table.month > kwargs.get("after", "0000")] if not kwargs.get("none") else table.assign(litres=0.0)))


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("question", [
    lambda: empty_land(ask()), lambda: sold(ask(), market="casa"), lambda: sold(ask(), none=True), lambda: sold(ask(), after="2025-10"),
    lambda: ask(bought_agave_limit_t=0), lambda: ask(land_limit_ha_year=0), lambda: ask(discount_per_year=0, uneven_planting_mxn_ha=0), lambda: ask(risk_weight=0.5),
    lambda: ask(horizon_years=20), lambda: ask(evaporation_per_year=0.3, mixed_agave_share=1.0), lambda: replace(ask(), season_passed=False, today=synthetic.TODAY.replace(month=1, day=1, year=2027)),
], ids=["no plots", "a market never sold", "nothing ever sold", "one year of sales", "none to buy", "no land", "no discount", "careful", "twenty years", "thirsty casks", "New Year"])
def test_edges_stay_finite(question):
    _, meta, arrays = told(question())
    json.dumps(meta, allow_nan=False)
    assert all(np.isfinite(a).all() for a in arrays.values())
    assert meta["headline"]["area_ha"] >= 0 and 0 <= meta["chances"]["short"] <= 1
