"""For the sentences on pages: change what they rest on, and the number in the sentence moves, the right way."""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path

import pytest

from webapp import create_app, settings
from webapp.cutting import service as cutting
from webapp.database import atomic, open_estate
from webapp.outlook import service as outlook
from webapp.ripeness import service as ripeness
from webapp.tonnage import service as tonnage
from webapp.work import estimates

from . import phone
from .sentences import found, text_of

DEMO = Path(__file__).resolve().parents[2] / "demo_fields"
STEPS = ("start", "records", "target", "need", "weeks")


@pytest.fixture(scope="module")
def told(demo_made, tmp_path_factory):
    """``told(step, page, code)`` → the numbers of a sentence on a page after a step; every step changes one kind of input."""
    path = shutil.copy(demo_made, tmp_path_factory.mktemp("said") / "demo.db")
    db = open_estate(path)
    settings.change(db, {"futures": 100}, "prueba")
    estimates(db)
    ripe = ripeness.answer(db)
    balance = tonnage.answer(db).meta["by_plot"]
    plot = next(code for i, code in enumerate(ripe.meta["plots"]) if 0.1 < ripe.arrays["share"][i, 0] < 0.9 and ripe.meta["by_plot"][code]["borrowed_share"] > 0.08  # a round still teaches whole per cents
                and ripe.meta["by_plot"][code]["last_visit"] and ripe.meta["by_plot"][code]["last_visit"] < "2026-11-10" and balance[code]["balance"]["count_z"] is not None)
    app = create_app(path, testing=True)
    office = app.test_client()
    office.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"})
    pages = ("/today", "/map", "/ripeness", f"/plots/{plot}", "/cutting", "/outlook")
    said = {}

    def look(step: str) -> None:
        for page in pages:
            reply = office.get(page)
            assert reply.status_code == 200
            said[step, "/plot" if page.startswith("/plots") else page] = text_of(reply.get_data(as_text=True))

    cutting.make_plan(db, seconds=3)
    outlook.made(db)
    look("start")

    log = phone.Log()
    mean = float(ripe.arrays["mean_deg"][ripe.meta["plots"].index(plot), 0])
    log.round_of_twelve(plot, mean + 1.5, "2026-11-21")
    at = "2026-11-21T10:00:00-06:00"
    log.add("loss", plot, at, cause="theft", plants=700)
    log.add("labor", plot, at, labor="replanting", plants=300)
    log.add("load", plot, at, plants=400, gross_kg=24000, tare_kg=12000, net_kg=12000, ticket="J-1", clearing=False, cut_style="short")
    log.add("reading", plot, at, brix_raw_deg=260.0, juice_temp_c=20.0)
    log.seq += 3
    log.add("remark", plot, at, text="tres registros antes de éste no llegaron")
    reply = phone.enrolled(app, db).post("/field/records", data=log.body(), content_type="application/json")
    assert [r["status"] for r in reply.json["results"]].count("held") == 1
    estimates(db)
    look("records")

    settings.change(db, {"target_brix_deg": settings.load(db)["target_brix_deg"] + 1.5}, "prueba")
    estimates(db)
    look("target")

    rows = list(csv.DictReader(io.StringIO((DEMO / "sales.csv").read_text(encoding="utf-8"))))
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows({**row, "litres": f"{1.2 * float(row['litres']):.1f}"} for row in rows)
    outlook.load_sales(db, out.getvalue().encode(), "sales.csv", "prueba")
    settings.change(db, {"need_t_week": 1.3 * settings.load(db)["need_t_week"], "replanting_share": 0.10}, "prueba")
    cutting.make_plan(db, seconds=3)
    outlook.made(db)
    look("need")

    with atomic(db):
        db.execute("UPDATE estate SET frozen_today = '2026-12-14'")
    estimates(db)
    look("weeks")
    yield lambda step, page, code: found(said[step, page], code)
    db.conn.close()


