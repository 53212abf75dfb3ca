"""Rounds that no juice reads, or far from all the others, until somebody looks: they teach nothing, count as no visit and are said to be in doubt."""

import html
import re

import numpy as np
import pytest
from click.testing import CliRunner

from webapp.cli import main_group
from webapp.ripeness import doubts_service, inputs_service, service, thin_service
from webapp.sentences import say
from webapp.survey import quality, quality_range
from webapp.survey import service as survey
from webapp.work import estimates

from .thin_estates import load, plots, round_of, scattered, walked

VADO = ("2020-07-01", "Vado", "azul")
AGES = {f"P{i}": (f"{2018 + i}-07-01", "Vado", "azul") for i in range(4)}
FORTY = {f"P{i:02d}": (f"{2018 + i % 6}-07-01", f"Z{i % 3}", "azul") for i in range(40)}


def told(db, code=None):
    return {s.code.rsplit(".", 1)[1]: s.params for s in thin_service.told(db, service.answer(db), code)}


def doubts(db, code):
    return [d for d in survey.doubts(db) if d["code"] == code]


def forty(db, odd):
    """Forty plots of two rounds without an id, plants 1.5 °Bx apart; ``odd`` {(plot, days ago): mean or readings}."""
    plots(db, FORTY)
    read = lambda i, code, day: odd.get((code, day), 26 - 2.2 * (i % 6) - day / 300)  # noqa: E731
    rows = [(code, day, read(i, code, day), [i, day]) for i, code in enumerate(FORTY) for day in (5, 180)]
    load(db, [line for code, day, value, seed in rows for line in round_of(code, day, scattered(value, 12, seed, sd=1.5) if np.isscalar(value) else value)])


def test_a_plot_whose_only_round_is_in_doubt_is_called_as_one_nobody_has_sampled(db, estate_path):
    """Two plots at 56 °Bx: a maybe on every page, the doubt said as its reason, and the plan asks to sample first."""
    plots(db, {"A": ("2019-06-01", "Vado", "azul"), "B": VADO})
    load(db, [line for i, code in enumerate("AB") for line in round_of(code, 5, scattered(56, 12, i, sd=1.0))])
    pages = {at: html.unescape(text) for at, text in walked(db, estate_path).items()}
    a = service.answer(db)
    assert a.meta["n_visits"] == 0 and a.meta["n_doubted"] == 2
    about = a.meta["by_plot"]["A"]
    assert (about["n_visits"], about["n_doubted"], about["last_visit"], about["borrowed_share"]) == (0, 1, None, 1.0)
    for language, maybe in (("es", "quizá maduro"), ("en", "maybe ripe")):
        page = pages["/plots/A", language]
        assert f"{maybe}: " in page and say("ripeness.why.doubted", language, n=1) in page and say("ripeness.why.maybe_doubted", language, n=1) in page and say("pages.plot.own_doubted", language, n=1) in page
        assert "56." in page, "the round stays shown"
        assert not re.search("nadie la ha muestreado|[Nn]obody has sampled", page)
        head = pages["/ripeness", language].split("</h1>")[0].split("<h1")[1]
        assert ("Ningún muestreo cuenta todavía" if language == "es" else "No round counts yet") in head
    assert re.search(r'id="unread">De las 2 tablas del plan, \d no tienen? ningún muestreo que cuente', pages["/cutting", "es"])
    for address in ("/map", "/estate"):
        assert say("ripeness.thin.none_counts", "es", n=2) in pages[address, "es"] and not re.search("nadie la ha muestreado|Nadie ha muestreado|nada muestreado", pages[address, "es"])
    for address, told, never in (("/visits", "pages.visits.doubted", "pages.visits.never"), ("/estate", "pages.estate.doubted", ">nunca<")):
        never = say(never, "es") if never.startswith("pages") else never
        assert say(told, "es") in pages[address, "es"] and never not in pages[address, "es"], address
    assert "cuánto está maduro nadie lo ha medido" in pages["/estate", "es"] and "muestreo que cuente" in pages["/today", "es"]


