"""Words of a plot's page that must not contradict its own numbers: headline and window, what hangs on a coin toss, dips, chances, a cut plot's tonnes."""

import re
from datetime import date, timedelta

import numpy as np
import pytest

from webapp.crop import came_service
from webapp.cutting import explain
from webapp.land import service as land
from webapp.pages import map_figures, plot_said
from webapp.ripeness import service as ripeness
from webapp.ripeness.track import Pairs
from webapp.sentences import format_chance, format_share, say
from webapp.survey import service as survey
from webapp.weeks import monday_of

from .reading import head_of, plain


@pytest.fixture(scope="module")
def office(demo_made, tmp_path_factory):
    with head_of(demo_made, tmp_path_factory.mktemp("words")) as opened:
        yield opened



def head(body):
    return plain(re.search(r"<h1>.*?</h1>", body, re.S)[0])


def beside(body):
    return plain(re.search(r'<div class="beside">.*?</div>', body, re.S)[0])



def open_plots(a):
    """Plots read by somebody whose window is open this week and ends within the weeks known."""
    return [code for code in a.meta["plots"] if (about := a.meta["by_plot"][code])["window_kind"] == "ripens" and about["n_visits"] and about["window"][0] == a.meta["weeks"][0] and about["window"][1]]


@pytest.mark.parametrize("language", ["es", "en"])
def test_the_headline_ends_on_the_last_day_of_the_window_the_page_shows(office, language):
    page, db = office
    a = ripeness.answer(db)
    found = open_plots(a)
    for code in found[:4]:
        body, last = page(code, language), a.meta["by_plot"][code]["window"][1]
        assert say("pages.plot.end_day", language, day=monday_of(last) + timedelta(days=6), week=last) in head(body)
        assert last in plain(re.search(r'id="window".*?</dd>', body, re.S)[0])
        i, at = a.meta["plots"].index(code), a.meta["weeks"].index(last)
        if at < 25:  # the table of weeks beneath: still ripe in the last week, passing in the next
            cell = lambda week: re.search(rf'<tr data-week="{week}">.*?</tr>', body, re.S)[0]  # noqa: E731
            assert "<td>P</td>" not in cell(last) and "<td>P</td>" in cell(a.meta["weeks"][at + 1])
    assert len(found) >= 3


def test_a_coin_toss_is_told_as_one_and_a_sure_word_is_not(office):
    page, db = office
    a = ripeness.answer(db)
    read = np.array([a.meta["by_plot"][code]["n_visits"] > 0 for code in a.meta["plots"]])
    chance, words = a.arrays["chance"][:, 0], a.arrays["condition"][:, 0]
    tossed = [a.meta["plots"][i] for i in np.flatnonzero(read & (words == 3) & (chance > 0.4) & (chance < 0.65))]
    sure = [a.meta["plots"][i] for i in np.flatnonzero(read & (words == 3) & (chance > 0.97))]
    assert tossed and sure
    for code in tossed[:3]:
        assert "por poco y no es seguro" in head(page(code)) and "conviene cortarla ya" not in head(page(code)) and "and not surely" in head(page(code, "en"))
    assert all("no es seguro" not in head(page(code)) for code in sure[:3])


@pytest.mark.parametrize("language", ["es", "en"])
def test_a_window_that_bridges_unripe_weeks_names_them_near_the_headline(office, language):
    page, db = office
    a, weeks = ripeness.answer(db), ripeness.answer(db).meta["weeks"]
    least, told = ripeness.limits_of(a).ripe_share_to_cut, 0
    for i, code in enumerate(a.meta["plots"]):
        about = a.meta["by_plot"][code]
        if about["window_kind"] != "ripens" or not about["n_visits"] or told >= 4:
            continue
        first, last = (weeks.index(w) if w else len(weeks) - 1 for w in about["window"])
        low = [w for w in range(first, last + 1) if a.arrays["share"][i, w] < least]
        if low:
            words = beside(page(code, language))
            deepest = min(low, key=lambda w: a.arrays["share"][i, w])
            assert weeks[low[0]] in words and weeks[low[-1]] in words and weeks[deepest] in words and ("En las aguas" if language == "es" else "In the rains") in words
            told += 1
    assert told >= 3


def test_what_is_past_its_limit_says_why_its_rising_sugar_is_no_reason_to_wait(office):
    page, db = office
    a = ripeness.answer(db)
    past = [code for code in a.meta["plots"] if a.meta["by_plot"][code]["window_kind"] == "past" and a.meta["by_plot"][code]["n_visits"]]
    rate = ripeness.limits_of(a).loss_per_month
    rises = 0
    for code in past[:6]:
        body = page(code)
        was, then = (float(t.replace(",", "")) for t in re.search(r"maduras: de ([\d,]+) t a ([\d,]+) t", beside(body)).groups())
        assert ("no es razón para esperar" in beside(body)) == (then >= was) or then == was
        rises += "no es razón para esperar" in beside(body) and f"{rate:.1%}"[:-1] in beside(body)
        assert "no razón para esperar" in plain(body)
    assert rises


