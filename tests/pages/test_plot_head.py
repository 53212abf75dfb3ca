"""The top of a plot's page and its figure: windows with years and intervals, what forbids the cut, what standing costs, every step and mark explained."""

import re
from datetime import date

import numpy as np
import pytest

from webapp.crop import service as crop
from webapp.cutting import plot_service as cutting_of
from webapp.land import service as land
from webapp.pages import plot_head
from webapp.ripeness import first_ripe, stand_service
from webapp.ripeness import service as ripeness

from .reading import head_of, plain

TODAY = date(2026, 11, 23)
SPRAYED, LATE, PRUNED, PICKED = "LH-47", "MT-44", "LA-23", "VS-04"


@pytest.fixture(scope="module")
def office(demo_made, tmp_path_factory):
    with head_of(demo_made, tmp_path_factory.mktemp("head")) as opened:
        yield opened



def beside(body):
    return plain(re.search(r'<div class="beside">.*?</div>', body, re.S)[0])


def windowed(db, kind="ripens"):
    a = ripeness.answer(db)
    return [code for code in a.meta["plots"] if a.meta["by_plot"][code]["window_kind"] == kind and a.meta["by_plot"][code]["n_visits"]]


@pytest.mark.parametrize("language", ["es", "en"])
def test_a_window_says_its_years_and_how_sure_its_first_week_is(office, language):
    page, db = office
    a = ripeness.answer(db)
    least = ripeness.limits_of(a).ripe_share_to_cut
    for code in windowed(db)[::3]:
        body, i = page(code, language), a.meta["plots"].index(code)
        early, late = first_ripe.interval(a.arrays["share_lo"][i], a.arrays["share_hi"][i], least)
        said = plain(first_ripe.sentence(int(early), int(late), a.meta["weeks"]).text(language))
        first, last = a.meta["by_plot"][code]["window"]
        figure = plain(re.search(r'id="window".*?</dd>', body, re.S)[0])
        for words in (beside(body), figure):
            assert said in words and first in words and (not last or last in words)
            assert not re.search(r"(?<!\d{4}-)W\d\d", words), "a week without its year"
        row = re.search(r"(Semana en que madura|Week it turns ripe) \(80.*?</tr>", body, re.S)
        if early > 0 and row:
            assert a.meta["weeks"][early] in row[0], "the same weeks as in what a visit would change"


def test_the_list_says_the_same_of_every_window(office):
    page, db = office
    a, body = ripeness.answer(db), page("/ripeness")
    least = ripeness.limits_of(a).ripe_share_to_cut
    rows = dict(re.findall(r'<tr data-code="([^"]+)">(.*?)</tr>', body, re.S))
    for code in windowed(db):
        i = a.meta["plots"].index(code)
        cell = plain(re.search(r'data-head="Tiempo de jima">.*?</td>', rows[code], re.S)[0])
        early, late = first_ripe.interval(a.arrays["share_lo"][i], a.arrays["share_hi"][i], least)
        assert first_ripe.short(int(early), int(late), a.meta["weeks"]).text("es") in cell and a.meta["by_plot"][code]["window"][0] in cell
    assert not re.search(r"(?<!\d{4}-)W\d\d", plain(body)), "a week without its year"


def test_a_rest_that_forbids_the_cut_and_the_plans_week_stand_beside_the_headline(office, monkeypatch):
    page, db = office
    assert "no se corta antes del 17 de diciembre de 2026" in beside(page(SPRAYED)) and 'href="#log"' in page(SPRAYED)
    ripe_now = next(code for code in windowed(db) if ripeness.answer(db).meta["by_plot"][code]["window"][0] == "2026-W48")
    assert "se corta" not in beside(page(ripe_now)), "no plan, no rest: nothing to say of either"
    monkeypatch.setattr(cutting_of, "rest", lambda db, code: {"until": date(2026, 12, 3), "day": date(2026, 11, 20), "labor": "spraying", "product": None})
    monkeypatch.setattr(cutting_of, "spans", lambda db, code: [("2027-W02", "2027-W03"), ("2027-W09", "2027-W09")])
    body = page(ripe_now)
    assert "cuando acabe su descanso, el 3 de diciembre de 2026" in re.search(r"<h1>.*?</h1>", body)[0].replace("en cuanto", "cuando") and "ya," not in re.search(r"<h1>.*?</h1>", body)[0]
    assert "El plan la corta en 2027-W02 – 2027-W03 y 2027-W09." in beside(body) and 'href="#plan"' in body and 'id="plan"' in body and 'href="/cutting"' in body
    monkeypatch.setattr(cutting_of, "spans", lambda db, code: [])
    monkeypatch.setattr(cutting_of, "plan_until", lambda db: "2027-W20")
    assert "El plan, que llega a 2027-W20, no la corta." in beside(page(ripe_now))