def test_rounds_in_doubt_are_told_as_such_and_not_as_loose_corrections(db, estate_path):
    plots(db, AGES)
    load(db, [line for code in AGES for day in (5, 100, 300) for line in round_of(code, day, [0.0] * 10)])
    pages = walked(db, estate_path)
    assert told(db) == {"none_counts": {"n": 12}} and told(db, "P0") == {"none_counts": {"n": 12}}
    for language in ("es", "en"):
        assert say("ripeness.thin.none_counts", language, n=12) in html.unescape(pages["/ripeness", language]) and "196" not in pages["/ripeness", language]


def test_some_rounds_in_doubt(db):
    plots(db, AGES)
    load(db, [line for i, code in enumerate(AGES) for day in (5, 200) for line in round_of(code, day, [0.0] * 10 if code == "P3" else scattered(24 - 2 * i, 10, [i, day]))])
    service.fit(db)
    assert told(db)["doubted"] == {"n": 2, "of": 8} and told(db)["few"] == {"n": 6, "plots": 3, "of": 4} and "equal" not in told(db)
    assert told(db, "P3")["doubted"] == {"n": 2, "of": 2} and "doubted" not in told(db, "P0")


def test_rounds_in_doubt_teach_nothing_until_left(db):
    """Twins, one with two rounds of zeros beside the same true ones: the same answer, the same spread of plants, the same visits; left as they are they count."""
    plots(db, AGES)
    good = [line for i, code in enumerate(("P1", "P2", "P3")) for day in (5, 120, 300) for line in round_of(code, day, scattered(24 - 2 * i - day / 200, 12, [i, day]))]
    load(db, good)
    service.fit(db)
    without = service.answer(db)
    load(db, [line for day in (5, 90) for line in round_of("P0", day, [0.0] * 12)])
    service.fit(db)
    a = service.answer(db)
    assert a.meta["fit"] == without.meta["fit"] and a.meta["plants_sd_deg"] == without.meta["plants_sd_deg"] and a.meta["n_readings"] == without.meta["n_readings"] == 108
    assert (a.arrays["mean_deg"] == without.arrays["mean_deg"]).all() and (a.arrays["fit_residuals"] == without.arrays["fit_residuals"]).all()
    assert a.meta["plain_curve"] == without.meta["plain_curve"]
    for one in doubts(db, quality_range.READ_NOTHING):
        survey.settle_doubt(db, one["id"], "leave", "Ana")
    service.fit(db)
    assert service.answer(db).meta["by_plot"]["P0"] | {"n_visits": 2, "n_doubted": 0} == service.answer(db).meta["by_plot"]["P0"] and service.answer(db).meta["plants_sd_deg"] < without.meta["plants_sd_deg"]


def test_an_estate_of_zeros_has_the_usual_spread_of_plants(db):
    plots(db, AGES)
    load(db, [line for code in AGES for day in (5, 100, 300) for line in round_of(code, day, [0.0] * 10)])
    service.fit(db)
    share = service.answer(db).arrays["share"][:, 0]
    assert service.answer(db).meta["fit"]["plant_deg"] > 1.0 and ((share > 0.01) & (share < 0.99)).sum() >= 3  # was 100 % here and 0 % there


def test_a_round_of_another_scale_stays_out_of_the_plain_curve(db):
    forty(db, {("P07", 5): []})
    service.fit(db)
    without = service.answer(db).meta["plain_curve"]
    load(db, round_of("P07", 5, scattered(56, 12, 1, sd=1.5)))
    service.fit(db)
    assert service.answer(db).meta["plain_curve"] == without and without["visits"] == 79


@pytest.mark.parametrize("answer", ["leave", "take"])
def test_a_far_visit_without_a_round_is_doubted_by_its_first_reading(db, answer):
    """12 °Bx where all else says 24: before, it weighed next to nothing and nobody was asked."""
    forty(db, {("P07", 5): 12.0})
    estimates(db)
    about = service.answer(db).meta["by_plot"]["P07"]
    assert (about["n_visits"], about["n_doubted"], about["last_visit"]) == (1, 1, "2026-05-27")
    [one] = doubts(db, quality.FAR_OFF)
    first = survey.readings(db).query("plot == 'P07'").sort_values(["taken_at", "id"]).query("day == day.max()")["id"]
    assert one["record"] == first.iloc[0] and one["is_record"] and set(one["proposal"]["void_records"]) == set(first) and len(first) == 12
    survey.settle_doubt(db, one["id"], answer, "Ana")
    service.fit(db)
    doubts_service.review(db)
    assert not doubts(db, quality.FAR_OFF)
    about = service.answer(db).meta["by_plot"]["P07"]
    assert (about["n_visits"], about["n_doubted"]) == ((2, 0) if answer == "leave" else (1, 0))
    assert (inputs_service.seen(db, ["P07"]).sure.sum() == 1) == (answer == "leave")