def both(told, first: str, later: str, page: str, code: str) -> tuple[dict, dict]:
    before, after = told(first, page, code), told(later, page, code)
    assert before is not None, f"{page} does not say {code} at {first}"
    assert after is not None, f"{page} does not say {code} at {later}"
    return before, after


def test_why_a_plot_is_as_it_is(told):
    before, after = both(told, "start", "records", "/plot", "ripeness.why.visits")
    assert after["n"] == before["n"] + 1 and after["days"] == 2 < before["days"] and after["plants"] == 12
    before, after = both(told, "start", "records", "/plot", "ripeness.why.own")
    assert after["own"] > before["own"], "a visit makes the answer more the plot's own"
    before, after = both(told, "start", "records", "/plot", "ripeness.visit.one_more")
    assert after["before"] < before["before"]
    before, after = both(told, "records", "weeks", "/plot", "ripeness.why.visits")
    assert after["days"] == before["days"] + 21
    before, after = both(told, "records", "weeks", "/plot", "ripeness.why.season")
    assert after["now_deg"] > before["now_deg"], "from November to December the season gives more sugar"


def test_the_account_of_plants(told):
    before, after = both(told, "start", "records", "/plot", "tonnage.balance")
    assert after["recorded"] == before["recorded"] + 700 and after["replanted"] == before["replanted"] + 300
    assert after["cut"] == pytest.approx(before["cut"] + 400, abs=25), "older loads without a count are counted by their mass, which the new one moves a little"
    assert before["standing"] - 900 < after["standing"] < before["standing"] - 700
    for told_of in (before, after):
        left = told_of["planted"] + told_of["replanted"] - told_of["cut"] - told_of["recorded"] - told_of["estimated"]
        assert left == pytest.approx(told_of["standing"], abs=3), "each number is rounded to whole plants"


def test_what_today_asks_for(told):
    before, after = both(told, "start", "records", "/today", "pages.today.held")
    assert after["n"] == before["n"] + 1
    assert told("start", "/today", "pages.today.holes") is None or told("start", "/today", "pages.today.holes")["n"] < told("records", "/today", "pages.today.holes")["n"]
    assert told("records", "/today", "pages.today.holes")["n"] >= 1
    before, after = both(told, "start", "records", "/today", "pages.today.title")
    assert after["n"] == before["n"] + (told("start", "/today", "pages.today.holes") is None)
    shorter = told("need", "/today", "pages.today.short")
    assert shorter["need_t"] == pytest.approx(364) and shorter["n"] >= (told("target", "/today", "pages.today.short") or {"n": 0})["n"]


@pytest.mark.parametrize("page, code", [("/map", "pages.map.title"), ("/ripeness", "pages.ripeness.title")])
def test_a_higher_target_makes_fewer_plots_ripe(told, page, code):
    before, after = both(told, "records", "target", page, code)
    assert after["n"] < before["n"] and after["of"] == before["of"]


def test_the_plan_headline(told):
    before = told("start", "/cutting", "pages.cutting.title_short") or {"missing_t": 0.0, "n": 0}
    after = told("need", "/cutting", "pages.cutting.title_short")
    assert after is not None and after["missing_t"] > before["missing_t"] + 100, "the factory asks for three tenths more of fewer ripe plots"


def test_the_outlook_headline_and_its_reasons(told):
    before, after = both(told, "start", "need", "/outlook", "pages.outlook.title")
    assert after["area_ha"] > before["area_ha"], "a fifth more sold"
    for code, name in (("outlook.said.flat", "high"), ("outlook.said.offsets", "offsets"), ("outlook.said.same", "million"), ("outlook.said.worth", "value")):
        before, after = both(told, "start", "need", "/outlook", code)
        assert after[name] != before[name], code
    before, after = both(told, "start", "need", "/outlook", "outlook.said.offsets")
    assert (before["percent"], after["percent"]) == (7, 10)
    assert after["offsets"] > before["offsets"]
