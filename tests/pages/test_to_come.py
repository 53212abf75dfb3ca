"""A plot planted after today: nothing of it stands on any page, until its planting; then its plants are all there."""

import json
import re
import shutil
from datetime import date

import numpy as np
import pytest

from webapp.crop import service as crop
from webapp.cutting import service as cutting
from webapp.database import open_estate
from webapp.land import service as land
from webapp.ripeness import service as ripeness
from webapp.survey import service as survey
from webapp.tonnage import accounting
from webapp.tonnage import service as tonnage
from webapp.tonnage.bolting import Bolting
from webapp.weeks import monday_of
from webapp.work import estimates

PLANTED = date(2027, 6, 1)


@pytest.fixture(scope="module")
def office(demo_made, tmp_path_factory):
    """(page by address, estate, code of a plot to be planted in June)."""
    from webapp import create_app
    from webapp.commands.seeding import SIGN_INS

    path = shutil.copy(demo_made, tmp_path_factory.mktemp("come") / "demo.db")
    db = open_estate(path)
    noted = {code for kind in ("row_count", "labor", "loss", "load") for code in survey.table(db, kind)["plot"]} | set(survey.readings(db)["plot"])
    code = next(c for c, about in ripeness.answer(db).meta["by_plot"].items() if c not in noted and about["age_how"] == "dated")
    land.set_planting(db, code, PLANTED, "jefa")
    estimates(db)
    client = create_app(path, testing=True).test_client()
    client.post("/sign-in", data={"login": "jefa", "password": next(p for _, name, p, _ in SIGN_INS if name == "jefa")})

    def page(address, raw=False):
        reply = client.get(address)
        assert reply.status_code == 200, address
        return reply.get_data() if raw else reply.get_data(as_text=True)

    yield page, db, code
    db.conn.close()


def test_no_plant_stands_before_it_and_none_is_lost_until_then():
    losses = accounting.Losses(0.03, 0.01, 0.01, Bolting(1.0, 0.5, 0.3))
    stand = accounting.left(np.array([1000.0, 1000.0]), np.zeros(2), np.array([-0.5, 2.0]), np.array([0.0, 0.4, 0.5, 1.5]), losses)
    assert list(stand[0, :2]) == [0.0, 0.0] and stand[0, 2] == pytest.approx(1000.0) and stand[0, 3] == pytest.approx(970.0, rel=1e-3)
    assert stand[1, 0] == pytest.approx(1000.0) and stand[1, 3] < 1000 * 0.97**1.4


def test_its_tonnes_and_plants_are_nought_until_the_week_it_is_planted(office):
    _, db, code = office
    a, t = crop.answer(db), tonnage.answer(db)
    i, k = a.meta["plots"].index(code), t.meta["plots"].index(code)
    before = np.array([monday_of(w).toordinal() + 3 < PLANTED.toordinal() for w in a.meta["weeks"]])
    for name in ("tonnes", "tonnes_lo", "tonnes_hi", "ripe_tonnes", "sugar_t"):
        assert not a.arrays[name][i, before].any(), name
        assert np.isfinite(a.arrays[name][i]).all()
    assert (a.arrays["tonnes"][i, ~before] > 0).all() and not t.arrays["mass_t"][k, before].any() and (t.arrays["mass_t"][k, ~before] > 0).all()
    assert t.meta["by_plot"][code]["plants"]["value"] == 0.0
    problem = cutting.problem_now(db)
    p = problem.plots.index(code)
    assert not problem.keep[p].any() and all(np.isfinite(problem.keep[p]))


@pytest.mark.parametrize("language", ["es", "en"])
def test_its_page_says_so_and_shows_no_figures_of_plants_that_are_not_there(office, language):
    page, db, code = office
    body = page(f"/plots/{code}?lang={language}")
    put_in = tonnage.answer(db).meta["by_plot"][code]["balance"]["planted"]
    assert ("todavía no plantada; se planta el 1 de junio de 2027" if language == "es" else "not planted yet; to be planted on June 1, 2027") in re.search("<h1>.*?</h1>", body)[0]
    assert f"{put_in:,.0f}" in body and 'id="unplanted"' in body and "plants-today" not in body and "brix-today" not in body and 'id="log"' in body
    assert not re.search(r"[>\s(](nan|None|inf)[<\s)]", body)


def test_lists_show_it_without_figures_and_do_not_count_it(office):
    page, db, code = office
    body = page("/ripeness?lang=es")
    row = re.search(rf'<tr data-code="{code}">.*?</tr>', body, re.S)[0]
    assert "todavía no plantada" in row and "<svg" not in row and "°Bx" not in row and row.count(">–<") >= 4
    assert f"de {len(ripeness.answer(db).meta['plots']) - 1} tablas" in re.search("<h1>.*?</h1>", body)[0]
    assert f'data-code="{code}"' not in page("/ripeness?condition=T")
    for address in ("/estate", "/today", "/visits", "/cutting", "/outlook"):
        assert not re.search(r"[>\s(](nan|None|inf)[<\s)]", page(address)), address
    assert f'/plots/{code}"' not in page("/visits")