def test_no_chance_is_nothing_or_all_on_page_list_and_full_table(office):
    page, db = office
    a = ripeness.answer(db)
    table = page("/map/table")
    rows = {name: dict(re.findall(r'<tr data-code="([^"]+)">(.*?)</tr>', page(address) if address != "/map/table" else table, re.S)) for name, address in (("list", "/ripeness"), ("table", "/map/table"))}
    seen = set()
    for i, code in enumerate(a.meta["plots"]):
        if a.meta["by_plot"][code]["age_months"] < 0:
            continue
        said = format_chance(float(a.arrays["chance"][i, 0])).replace("\u00a0", " ")
        for where in rows.values():
            cell = plain(re.search(r'data-head="Probabilidad de estar madura">.*?</td>', where[code], re.S)[0].split(">", 1)[1])
            assert cell == said or where is rows["table"] and cell.replace("> ", "").replace("< ", "").rstrip(" %").isdigit()
            seen.add(cell)
    assert {"> 99 %", "< 1 %"} <= seen and not {"100 %", "0 %"} & seen


def test_a_share_beside_near_is_never_rounded_onto_ripe(office, monkeypatch):
    page, db = office
    a = ripeness.answer(db)
    i = int(np.flatnonzero((a.arrays["condition"][:, 0] == 2))[0])
    real = ripeness.plot_now

    def almost(*args, **kw):
        now = real(*args, **kw)
        return {**now, "share": np.r_[0.4994, now["share"][1:]]}

    monkeypatch.setattr(ripeness, "plot_now", almost)
    body = page(a.meta["plots"][i])
    assert "49.9 %" in plain(re.search(r'id="share-today".*?</dd>', body, re.S)[0])
    row = plain(re.search(r'<tr data-week.*?</tr>', body, re.S)[0])
    assert "49.9 %" in row and ">49.9<" in body and format_share(0.4994, (0.25, 0.5)) in body


def test_the_maps_whole_numbers_stay_on_their_side_of_a_threshold():
    shares = np.random.default_rng(2).random(5000)
    for limits in ((0.25, 0.5), (0.253, 0.497)):
        shown = map_figures.percent(np.r_[shares, 0.4994, 0.2496, limits], limits)
        for limit in limits:
            assert ((shown >= 100 * limit) == (np.r_[shares, 0.4994, 0.2496, limits] >= limit)).all()
        assert np.abs(shown[:5000] - 100 * shares).max() <= 1


@pytest.mark.parametrize("language", ["es", "en"])
def test_a_cut_plot_says_when_how_much_and_how_heavy(office, language):
    page, db = office
    frame, loads = land.plots(db), survey.loads(db)
    cut = [code for code in frame[frame["status"] == "cut"].index if (loads["plot"] == code).any()]
    assert cut
    for code in cut[:3]:
        told, words = came_service.last_cut(db, code), head(page(code, language))
        mine = loads[(loads["plot"] == code) & (loads["day"] >= told["began"])]
        assert told["began"] == min(mine["day"]) and told["ended"] == max(mine["day"]) and told["came_t"] == pytest.approx(mine["net_kg"].sum() / 1000)
        assert f"{told['came_t']:,.0f} t" in words and str(told["ended"].year) in words and (told["kg_each"] is None or f"{told['kg_each']:.1f} kg" in words)


def test_no_interval_of_brix_goes_below_nought():
    """A forecast of long ago may be so wide that its low end has no meaning; masses go by their logarithm and stay as they are."""
    day = np.array([date(2026, 8, 20).toordinal()])
    pairs = Pairs(np.array(["LH-19"]), day - 182, day, np.array([26]), np.array([11.2]), np.array([8.9]), np.array([13.0]), np.array([False]))
    assert pairs.ends()[0][0] < 0
    assert plot_said.rows(pairs)[0]["said"][0]["low"] == 0 and plot_said.rows(pairs)[0]["said"][0]["high"] > 22
    light = Pairs(np.array(["LH-19"]), day - 182, day, np.array([26]), np.array([0.1]), np.array([0.5]), np.array([0.3]), np.array([False]))
    assert 0 < plot_said.rows(light, log=True)[0]["said"][0]["low"] < 1


def test_the_plan_speaks_of_the_share_the_page_shows(office):
    from tests.cutting.instances import estate

    from webapp.cutting.plan import Plan

    problem = estate(11, plots=60, need=90.0)
    nothing = Plan("x", np.zeros(problem.shape), ())
    p = next(p for p in range(60) if 0.05 < problem.ripe[p, -1] < problem.rules.least_pass_share)
    week = problem.weeks[int(np.argmax(problem.share[p]))]
    said = explain.why(problem, nothing, {}, p, {week: 0.02})[0]
    both = ("2 %", format_share(problem.ripe[p, -1], (0.25,)).replace("\u00a0", " "))
    for language in ("es", "en"):
        text = said.text(language).replace("\u00a0", " ")
        assert said.code == "cutting.why.unripe_shown" and all(figure in text for figure in both) and week in text
    same = explain.why(problem, nothing, {}, p, {week: float(problem.ripe[p, -1])})[0]
    assert same.code == "cutting.why.unripe" and both[1] in same.text("es").replace("\u00a0", " ")


def test_closed_weeks_say_what_share_they_mean(office):
    from tests.cutting.instances import estate

    from webapp.cutting.problem import ROAD

    problem = estate(11, plots=60, need=90.0)
    p = int(np.argmax(problem.ripe[:, 0]))
    closed = problem.closed.copy()
    closed[p, 3:6] = ROAD
    said = explain._closed(problem.with_changes(closed=closed), p, {"name": "El Tapia", "plot": "X"})[0]
    least = format_share(problem.rules.least_pass_share)
    assert least in said.text("es") and "entresaca" in said.text("es") and "ya está madura" not in said.text("es") and least in said.text("en") and "in which it is ripe" not in said.text("en")