def test_rounds_set_aside_leave_the_others_their_places(db):
    """A senseless round of a plot's day with as many plants as a true one: what is told of the true one is its own."""
    forty(db, {})
    load(db, [f"{line.split(',')[0]},again,{line.split(',', 2)[2]}" for line in round_of("P07", 5, [0.0] * 12, name="again")])
    assert len(survey.readings(db)) == 81 * 12
    service.fit(db)
    table = doubts_service.rounds_of(db)
    assert len(table) == 80 and table["crew"].isna().all()
    seen = service.model_of(service.answer(db))[2]
    assert seen.mean[table["i"], table["j"]] == pytest.approx(table["mean_deg"].to_numpy(float), abs=1e-9)


def test_a_plots_page_prints_a_rounds_doubt_once(db, estate_path):
    plots(db, {"A": VADO})
    load(db, round_of("A", 5, scattered(56, 300, 1, sd=1.0)))
    pages = walked(db, estate_path)
    [one] = doubts(db, quality_range.TOO_HIGH)
    words = one["what"].text("en")
    assert html.unescape(pages["/plots/A", "en"]).count(words) == 2, "once above all, once under its round"
    assert len(pages["/plots/A", "en"]) < 300_000


def test_a_round_whose_plants_all_read_the_same_is_one_reading_until_somebody_looks(db):
    """Its plot is no surer than one of which one plant was read, and less sure than one well sampled; twelve times as far off as chance allows it still weighs little."""
    forty(db, {("P01", 5): [23.8] * 12, ("P01", 180): [23.2] * 12, ("P19", 5): [12.0] * 12})
    estimates(db)
    a = service.answer(db)
    at = {code: i for i, code in enumerate(a.meta["plots"])}
    sd = a.arrays["sd_deg"][:, 0]
    assert sd[at["P01"]] > 1.05 * sd[at["P25"]]
    seen = service.model_of(a)[2]
    assert list(seen.n[at["P01"]][:2]) == [1, 1] and list(seen.alike[at["P01"]][:2]) == [12, 12] and a.meta["n_readings"] == 77 * 12 + 3
    assert 1.3 < a.meta["fit"]["plant_deg"] < 1.7, "what is alike teaches no spread"
    assert a.meta["by_plot"]["P19"]["n_doubted"] == 1 and abs(a.arrays["mean_deg"][at["P19"], 0] - a.arrays["mean_deg"][at["P25"], 0]) < 1.5
    told_of = doubts_service.rounds_of(db)
    assert len(told_of) == 80 and sorted(told_of.loc[told_of["plot"] == "P01", "n"]) == [12, 12]
    equal = doubts(db, quality.ALL_EQUAL)
    assert len(equal) == 3
    for one in (d for d in equal if d["params"]["plot"] == "P01"):
        survey.settle_doubt(db, one["id"], "leave", "Ana")
    service.fit(db)
    seen = service.model_of(service.answer(db))[2]
    assert seen.n.sum() == 79 * 12 + 1 and seen.alike.sum() == 12 and service.answer(db).arrays["sd_deg"][at["P01"], 0] < sd[at["P01"]]


def test_the_command_line_counts_what_may_be_ripe_apart_and_says_why(db, estate_path):
    plots(db, {"A": ("2019-06-01", "Vado", "azul"), "B": VADO})
    load(db, [line for i, code in enumerate("AB") for line in round_of(code, 5, scattered(56, 12, i, sd=1.0))])
    estimates(db)
    for language, words in (("es", "sin muestreo que cuente (nadie ha ido o está en duda)"), ("en", "without a round that counts (never sampled, or in doubt)")):
        said = CliRunner().invoke(main_group, ["--estate", str(estate_path), "--lang", language, "ripeness"]).output
        assert words in said and say("ripeness.thin.none_counts", language, n=2) in said
