"""The page of settings: all of them with their source, what the data say, and a change that shows its effect before it is saved."""

from __future__ import annotations

import html
import re

import numpy as np
import pytest

from webapp import create_app, settings
from webapp.config import BY_NAME, SETTINGS
from webapp.crop import effect_service as effects
from webapp.crop import service as crop
from webapp.database import open_estate
from webapp.problems import Problem
from webapp.ripeness import service as ripeness
from webapp.sentences import catalogue
from webapp.survey import service as survey
from webapp.tonnage import service as tonnage

KEPT = ("setting_value", "answer", "job", "trail", "record")


@pytest.fixture(scope="module")
def office(demo_made, tmp_path_factory):
    """(database, the head's client) on one copy of the demo."""
    import shutil

    path = shutil.copy(demo_made, tmp_path_factory.mktemp("settings") / "demo.db")
    client = create_app(path, testing=True).test_client()
    assert client.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"}).status_code == 303
    return open_estate(path), client


@pytest.fixture()
def recorded(monkeypatch) -> list:
    """What each preview reckoned, beside the page it made."""
    found, reckon = [], effects.effect
    monkeypatch.setattr(effects, "effect", lambda *args: found.append(reckon(*args)) or found[-1])
    return found


def kept(db) -> tuple:
    return (*(db.conn.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in KEPT), db.conn.execute("SELECT max(made_at) FROM answer").fetchone()[0],
            settings.load(db).version, survey.data_version(db))


def words_of(page: str) -> dict[str, str]:
    """Plot → condition word as the list of plots says it."""
    return {code: " ".join(re.search(r'class="letter[^>]*>[^<]*</span>\s*([^<]+)', row)[1].split()) for code, row in re.findall(r'<tr data-code="([^"]+)">(.*?)</tr>', page, re.S)}


def test_every_setting_and_constant_is_there_with_unit_source_and_status(office):
    page = html.unescape(office[1].get("/settings").get_data(as_text=True))
    for s in SETTINGS:
        assert f'name="{s.name}"' in page and catalogue("es")[f"setting.{s.name}"] in page, s.name
    from webapp.pages.settings_known import ROOMS, constants_of

    with create_app(office[0].conn.execute("PRAGMA database_list").fetchone()[2], testing=True).test_request_context():
        for group in ROOMS:
            for constant in constants_of(group):
                assert constant["name_lang"] == constant["unit_lang"] == constant["source_lang"] == "", f"«{constant['name']}» lacks words: add constant.<room>.<name> to translations/*/constants.po"
                assert constant["name"] in page and constant["source"] in page
    assert "Lo que dicen los datos del rancho" in page and "Tus conteos ya dicen" in page


def test_a_change_shows_its_effect_and_saving_makes_it_true(office, recorded):
    """Plots ripe, words, windows and tonnes of the preview are what the pages say after saving; the preview itself keeps nothing."""
    db, client = office
    before, was = kept(db), words_of(client.get("/ripeness").get_data(as_text=True))
    proposal = {"target_brix_deg": "25", "near_share": "0,3", "loss_limit": "0.1", "loss_per_month": "0.02"}
    shown = client.post("/settings/preview", data=proposal).get_data(as_text=True)
    found = recorded[-1]
    assert kept(db) == before, "a preview stores nothing and asks for nothing"
    assert f"habría {int(found.then.ripe_plots[0])} tablas maduras hoy, en lugar de {int(found.now.ripe_plots[0])}" in shown and found.then.ripe_plots[0] < found.now.ripe_plots[0]
    told = {code: re.search(r"<td[^>]*><b>\S+ ([^<]+)</b>", row)[1] for code, row in re.findall(r'<tr data-code="([^"]+)">(.*?)</tr>', shown, re.S) if re.search(r"<td[^>]*><b>", row)}
    assert len(told) == sum(m.condition[0] != m.condition[1] for m in found.moved) > 0

    form = re.search(r'<form method="post" action="/settings" .*?</form>', shown, re.S)[0]
    sent = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form))
    assert set(sent) == {*proposal, "version"}
    assert client.post("/settings", data=sent).status_code == 303
    ripeness.fit(db), tonnage.answer(db, fresh=True)
    a, grown = ripeness.answer(db), crop.answer(db, fresh=True)
    page = client.get("/ripeness").get_data(as_text=True)
    assert words_of(page) == {**was, **told}, "every plot's word, changed or not"
    assert int(re.search(r"<h1>\D*(\d+)", page)[1]) == found.then.ripe_plots[0]
    assert {m.code: m.window[1] for m in found.moved}.items() <= {code: about["window"] for code, about in a.meta["by_plot"].items()}.items()
    assert np.array_equal((a.arrays["share"] >= 0.5).sum(axis=0)[: effects.WEEKS], found.then.ripe_plots)
    for name, value in (("ripe_total", found.then.ripe_t), ("ripe_total_lo", found.then.ripe_lo), ("sugar_total", found.then.sugar_t), ("mass_total", found.then.mass_t)):
        assert np.allclose(grown.arrays[name][: effects.WEEKS], value, rtol=1e-5), name
    row = re.search(r"<tr>(?:(?!</tr>).)*target_brix_deg.*?</tr>", client.get("/settings").get_data(as_text=True), re.S)[0]
    assert "Aurelia Montes" in row and "antes 24.0" in row
    trail = client.get("/trail").get_data(as_text=True)
    assert "25.0" in trail and "24" in trail