def test_what_a_plot_past_its_window_loses_agrees_with_its_own_curve(office):
    """Mass falls while the season raises °Brix: each is said by itself, with the numbers of the table of weeks."""
    page, db = office
    body, a, c = page(LATE), ripeness.answer(db), crop.answer(db)
    i, j = a.meta["plots"].index(LATE), c.meta["plots"].index(LATE)
    words = beside(body)
    assert a.arrays["mean_deg"][i, 25] > a.arrays["mean_deg"][i, 0] and c.arrays["tonnes"][j, 25] < c.arrays["tonnes"][j, 0]
    assert "lo que pierde es masa" in words and f"de {c.arrays['tonnes'][j, 0]:,.0f} t de piña a {c.arrays['tonnes'][j, 25]:,.0f} t" in words and f"de {a.arrays['mean_deg'][i, 0]:.1f} a {a.arrays['mean_deg'][i, 25]:.1f}" in words
    assert "cada semana pierde" not in body and "de su masa perdida" in plain(body)
    keeps = {"t": [100.0, 100.2], "lo": [90.0, 91.0], "hi": [110.0, 111.0]}
    now = {"weeks": a.meta["weeks"], **{name: a.arrays[name][i] for name in ("mean_deg", "lo80", "hi80")}}
    from webapp import create_app

    with create_app(db.conn.execute("PRAGMA database_list").fetchone()[2], testing=True).test_request_context("/?lang=es"):
        assert "casi no pierde masa" in plot_head._standing(now, keeps, keeps, 0.015)


def test_days_to_come_stand_after_what_was_and_are_marked(office):
    page, _ = office
    body = page(LATE)
    rounds = body[body.index('id="rounds"'):body.index('id="said"')]
    first = re.search(r'<th scope="row" class="day">([^<]+)<', rounds)[1]
    assert "2026" in first and "15 jul 2027" in rounds[rounds.index('id="rounds-ahead"'):] and "15 jul 2027" not in rounds[:rounds.index('id="rounds-ahead"')]


def test_every_step_of_the_curve_is_named_and_numbered(office):
    page, db = office
    frame = land.plots(db)
    for code, what in ((PRUNED, "barbeo de pencas"), (PICKED, "entresaca")):
        found = [s for s in stand_service.steps(db, code, frame, TODAY)]
        body = page(code)
        listed = re.findall(r'<li value="(\d+)">(.*?)</li>', body)
        assert found and len(listed) == len(found) and any(what in words for _, words in listed)
        drawing = body.split("</svg>")[0]
        assert drawing.count('class="step-line"') == len(found)
    a = ripeness.answer(db)
    i = a.meta["plots"].index(PICKED)
    share = next(s["share"] for s in stand_service.steps(db, PICKED, frame, TODAY) if s["what"] == "pass")
    assert share == pytest.approx(float(a.arrays["taken"][i, 0]), abs=1e-6), "what the picture names is what the model took off"


def test_the_target_is_named_where_no_curve_comes(office):
    page, db = office
    for code in (PRUNED, PICKED, LATE, SPRAYED, windowed(db)[0]):
        for drawing in re.findall(r'<svg class="strip curve.*?</svg>', page(code), re.S):
            line = re.search(r'<path d="M[\d.]+ [\d.]+L([\d.]+) [\d.]+" class="target"/>', drawing)
            label = [float(x) for x in re.findall(r'<text x="([\d.]+)"[^>]*class="warnt[^>]*>', drawing)]
            assert label and min(label) > float(line[1]), code
            width = float(re.search(r'viewBox="0 0 (\d+)', drawing)[1])
            assert max(label) + 44 <= width


def test_counts_of_marks_are_of_one_kind_and_explained(office):
    page, db = office
    body = page(PICKED)
    drawing = body.split("</svg>")[0]
    assert re.search(r">v×\d+<", drawing) and not re.search(r">[a-z]\d+<", drawing)
    assert "varios días que no caben" in body
    loads = sum(int(n or 1) for n in re.findall(r">v(?:×(\d+))?<", drawing))
    from webapp.survey import service as survey

    table = survey.loads(db)
    days = set(table[table["plot"] == PICKED]["day"])
    assert loads == len(days) and np.all([d <= TODAY for d in days])