def invoked(db, *command, language="en"):
    from click.testing import CliRunner

    from webapp.cli import main_group
    from webapp.database import path_of

    done = CliRunner().invoke(main_group, ["--estate", str(path_of(db)), "--lang", language, *command])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_exports_leave_blank_what_would_be_said_of_its_plants_until_they_stand(office):
    page, db, code = office
    spoken = {"condition", "mean_brix_deg", "low80_brix_deg", "high80_brix_deg", "ripe_share", "ripe_share_low80", "ripe_share_high80", "chance_ripe"}
    for row in crop.rows(db, 105, code):
        before = monday_of(row["week"]).toordinal() + 3 < PLANTED.toordinal()
        assert {name for name, value in row.items() if value is None} == (spoken if before else set()), row["week"]
    cells = page("/export/plots.csv").splitlines()
    assert next(line for line in cells if line.startswith(f"{code},")).split(",")[2:10] == [""] * 8


def test_the_map_gives_it_a_mark_of_its_own_in_every_layer(office):
    from tests.pages.test_map import runs, unpacked

    page, db, code = office
    reply = page("/map/plots.bin", raw=True)
    head, parts = unpacked(reply)
    state = runs(parts["state"], len(head["weeks"]))
    assert set(state[head["codes"].index(code)]) == {70} and 70 not in state[[i for i, c in enumerate(head["codes"]) if c != code]]
    of = len(head["codes"]) - 1
    for layer in ("share", "chance", "mass", "unvisited", "sick"):
        body = page(f"/map?layer={layer}&lang=es")
        assert "<b>S</b> todavía no plantada" in body
        row = re.search(rf'<tr data-code="{code}">.*?</tr>', page(f"/map/table?layer={layer}&lang=es&list=one"), re.S)[0]
        assert "todavía no plantada" in row and not re.search(r">\s*\d+ %", row) and 'class="letter' not in row, layer
        assert f'data-code="{code}"' not in page(f"/map/table?layer={layer}&only=hatched&lang=es")
    assert f"de {of} tablas" in re.search("<h1[^>]*>(.*?)</h1>", page("/map?lang=es"))[1]


@pytest.mark.parametrize("language", ["es", "en"])
def test_the_estates_page_counts_it_apart(office, language):
    page, db, code = office
    body = page(f"/estate?lang={language}")
    standing = len(ripeness.answer(db).meta["plots"]) - 1
    assert (f"en pie en {standing} tablas" if language == "es" else f"on {standing} plots") in re.search("<h1>(.*?)</h1>", body)[1]
    assert ("Falta por plantar 1 tabla" if language == "es" else "1 plot is not planted yet") in re.search(r'id="to-come">(.*?)</p>', body)[1]
    assert f'/plots/{code}"' not in body


def test_the_plan_says_that_there_is_nothing_to_cut_and_no_age_below_nought(office):
    from webapp.cutting import explain
    from webapp.cutting.plan import Plan

    _, db, code = office
    problem = cutting.problem_now(db)
    p = problem.plots.index(code)
    said = explain.why(problem, Plan("none", np.zeros(problem.shape), ()), {}, p)
    assert [s.code for s in said] == ["cutting.why.unplanted"]
    assert "not planted yet" in said[0].text("en") and "in 6 months" in said[0].text("en") and "todavía no se planta" in said[0].text("es")


@pytest.mark.parametrize("language, word", [("es", "todavía no plantada"), ("en", "not planted yet")])
def test_the_command_line_says_so_and_gives_no_figure(office, language, word):
    _, db, code = office
    line = next(line for line in invoked(db, "ripeness", language=language).splitlines() if line.startswith(code))
    assert line.split(maxsplit=1)[1] == word
    assert invoked(db, "ripeness", "--plot", code, language=language).split(maxsplit=1) == [code, f"{word}\n"]
    row = json.loads(invoked(db, "ripeness", "--plot", code, "--json"))
    assert row["short_of"] == [] and row["plots"][0]["planted"] is False and row["plots"][0]["mean_brix_deg"] is None and row["plots"][0]["why"] == []
    others = json.loads(invoked(db, "ripeness", "--json"))["plots"]
    assert sum(not one["planted"] for one in others) == 1 and all((one["mean_brix_deg"] is None) != one["planted"] for one in others)


def test_nobody_is_sent_there(office):
    from webapp.crop import worth_service as worth

    _, db, code = office
    listed = [row["code"] for row in worth.visits_worth_making(db, 10_000)]
    assert code not in listed and len(listed) == len(ripeness.answer(db).meta["plots"]) - 1
    assert code not in {stop["code"] for stop in worth.morning(db)["stops"]} | {row["code"] for week in worth.by_week(db, 10_000) for row in week}
    assert code not in ripeness.prior_for_phone(db)
