"""Thin and odd data through the doors, each to pages, plan and export: a number everywhere, wide where little is known, and said so."""

from __future__ import annotations

import html
import json
import re
from datetime import date

import numpy as np
import pytest
from click.testing import CliRunner

from webapp.cli import main_group
from webapp.crop import service as crop
from webapp.ripeness import falling_back, service, thin, thin_service
from webapp.ripeness.estimate import Grouped, fit
from webapp.sentences import say
from webapp.survey import service as survey
from webapp.tonnage import service as tonnage

from .test_estimate import DYESTUFF, one_way
from .thin_estates import TODAY, load, plots, round_of, scattered, walked

VADO = ("2020-07-01", "Vado", "azul")
THREE = {"A": VADO, "B": ("2022-06-01", "Vado", "azul"), "C": ("2018-06-01", "Loma", "azul")}


def rounds(means, days, n=12, temp_c=20.0):
    return [line for i, (code, mean) in enumerate(means.items()) for day in days for line in round_of(code, day, scattered(mean - day / 200, n, [i, day]), temp_c)]


def told(db):
    """{code of a sentence: its parameters} of what the answer's data are too thin for."""
    return {s.code.rsplit(".", 1)[1]: s.params for s in thin_service.told(db, service.answer(db))}


def at(db, name, code, week=0):
    a = service.answer(db)
    return float(a.arrays[name][a.meta["plots"].index(code), week])


def shown(pages, code, language="es", where=("/ripeness", "/plots/"), **params):
    """Whether the list of plots and the plots' pages say a sentence."""
    words = say(f"ripeness.thin.{code}", language, **params)
    return all(words in html.unescape(text) for (address, spoken), text in pages.items() if spoken == language and address.startswith(where))


def test_one_plot(db, estate_path):
    plots(db, {"A": VADO})
    load(db, rounds({"A": 23.0}, (10, 120, 300)))
    pages = walked(db, estate_path, crew=2)
    assert 'id="nothing-cut"' in pages["/cutting", "es"] and "es mucha tabla para una pasada" in pages["/cutting", "es"]  # 870 t and two people: said, not a bare empty plan
    assert "Plan sin cortes" in pages["/cutting", "es"] and "a tiempo" not in pages["/cutting", "es"] and "falló" not in pages["/cutting", "es"]
    assert told(db) == {"few": {"n": 3, "plots": 1, "of": 1}} and shown(pages, "few", n=3, plots=1, of=1) and shown(pages, "few", "en", n=3, plots=1, of=1)
    assert 21.5 < at(db, "mean_deg", "A") < 24.5 and 0.4 < at(db, "sd_deg", "A") < 1.5


def test_nobody_has_sampled_anything(db, estate_path):
    """Ages alone: what may be ripe is counted as a maybe on every page, and no page calls a plot ripe or says how much of it is."""
    plots(db, THREE | {"A": ("2019-07-01", "Vado", "azul"), "C": ("2012-11-01", "Loma", "azul")})
    pages = walked(db, estate_path)
    a = service.answer(db)
    assert "none" in told(db) and list(a.arrays["condition"][:, 0]) == [3, 1, 4] and a.arrays["share"][0, 0] > 0.5  # by the shares alone one would be ripe
    for (address, language), text in pages.items():
        text = html.unescape(text)
        if address in ("/ripeness", "/map"):
            assert "Nadie ha muestreado todavía" in text or "Nobody has sampled yet" in text
            assert "Maduras" not in text.split("</h1>")[0].split("<h1")[1], address
        if address == "/ripeness":
            rows = text.split("<tbody>")[1]
            assert not re.search(r"</span> (maduro|pasándose|ripe|passing)\b", rows) and re.search(r"</span> (quizá maduro|maybe ripe)\b", rows)
        if address == "/plots/A":
            assert ("quizá maduro: nadie la ha muestreado" if language == "es" else "maybe ripe: nobody has sampled it") in text and say("ripeness.why.maybe_supposed", language) in text
    assert re.search(r'id="unread">De las \d tablas del plan, a \d no las? ha muestreado nadie', pages["/cutting", "es"])
    assert "está pasando" not in pages["/today", "es"] and "no se han muestreado nunca" in pages["/today", "es"]
    reply = CliRunner().invoke(main_group, ["--estate", str(estate_path), "--lang", "es", "tonnage", "--plot", "A", "--json"])
    one, said = json.loads(reply.stdout)["plots"][0], tuple(f"{v:,.0f}" for v in crop.answer(db).arrays["tonnes"][:, 0])
    assert f'id="mass-today">{one["mass_t"]:,.0f} t<small>{one["mass_low80_t"]:,.0f} – {one["mass_high80_t"]:,.0f} (80 %)' in pages["/plots/A", "es"] and f"{one['mass_t']:,.0f}" == said[0]  # one estimator, however wide
    assert tonnage.expected_t(tonnage.answer(db))[:, 0] == pytest.approx(crop.answer(db).arrays["tonnes"][:, 0], rel=0.12) and one["mass_t"] > 1.1 * tonnage.answer(db).arrays["mass_t"][0, 0]
    estate = html.unescape(pages["/estate", "es"])
    assert "cuánto está maduro nadie lo ha medido" in estate and say("ripeness.thin.none", "es") in estate and 0.6 < 1 - at(db, "keep_share", "C") < 0.75