def test_what_the_fit_itself_depends_on_is_tried_by_the_same_code(office, recorded, monkeypatch):
    """Above some hundred plots it asks first; the trial says what a fit after saving would store, and pretending ends with it."""
    db, client = office
    before = kept(db)
    monkeypatch.setattr(effects, "FIT_AT_ONCE_PLOTS", 10), monkeypatch.setattr(effects, "DRAWN_PLOTS", 10)
    proposal = {"peak_age_months": "84", "annual_mortality": "0.05", "capon_months": "6"}
    left = client.post("/settings/preview", data=proposal).get_data(as_text=True)
    assert 'name="trial_fit"' in left and "todavía no lo cuenta" in left and recorded[-1].fit == "left"
    tried = client.post("/settings/preview", data={**proposal, "trial_fit": "1"}).get_data(as_text=True)
    found = recorded[-1]
    assert "se hizo un ajuste de prueba" in tried and 'name="trial_fit"' not in tried and found.fit == "made"
    assert any(m.condition[1] == 4 for m in found.moved), "with an earlier peak some plots pass"
    assert kept(db) == before and settings.load(db)["peak_age_months"] == 90.0
    with settings.pretended(db, settings.load(db)), pytest.raises(RuntimeError):
        settings.change(db, proposal, "prueba")
    usual = {name: settings.load(db)[name] for name in proposal}
    settings.change(db, proposal, "prueba")
    meta, arrays = ripeness.reckon(db, ripeness.limits(db))
    assert np.array_equal(arrays["condition"][:, 0], found.then.condition) and {code: about["window"] for code, about in meta["by_plot"].items()} == found.then.windows
    assert np.array_equal((arrays["share"] >= 0.5).sum(axis=0)[: effects.WEEKS], found.then.ripe_plots)
    settings.change(db, usual, "prueba")


def test_bad_input_is_said_and_changes_nothing(office):
    db, client = office
    before = kept(db)
    for address in ("/settings/preview", "/settings"):
        for name, value, says in (("target_brix_deg", "noventa", "no es un número"), ("young_age_months", "200", "de 6 a 120 meses"), ("stop_weeks", "hoy", "W52 W53"), ("near_share", "", "no es un número")):
            reply = client.post(address, data={name: value, "loss_limit": "0.2"})
            page = reply.get_data(as_text=True)
            assert reply.status_code == 422 and says in page and "Nada se cambió" in page
            assert f'href="#s-{name}"' in page and f'value="{value}"' in page and 'value="0.2"' in page, "what was typed stays"
    moved = client.post("/settings", data={"target_brix_deg": "22", "version": "0"})
    assert moved.status_code == 409 and "Alguien guardó otros ajustes" in moved.get_data(as_text=True)
    assert kept(db) == before


def test_what_a_preview_cannot_say_it_says_so(office):
    _, client = office
    page = html.unescape(client.post("/settings/preview", data={"need_t_week": "400", "near_share": "0.8", "enough_narrowing_deg": "0.2"}).get_data(as_text=True))
    assert "«Lo que pide la fábrica» queda arriba de «Lo más que recibe la fábrica»" in page
    assert "hay que buscarlo otra vez desde su página" in page and "la mejor regla al tanteo entregaría" in page and "se le pedirían" in page and "lista de visitas" in page
    assert "Nada cambiaría" in client.post("/settings/preview", data={"need_t_week": "280"}).get_data(as_text=True)


def test_a_preview_where_estimates_were_made_before(office, monkeypatch):
    """Once a job of estimates has run here its time is known; what does not need a fit says nothing of one."""
    from webapp.pages import settings_effect

    _, client = office
    monkeypatch.setattr(settings_effect, "_last_seconds", lambda kind: 12)
    for proposal in ({"target_brix_deg": "25.5"}, {"loss_per_month": "0.013"}, {"peak_age_months": "88"}):
        answer = client.post("/settings/preview", data=proposal)
        assert answer.status_code == 200 and "12" in answer.get_data(as_text=True), proposal


NONSENSE = ("nan", "NaN", "inf", "-inf", "1e999", "--5", "", "   ", "cinco", "1_000", "1.234,5", "1,2,3", "0x10", "٣", "9" * 400, "x" * 5000)


@pytest.mark.parametrize("setting", [s for s in SETTINGS if s.kind in ("number", "whole")], ids=lambda s: s.name)
def test_no_number_takes_nonsense(setting):
    for typed in NONSENSE:
        with pytest.raises(Problem) as refused:
            settings.accepted(setting, typed)
        problem = refused.value
        assert problem.where == setting.name and problem.code in ("setting_not_number", "setting_empty", "setting_out_of_range")
        for language in ("es", "en"):
            words = problem.what(language) + problem.do(language)
            assert "«–»" not in words and "“–”" not in words and not words.startswith("–") and len(words) < 220
            assert all(f"{limit}".replace("-", "−") in words for limit in (setting.low, setting.high)), words
    assert settings.accepted(setting, f" {setting.high} ") == setting.high


