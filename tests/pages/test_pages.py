"""Pages speak both languages, parse as HTML, mark what is old, and agree with each other and the command line."""

import json
import re

import html5lib
import pytest
from click.testing import CliRunner

from .test_map import series, unpacked

PAGES = ["/today", "/estate", "/track", "/map", "/ripeness", "/plots/VS-04", "/held", "/cutting", "/orders", "/outlook", "/sales", "/land", "/people", "/settings", "/method", "/trail", "/sign-in"]


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("language", ["es", "en"])
def test_page_is_sound_html(sign_in, path, language):
    reply = sign_in("jefa").get(f"{path}?lang={language}")
    body = reply.get_data(as_text=True)
    assert reply.status_code == 200
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(body)
    errors = [e for e in parser.errors if e[1] != "unexpected-null-character"]
    assert not errors, errors[:5]
    assert f'<html lang="{"es-MX" if language == "es" else "en"}">' in body
    ids = re.findall(r'\bid="([^"]+)"', body)
    assert len(ids) == len(set(ids)), sorted(i for i in ids if ids.count(i) > 1)[:5]
    for word in ("nan", "None", "inf", "undefined"):
        assert not re.search(rf"[>\s]{word}[<\s%]", body), (word, path)


def cli(path, *words):
    from webapp.cli import main_group

    done = CliRunner().invoke(main_group, ["--estate", str(path), *words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


def test_one_number_everywhere(demo_site, sign_in):
    """The ripe share of one plot in one week: list, plot page, map data, map table, export and command line."""
    path = demo_site.config["ESTATE"]
    client, code, week = sign_in("jefa"), "VS-04", "2026-W48"
    told = json.loads(cli(path, "ripeness", "--plot", code, "--week", week, "--json"))["plots"][0]
    share = round(100 * told["ripe_share"])
    as_text = f"{100 * told['ripe_share']:,.0f} %"
    row = re.search(rf'data-code="{code}".*?</tr>', client.get("/ripeness").get_data(as_text=True), re.S)[0]
    assert as_text in row and f"{told['mean_brix_deg']:,.1f}" in row
    assert re.search(r'id="share-today">([^<]+)<', client.get(f"/plots/{code}").get_data(as_text=True))[1] == as_text
    head, figures = unpacked(client.get("/map/plots.bin").get_data())[0], unpacked(client.get("/map/weeks.bin").get_data())[1]
    assert series(figures["share"], len(head["weeks"]))[head["codes"].index(code), head["weeks"].index(week)] == share
    twin = re.search(rf'data-code="{code}".*?</tr>', client.get(f"/map/table?week={week}").get_data(as_text=True), re.S)[0]
    assert as_text in twin
    exported = next(r for r in client.get("/export/plots.json").get_json(force=True) if r["plot"] == code and r["week"] == week)
    assert exported["ripe_share"] == pytest.approx(told["ripe_share"], abs=1e-4)


@pytest.mark.parametrize("login, offered", [("jefa", True), ("jimador", False)])
def test_the_file_of_all_weeks_is_offered_to_who_may_take_it(demo_site, sign_in, login, offered):
    """Walk 6 ends with the same answer in an export: the way there stands under the list and the full table."""
    client = sign_in(login)
    for page in ("/ripeness", "/map/table?week=2027-W10"):
        reply = client.get(page)
        links = re.findall(r'href="(/export/plots\.\w+)"', reply.get_data(as_text=True))
        assert links == (["/export/plots.csv", "/export/plots.json"] if offered and reply.status_code == 200 else []), (page, reply.status_code)
        assert all(client.get(link).status_code == 200 for link in links)
    assert offered == (client.get("/export/plots.csv").status_code == 200)


def test_tonnes_agree(demo_site, sign_in):
    path = demo_site.config["ESTATE"]
    client, code = sign_in("jefa"), "VS-04"
    shown = re.search(r'id="mass-today">([\d,]+) t', client.get(f"/plots/{code}").get_data(as_text=True))[1]
    row = re.search(rf'data-code="{code}".*?</tr>', client.get("/ripeness").get_data(as_text=True), re.S)[0]
    assert f'<td class="n" data-head="Toneladas">{shown}<' in row
    exported = next(r for r in client.get("/export/plots.json").get_json(force=True) if r["plot"] == code)
    assert f"{exported['mass_t']:,.0f}" == shown


def test_settings_refuse_nonsense_and_change_nothing(demo_path):
    from webapp import create_app

    client = create_app(demo_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"})
    wrong = client.post("/settings", data={"target_brix_deg": "noventa"})
    assert wrong.status_code == 422 and "no es un número" in wrong.get_data(as_text=True) and 'value="noventa"' in wrong.get_data(as_text=True)
    assert client.post("/settings", data={"target_brix_deg": "23,5"}).status_code == 303
    page = client.get("/settings").get_data(as_text=True)
    assert 'value="23.5"' in page and "Aurelia Montes" in page
    later = client.get("/ripeness").get_data(as_text=True)
    assert "Se está recalculando" in later, "an answer that rests on older settings is marked so"


def test_held_record_is_mended_from_its_page(demo_path):
    from webapp import create_app
    from webapp.database import open_estate
    from webapp.survey import service as survey

    client = create_app(demo_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "agronoma", "password": "madurez-de-tabla"})
    db = open_estate(demo_path)
    slipped = next(h for h in survey.held(db) if h["code"] == "above")
    before = len(survey.held(db))
    body = client.get("/held").get_data(as_text=True)
    assert slipped["id"] in body and str(slipped["proposal"]["brix_raw_deg"]) in body
    reply = client.post(f"/held/{slipped['id']}/mend", data={"f.brix_raw_deg": str(slipped["proposal"]["brix_raw_deg"]), "was.brix_raw_deg": str(slipped["shown"]["brix_raw_deg"])})
    assert reply.status_code == 303 and len(survey.held(db)) == before - 1
    assert client.get(f"/records/{slipped['id']}").status_code == 200


def test_a_page_without_anything_still_answers(tmp_path):
    """An empty estate: every page opens and says what to do first."""
    from webapp import create_app
    from webapp.database import open_estate
    from webapp.people import service as people

    db = open_estate(tmp_path / "empty.db", create=True)
    people.setup(db, "Rancho nuevo", "America/Mexico_City")
    people.add_person(db, "Ana", "ana", "cuatro palabras bien largas", ("head", "keeper"), by="x")
    client = create_app(tmp_path / "empty.db", testing=True).test_client()
    client.post("/sign-in", data={"login": "ana", "password": "cuatro palabras bien largas"})
    for path in PAGES:
        if not path.startswith("/plots"):
            assert client.get(path).status_code == 200, path


def test_a_planner_asks_for_a_plan_and_publishes_its_orders(demo_path):
    """From the button to printed orders: the job runs, the plan shows, the orders carry crews, trucks and cautions."""
    from webapp import create_app, jobs
    from webapp.database import open_estate
    from webapp.settings import change
    from webapp.work import KINDS

    db = open_estate(demo_path)
    change(db, {"plan_seconds": 5}, "prueba")
    client = create_app(demo_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "planeador", "password": "plan-de-jima"})
    assert client.post("/cutting/make").status_code == 303
    waiting = client.get("/cutting").get_data(as_text=True)
    assert "data-job" in waiting
    while jobs.run_next(db, KINDS) is not None:
        pass
    assert jobs.recent(db, 1)[0]["state"] == "done", jobs.recent(db, 1)[0]["result"]
    shown = client.get("/cutting").get_data(as_text=True)
    total = re.search(r'id="plan-total">([\d,]+) t', shown)[1]
    told = json.loads(cli(demo_path, "cutting", "show", "--json"))
    assert f"{sum(w['delivered_t'] for w in told['weeks']):,.0f}" == total and told["made_by"] == "Tomás Barragán"
    assert client.post(f"/cutting/{told['id']}/publish", data={"weeks": "1"}).status_code == 303
    orders = client.get("/orders").get_data(as_text=True)
    assert orders.count('class="sheet"') >= 1 and "Cuidado" in orders and "reglamentos" in orders
    assert client.get("/today").status_code == 200
    calendar = client.get("/cutting/plan.ics").get_data(as_text=True)
    assert calendar.startswith("BEGIN:VCALENDAR") and all(len(line.encode()) <= 75 for line in calendar.split("\r\n"))


def test_pages_hold_while_a_refit_is_half_done(demo_path):
    """A plot newer than the answers, and answers of different ages: pages show one set, never an error."""
    from webapp import create_app
    from webapp.database import open_estate
    from webapp.land import service as land
    from webapp.ripeness import service as ripeness

    db = open_estate(demo_path)
    ring = [[-102.5, 20.9], [-102.497, 20.9], [-102.497, 20.903], [-102.5, 20.903], [-102.5, 20.9]]
    feature = {"type": "Feature", "properties": {"code": "AA-01", "name": "Nueva", "planted_on": "2020-07-01"}, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": [feature]}).encode(), "n.geojson"), "Ana")
    client = create_app(demo_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "jefa", "password": "jefa-del-rancho"})
    for moment in ("before any refit", "ripeness alone refitted"):
        for path in ("/map", "/map/plots.bin", "/map/weeks.bin", "/map/table", "/ripeness", "/plots/AA-01", "/plots/VS-04", "/cutting", "/today", "/export/plots.csv"):
            reply = client.get(path)
            assert reply.status_code == 200, (moment, path)
        assert "jimada" not in client.get("/plots/AA-01").get_data(as_text=True).split("</h1>")[0]
        ripeness.fit(db)


def test_a_file_of_unsent_records_is_read_on_the_page_and_twice_doubles_nothing(demo_site, sign_in):
    from io import BytesIO

    from webapp.database import open_estate
    from webapp.survey import service as survey

    client, db = sign_in("agronoma"), open_estate(demo_site.config["ESTATE"])
    name = "019a0000-0000-7000-8000-0000000000f1"
    line = json.dumps({"id": name, "install": "019a0000-0000-7000-8000-0000000000aa", "seq": 1, "kind": "remark", "plot": "VS-04", "taken_at": "2026-11-22T09:00:00-06:00", "text": "Se cayó el puente"}).encode() + b"\n"
    for said in ("1 en uso, 0 ya estaban", "0 en uso, 1 ya estaban"):
        reply = client.post("/held/file", data={"file": (BytesIO(line), "pinario-1.jsonl")}, content_type="multipart/form-data", follow_redirects=True)
        assert reply.status_code == 200 and said in reply.get_data(as_text=True)
    bad = client.post("/held/file", data={"file": (BytesIO(b"\x00\x01 esto no es"), "foto.jsonl")}, content_type="multipart/form-data")
    assert 400 <= bad.status_code < 500 and 'role="alert"' in bad.get_data(as_text=True)
    survey.take_out(db, name, "prueba", "era una prueba")
    db.conn.close()


def test_choices_of_a_record_are_mended_by_their_words(demo_path):
    """A page in Spanish shows "sí", not the stored "yes"; choosing another mends it, and leaving all as it is mends nothing."""
    from webapp import create_app
    from webapp.database import open_estate, rows

    client = create_app(demo_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "agronoma", "password": "madurez-de-tabla"})
    address = re.search(r'href="(/held\?group=\w+)"', client.get("/held").get_data(as_text=True))[1]
    body = client.get(address).get_data(as_text=True)
    assert re.search(r'<select name="f\.atc">.*?<option value="(yes|no)" selected>(sí|no)</option>', body, re.S) and not re.search(r'<input name="f\.atc"', body)
    assert not re.search(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2} <a|\d{4}-\d{2}-\d{2}T\d{2}:\d{2}</span>", body), "when it came is told in the estate's own time"
    record = rows(open_estate(demo_path), "SELECT id FROM record WHERE kind = 'round' AND state = 'kept' AND taken_at > '2026-10' LIMIT 1")[0]["id"]
    page = client.get(f"/records/{record}").get_data(as_text=True)
    now = re.search(r'<select name="f\.atc">.*?<option value="(\w+)" selected>', page, re.S)[1]
    same = dict(re.findall(r'<input type="hidden" name="was\.(\w+)" value="([^"]*)"', page))
    sent = {f"was.{name}": value for name, value in same.items()} | {f"f.{name}": value for name, value in same.items()}
    assert client.post(f"/records/{record}/correct", data=sent).status_code == 422
    assert client.post(f"/records/{record}/correct", data=sent | {"f.atc": "no" if now == "yes" else "yes"}).status_code == 303