def test_three_plots_one_visit(db, estate_path):
    plots(db, THREE)
    load(db, round_of("A", 5, scattered(22, 12, 1)))
    pages = walked(db, estate_path)
    said = told(db)
    assert said["few"] == {"n": 1, "plots": 1, "of": 3} and shown(pages, "few", **said["few"]) and "one_season" in said
    assert at(db, "sd_deg", "A") < 1.2 and min(at(db, "sd_deg", code) for code in "BC") > 2.5  # what nobody read stays wide
    assert service.answer(db).meta["by_plot"]["B"]["borrowed_share"] == 1.0


def test_one_season_only(db, estate_path):
    """Eight ages in one month: read with care, but half a year away twice as unsure as a year away, until a visit of the other season comes."""
    plots(db, {f"P{i}": (f"{2018 + i % 6}-07-01", "Vado", "azul") for i in range(8)})
    means = {f"P{i}": 26 - 2.2 * (i % 6) for i in range(8)}
    load(db, rounds(means, (4, 24)))
    pages = walked(db, estate_path)
    season = told(db)["one_season"]
    assert season == {"first": "2026-10-30", "last": "2026-11-19"} and shown(pages, "one_season", **season) and shown(pages, "one_season", "en", **season)
    alone = at(db, "sd_deg", "P1", 26)
    assert alone > 1.6 * at(db, "sd_deg", "P1", 52)
    load(db, rounds(means, (200,)))
    service.fit(db)
    assert "one_season" not in told(db) and at(db, "sd_deg", "P1", 26) < 0.75 * alone


def test_all_readings_equal(db, estate_path):
    """No spread at all between plants, rounds or plots. Each round is one reading until somebody looks; left as they are they count in full: components at their boundary, still numbers."""
    plots(db, {f"P{i}": (f"{2018 + i}-07-01", "Vado", "azul") for i in range(4)})
    load(db, [line for i in range(4) for day in (5, 100, 300) for line in round_of(f"P{i}", day, [22.0] * 10)])
    pages = walked(db, estate_path)
    assert told(db)["equal_one"] == {"n": 12, "of": 12} and shown(pages, "equal_one", where="/ripeness", n=12, of=12) and shown(pages, "equal_one", where="/plots/", n=3, of=3) and "equal" not in told(db)
    a = service.answer(db)
    assert a.meta["fit"]["plant_deg"] > 0.5 and a.meta["n_readings"] == 12 and a.arrays["sd_deg"][:, 0].min() > 1.0 and (a.arrays["share_hi"] - a.arrays["share_lo"])[:, 0].min() > 0.3  # were 0.3 °Bx and no share at all
    for one in survey.doubts(db):
        survey.settle_doubt(db, one["id"], "leave", "Ana")
    pages = walked(db, estate_path)
    assert told(db)["equal"] == {"n": 12, "of": 12} and shown(pages, "equal", where="/ripeness", n=12, of=12) and shown(pages, "equal", where="/plots/", n=3, of=3) and "equal_one" not in told(db)
    a = service.answer(db)
    assert a.meta["fit"]["plant_deg"] < 0.05 and a.arrays["sd_deg"].min() > 0.05 and a.arrays["plant_sd_deg"].min() > 0


def test_no_planting_dates(db, estate_path):
    plots(db, {f"P{i}": (None, None, "azul") for i in range(4)})
    load(db, rounds({"P0": 20.0, "P1": 21.0, "P2": 22.0}, (5, 200)))
    pages = walked(db, estate_path)
    assert "ya pasó" not in pages["/ripeness", "es"] and told(db)["undated"] == {"n": 4, "of": 4} and shown(pages, "undated", where="/ripeness", n=4, of=4)
    assert at(db, "sd_deg", "P0") < 1.2 < 4 < at(db, "sd_deg", "P3")  # nobody read it and nobody knows its age