@pytest.mark.parametrize("name, typed, value", [("near_share", "0,5", 0.5), ("near_share", ",5", 0.5), ("case_fall", "−0,02", -0.02), ("planting_density_ha", "2,900", 2900.0), ("target_brix_deg", "24,500", 24.5),
                                                ("need_t_week", "1,250.5", 1250.5), ("loss_per_month", "1e-2", 0.01), ("truck_trips_week", "20.0", 20), ("case_fall", "-0", 0.0)])
def test_commas_and_signs_are_read_as_people_write_them(name, typed, value):
    found = settings.accepted(BY_NAME[name], typed)
    assert found == value and str(found) == str(value)


@pytest.mark.parametrize("name, typed, code, says", [("need_t_week", "1,000", "setting_comma", "1000"), ("truck_trips_week", "2.7", "setting_not_whole", "entero"), ("tile_credit", "x" * 501, "setting_too_long", "500"),
                                                     ("gate_place", "nan, nan", "setting_form", "20.61, -103.02"), ("gate_place", "95, 10", "setting_form", "20.61"), ("public_address", "rancho", "setting_form", "https://"),
                                                     ("tile_address", "https://a.mx;script-src */{z}/{x}/{y}", "setting_form", "{z}"), ("planting_season_ends", "02-29", "setting_form", "07-31"), ("planting_season_ends", "04-31", "setting_form", "07-31"),
                                                     ("own_classes", "solera", "setting_form", "solera=3.5"), ("own_classes", "solera=nan", "setting_form", "solera=3.5"), ("stop_weeks", "--5", "setting_form", "W52")])
def test_what_can_be_read_in_two_ways_or_in_none_is_refused_with_an_example(name, typed, code, says):
    with pytest.raises(Problem) as refused:
        settings.accepted(BY_NAME[name], typed)
    assert refused.value.code == code and refused.value.where == name and says in refused.value.what("es") + refused.value.do("es")


@pytest.mark.parametrize("name, typed", [("gate_place", "20.61, -103.02"), ("gate_place", "20.61 -103.02"), ("public_address", "https://rancho.mx:8443/campo"), ("public_address", "http://127.0.0.1:8350"), ("tile_address", "https://{s}.mosaicos.mx/{z}/{x}/{y}.png?k=1"),
                                         ("tile_address", "/mosaicos/{z}/{x}/{y}.png"), ("own_classes", "cristalino=1; solera=3,5"), ("planting_season_ends", "02-28"), ("stop_weeks", "W52, 2027-W01"), ("gate_place", ""), ("tile_address", "")])
def test_texts_people_write_are_taken(name, typed):
    assert settings.accepted(BY_NAME[name], typed) == typed


def test_every_wrong_field_is_told_at_once_by_its_field_and_all_stays_typed(office):
    db, client = office
    before = kept(db)
    typed = {"target_brix_deg": "nan", "near_share": "--5", "stop_weeks": "hoy", "gate_place": "x" * 600, "truck_trips_week": "2,5", "loss_limit": "0,11"}
    for address in ("/settings/preview", "/settings"):
        for language in ("es", "en"):
            reply = client.post(f"{address}?lang={language}", data=typed)
            page = html.unescape(reply.get_data(as_text=True))
            assert reply.status_code == 422 and page.count('aria-invalid="true"') == 5 and page.count('href="#s-') == 5
            for name, value in typed.items():
                assert f'id="s-{name}" name="{name}" value="{value}"' in page
                assert (f'id="w-{name}"' in page and f'aria-describedby="w-{name}"' in page) == (name != "loss_limit")
            assert "5 valores no se pueden usar" in page if language == "es" else "5 values can't be used" in page
    assert kept(db) == before


def test_the_title_counts_what_is_the_estate_s_own_without_riddles(office):
    db, client = office
    of, theirs = sum(s.assumption for s in SETTINGS), sum(settings.load(db).changed(s.name) for s in SETTINGS if s.assumption)
    title = lambda: re.search(r"<h1>(.*?)</h1>", client.get("/settings?lang=es").get_data(as_text=True))[1]  # noqa: E731
    assert 0 < theirs < of and (f"De los {of} supuestos, {theirs} ya son del rancho" in title() or "uno ya es del rancho" in title())
    usual = {s.name: s.default for s in SETTINGS if settings.load(db).changed(s.name)}
    settings.change(db, usual, "prueba")
    assert title() == f"Ninguno de los {of} supuestos se ha cambiado todavía por el del rancho"
    assert "tus datos ya corrigen" in client.get("/settings?lang=es").get_data(as_text=True)
    assert "ajustes guardados" not in client.get("/settings?lang=es&saved=-5").get_data(as_text=True)