def test_a_plot_with_five_thousand_readings(db, estate_path):
    """One round of 5,000 plants: the visit's own error and the season keep the interval from closing; nobody else's is moved by the crowd."""
    plots(db, THREE)
    load(db, round_of("A", 6, scattered(22, 5000, 1)) + round_of("B", 6, scattered(17, 10, 2)))
    walked(db, estate_path)
    assert service.answer(db).meta["n_readings"] == 5010 and 0.3 < at(db, "sd_deg", "A") < at(db, "sd_deg", "B")
    assert abs(at(db, "mean_deg", "A") - 22) < 0.6 and abs(at(db, "mean_deg", "B") - 17) < 1.0


def test_fourteen_years_old_and_two_varieties(db, estate_path):
    """The oldest plot is passing and never was ripe: no window, cut it or lose it; the model has no variety: it says so, and what it would take."""
    plots(db, THREE | {"A": ("2012-11-01", "Vado", "azul"), "C": ("2018-06-01", "Loma", "espadín")})
    load(db, rounds({"A": 20.0, "B": 18.0, "C": 23.0}, (5, 400)))
    pages = walked(db, estate_path)
    about = service.answer(db).meta["by_plot"]["A"]
    assert about["age_months"] == pytest.approx(168.8, abs=0.3)
    assert service.answer(db).arrays["condition"][0, 0] == 4 and at(db, "keep_share", "A") < 0.9  # passing
    assert abs(at(db, "mean_deg", "A") - 20) < 1.5 and about["window"] == ["2026-W48", "2026-W48"] and about["window_kind"] == "unripe"
    assert all(say("ripeness.window.unripe_now", language) in pages["/ripeness", language] and say("ripeness.why.unripe_now", language, limit=0.12) in pages["/plots/A", language] for language in ("es", "en"))
    said = told(db)["varieties"]
    assert said == {"names": ["azul", "espadín"], "least": 10} and shown(pages, "varieties", **said) and shown(pages, "varieties", "en", **said)


def test_missing_temperatures(db, estate_path):
    """Twins read alike, one without temperatures: its visits carry 6 °C × 0.08 °Bx/°C = 0.48 °Bx more doubt, shared by their plants, so more plants don't help."""
    plots(db, {"A": VADO, "B": VADO, "C": ("2018-06-01", "Loma", "azul")})
    for day in (5, 200):
        read = scattered(22.0 - day / 200, 12, day)
        load(db, round_of("A", day, read) + round_of("B", day, read, temp_c=None) + round_of("C", day, scattered(24.0, 12, day)))
    pages = walked(db, estate_path)
    said = told(db)["no_temp"]
    assert said == {"n": 2, "of": 6, "doubt_deg": pytest.approx(1.96 * 0.48, abs=0.01)} and shown(pages, "no_temp", where="/ripeness", **said)
    known, wider = at(db, "sd_deg", "A"), at(db, "sd_deg", "B")
    assert wider > 1.05 * known and wider**2 - known**2 < 0.48**2


@pytest.mark.parametrize("seed", [1, 2])
def test_random_tiny_estates(db, estate_path, seed):
    """Whatever comes: plots with and without dates, zones and visits, lone plants, no temperature, impossible-looking values inside the dictionary's limits."""
    luck = np.random.default_rng([86, seed])
    codes = [f"P{i}" for i in range(int(luck.integers(1, 6)))]
    plots(db, {code: (None if luck.random() < 0.3 else date.fromordinal(TODAY.toordinal() - int(luck.integers(1, 5300))).isoformat(), None if luck.random() < 0.3 else f"Z{luck.integers(2)}",
                      luck.choice(["azul", "espadín"])) for code in codes})
    for code in codes:
        for _ in range(int(luck.integers(0, 4))):
            days, n = int(luck.integers(0, 2500)), int(luck.choice([1, 1, 2, 12]))
            load(db, round_of(code, days, np.clip(luck.normal(20, luck.choice([0.0, 2.0, 12.0]), n), 0.0, 60.0), None if luck.random() < 0.4 else float(luck.uniform(-5, 60)), str(seed)), all_kept=False)
    walked(db, estate_path)


def test_an_estate_without_visits_or_plots(db, estate_path):
    walked(db, estate_path)
    assert told(db) == {}
    plots(db, THREE)
    pages = walked(db, estate_path)
    assert "none" in told(db) and shown(pages, "none")


def test_boundary_variances_and_arcs():
    """Lone plants of identical plots: every component at zero or its prior, still finite; and how much of the year visits fill."""
    flat = fit(one_way(np.full((5, 3), 7.0)), np.array([1.0, 1.0]))
    assert np.isfinite(flat.criterion) and flat.theta[0] == pytest.approx(7.0) and (flat.sds < 0.01).all()
    day = date(2026, 12, 20).toordinal()
    assert thin.arc_days(np.array([day])) == 0 and thin.arc_days(np.array([day, day + 30, day - 365])) == pytest.approx(30, abs=1.5)  # over the new year, of two years
    assert thin.arc_days(np.array([day, day + 91, day + 183, day + 274])) > 250


NAMES = ("level", "plant")


def failing(times, error=False):
    """A search that does not converge (or breaks) the first times."""
    calls = []

    def seek(data, start, **how):
        calls.append(start)
        if len(calls) <= times and error:
            raise np.linalg.LinAlgError("not positive definite")
        found = fit(data, start, **how)
        return found.__class__(**{**vars(found), "converged": len(calls) > times})

    return seek


@pytest.mark.parametrize("error", [False, True])
@pytest.mark.parametrize("times,step", [(0, falling_back.WHOLE), (1, falling_back.AGAIN), (3, falling_back.HELD), (9, falling_back.USUAL)])
def test_falling_back(times, step, error):
    """Step by step, each finite and told; where the second start converges the answer is the same as at first."""
    data = one_way(DYESTUFF)
    usual = np.array([40.0, 50.0])
    found, taken = falling_back.sought(data, usual, usual, NAMES, failing(times, error))
    assert taken == step and falling_back.sound(found)
    assert found.theta[0] == pytest.approx(1527.5, abs=1e-6)
    if step <= falling_back.HELD:  # both are sought alone too
        assert found.sds**2 == pytest.approx([1764.05, 2451.25], rel=1e-3)
    else:
        assert found.sds == pytest.approx(usual)
    if step:
        code = f"ripeness.thin.{thin.STEPS[step]}"
        known = thin.Known(*(np.zeros(0) for _ in range(4)), 0, 3, 0, ("azul",), step == 0, step)
        assert thin.sentences(known)[0].code == code and say(code, "es") != say(code, "en")


def test_an_estate_whose_fit_does_not_converge(db, estate_path, monkeypatch):
    """The search breaks at every try: the answer stands on the usual standard deviations, finite everywhere, and both pages say which step was taken."""
    monkeypatch.setattr(falling_back, "fit", failing(10**6, error=True))
    plots(db, THREE)
    load(db, rounds({"A": 22.0, "B": 18.0, "C": 24.0}, (5, 200)))
    pages = walked(db, estate_path)
    a = service.answer(db)
    assert a.meta["fit_step"] == service.model_of(a)[0].step == falling_back.USUAL and a.meta["fit"]["level_deg"] == pytest.approx(1.5)
    assert "usual" in told(db) and shown(pages, "usual") and shown(pages, "usual", "en")
    assert service.plot_now(db, "A")["mean_deg"][0] == pytest.approx(22, abs=1.0)


def test_what_is_held_stays():
    """With the plots' level held, only the plants' spread is sought."""
    data = one_way(DYESTUFF)
    found, step = falling_back.sought(data, np.array([40.0, 50.0]), np.array([10.0, 50.0]), ("pace", "plant"), failing(3))
    assert step == falling_back.HELD and found.sds[0] == pytest.approx(10.0, rel=0.01) and 45 < found.sds[1] < 65
    assert isinstance(data, Grouped)


def test_a_plot_without_a_zone_borrows_from_no_zone_in_particular(db):
    """Two zones far apart, and a plot nobody put in either: it stands between them, not with the first by name."""
    plots(db, {f"A{i}": ("2020-07-01", "Alta", "azul") for i in range(4)} | {f"B{i}": ("2020-07-01", "Baja", "azul") for i in range(4)} | {"N": ("2020-07-01", None, "azul")})
    load(db, rounds({f"A{i}": 18.0 for i in range(4)} | {f"B{i}": 25.0 for i in range(4)}, (5, 120, 240)))
    service.fit(db)
    assert service.answer(db).meta["zones"] == ["", "Alta", "Baja"]
    assert at(db, "mean_deg", "A0") + 1 < at(db, "mean_deg", "N") < at(db, "mean_deg", "B0") - 1 and at(db, "sd_deg", "N") > 1.5
