"""The map's packed data says what the answers say; its list, table and headline add up; what is packed can be unpacked."""

from __future__ import annotations

import json
import re
from html import unescape

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from tests.journeys.sentences import found
from webapp.pages import map_packed

WEEK = "2027-W07"


def varints(data: bytes) -> list[int]:
    out, value, shift = [], 0, 0
    for byte in data:
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            out.append(value)
            value = shift = 0
    return out


def plain(values: list[int]) -> np.ndarray:
    return np.array([(v >> 1) ^ -(v & 1) for v in values], int)


def series(data: bytes, weeks: int) -> np.ndarray:
    return plain(varints(data)).reshape(-1, weeks).cumsum(axis=1)


def unpacked(data: bytes) -> tuple[dict, dict[str, bytes]]:
    size = int.from_bytes(data[:4], "little")
    head, parts, at = json.loads(data[4: 4 + size]), {}, 4 + size
    for name, length in head["sections"]:
        parts[name] = data[at: at + length]
        at += length
    assert at == len(data)
    return head, parts


def runs(data: bytes, weeks: int) -> np.ndarray:
    return np.concatenate([np.full(lasts, value) for value, lasts in zip(data[::2], data[1::2])]).reshape(-1, weeks)


@given(st.lists(st.lists(st.integers(-10**6, 10**6), min_size=5, max_size=5), min_size=1, max_size=8))
def test_figures_come_back_as_they_were(rows):
    assert (series(map_packed.series(np.array(rows)), 5) == np.array(rows)).all()


@given(st.lists(st.lists(st.integers(0, 69), min_size=26, max_size=26), min_size=1, max_size=5))
def test_conditions_come_back_as_they_were(rows):
    packed = map_packed.runs(np.array(rows))
    assert (runs(packed, 26) == np.array(rows)).all()


def test_a_condition_that_stays_takes_two_bytes_a_plot():
    assert len(map_packed.runs(np.full((100, 26), 7))) == 200 and map_packed.runs(np.zeros((0, 26))) == b""


def test_outlines_with_holes_and_parts_come_back_within_half_a_grid_step():
    square = lambda x, y, s: [[x, y], [x + s, y], [x + s, y + s], [x, y + s], [x, y]]  # noqa: E731
    with_hole = {"type": "Polygon", "coordinates": [square(-103.123456, 20.654321, 0.01), square(-103.12, 20.66, 0.002)]}
    two_parts = {"type": "MultiPolygon", "coordinates": [[square(-103.2, 20.5, 0.003)], [square(-103.3, 20.4, 0.004)]]}
    nowhere = {"type": "MultiPolygon", "coordinates": []}
    counts, steps = map_packed.outlines([with_hole, nowhere, two_parts])
    assert varints(counts) == [2, 4, 4, 0, 2, 4, 4]
    corners = plain(varints(steps)).reshape(-1, 2).cumsum(axis=0) / map_packed.GRID_PER_DEGREE
    wanted = np.concatenate([np.array(ring)[:-1] for g in (with_hole["coordinates"], *two_parts["coordinates"]) for ring in g])
    assert np.abs(corners - wanted).max() <= 0.5 / map_packed.GRID_PER_DEGREE + 1e-12


@pytest.fixture(scope="module")
def told(demo_site):
    """What a person with the map's page gets, and what export and command line say of one week."""
    from webapp.cli import main_group
    from webapp.commands.seeding import SIGN_INS

    client = demo_site.test_client()
    client.post("/sign-in", data={"login": "jefa", "password": next(p for _, login, p, _ in SIGN_INS if login == "jefa")})
    done = CliRunner().invoke(main_group, ["--estate", str(demo_site.config["ESTATE"]), "ripeness", "--week", WEEK, "--json"], catch_exceptions=False)
    return {"client": client, "ripeness": {r["plot"]: r for r in json.loads(done.stdout)["plots"]}, "export": {r["plot"]: r for r in client.get("/export/plots.json").get_json(force=True) if r["week"] == WEEK},
            "head": unpacked(client.get("/map/plots.bin").get_data())[0], "plots": unpacked(client.get("/map/plots.bin").get_data())[1],
            "weeks_head": unpacked(client.get("/map/weeks.bin").get_data())[0], "weeks": unpacked(client.get("/map/weeks.bin").get_data())[1]}


def page(told, address):
    return told["client"].get(address).get_data(as_text=True)


def test_map_command_line_and_export_say_one_thing_of_a_week(told):
    codes, weeks = told["head"]["codes"], told["head"]["weeks"]
    at = weeks.index(WEEK)
    assert codes == sorted(told["ripeness"]) and set(codes) == set(told["export"])
    figure = {name: series(part, len(weeks))[:, at] for name, part in told["weeks"].items() if name != "mass_wide"}
    state = runs(told["plots"]["state"], len(weeks))[:, at]
    for i, code in enumerate(codes):
        one, export = told["ripeness"][code], told["export"][code]
        assert figure["share"][i] == round(100 * one["ripe_share"]) and figure["low"][i] == round(100 * one["ripe_share_low80"]) and figure["high"][i] == round(100 * one["ripe_share_high80"])
        assert figure["chance"][i] == round(100 * one["chance_ripe"])
        assert abs(figure["mass"][i] - export["mass_t"]) <= 0.51 and abs(figure["mass_low"][i] - export["mass_low80_t"]) <= 0.51 and abs(figure["mass_high"][i] - export["mass_high80_t"]) <= 0.51
        assert "TECMP"[state[i] // 7 % 5] == one["condition"] == export["condition"]
        assert (state[i] >= 35) == (one["ripe_share_high80"] - one["ripe_share_low80"] > 0.30)


def test_the_full_table_says_what_the_picture_draws(told):
    html, weeks = page(told, f"/map/table?week={WEEK}"), told["head"]["weeks"]
    at, codes = weeks.index(WEEK), told["head"]["codes"]
    share, mass = series(told["weeks"]["share"], len(weeks))[:, at], series(told["weeks"]["mass"], len(weeks))[:, at]
    rows = re.findall(r'<tr data-code="([^"]+)">(.*?)</tr>', html, re.S)
    assert sorted(code for code, _ in rows) == codes
    for code, row in rows:
        i = codes.index(code)
        assert f'data-head="Plantas maduras">{share[i]} %</td>' in row and f'data-head="Toneladas">{mass[i]:,}</td>' in row, code
        weeks_without = told["weeks_head"]["unvisited"][i]
        assert f'data-head="Semanas sin muestreo">{"nunca" if weeks_without < 0 else weeks_without + at}</td>' in row
    ripe = [code for code, _ in re.findall(r'<tr data-code="([^"]+)">(.*?)</tr>', page(told, f"/map/table?week={WEEK}&only=ripe"), re.S)]
    assert set(ripe) == {code for code in codes if told["ripeness"][code]["ripe_share"] >= 0.5} and ripe == sorted(ripe, key=lambda code: (-share[codes.index(code)], code))
    assert f"Maduras esa semana ({len(ripe)})" in html and f"Todas ({len(codes)})" in html


@pytest.mark.parametrize("layer", ["share", "chance", "mass", "unvisited", "sick"])
def test_every_layer_has_headline_legend_and_rows_without_any_script(told, layer):
    html = page(told, f"/map?week={WEEK}&layer={layer}")
    said = json.loads(re.search(r'id="said">(.*?)</script>', html, re.S)[1])
    at = told["head"]["weeks"].index(WEEK)
    assert f'<h1 id="answer">{said["layers"][layer]["titles"][at]}</h1>' in re.sub(r'<span class="week">([^<]*)</span>', r"\1", html)
    assert f'data-layer="{layer}" aria-current="true"' in html and re.search(rf'<div class="keys" data-key="{layer}">', html)
    rows = re.findall(r'<tr data-year="\d+"><th scope="row">[^<]+</th>(.*?)</tr>', html)
    assert [[unescape(cell) for cell in re.findall(r">([^<]*)</td>", row)] for row in rows] == said["layers"][layer]["cells"][at]
    assert sum(int(row[0].replace(",", "")) for row in said["layers"][layer]["cells"][at]) == len(told["head"]["codes"])


def test_years_add_up_to_the_headline(told):
    from webapp.crop import service as crop
    from webapp.database import open_estate

    html = page(told, f"/map?week={WEEK}")
    said = json.loads(re.search(r'id="said">(.*?)</script>', html, re.S)[1])
    at = told["head"]["weeks"].index(WEEK)
    number = lambda text: float(text.replace(",", ""))  # noqa: E731
    ripe = sum(number(row[1]) for row in said["layers"]["share"]["cells"][at])
    assert found(said["layers"]["share"]["titles"][at], "pages.map.title")["n"] == ripe
    db = open_estate(told["client"].application.config["ESTATE"])
    total = float(crop.answer(db).arrays["mass_total"][at])
    db.conn.close()
    rows = [number(row[1]) for row in said["layers"]["mass"]["cells"][at]]
    assert sum(rows) == pytest.approx(total, abs=len(rows)) and f"{total:,.0f} t en pie" in said["layers"]["mass"]["titles"][at]


def test_sick_plots_are_those_of_the_last_counts(told):
    from webapp.database import open_estate
    from webapp.survey import service as survey

    db = open_estate(told["client"].application.config["ESTATE"])
    counts = survey.row_counts(db)
    db.conn.close()
    checked = 0
    for code, seen in zip(told["head"]["codes"], told["weeks_head"]["sick"]):
        mine = counts[counts["plot"] == code]
        if not len(mine):
            assert seen is None
            continue
        last = mine[mine["day"] == mine["day"].max()]
        sick = last[["sick_wilt", "sick_bud_rot", "sick_weevil"]].sum().sum()
        assert seen[0] == pytest.approx(100 * sick / last["plants_standing"].sum(), abs=0.051) and seen[3] == str(mine["day"].max())
        assert (seen[2] is None) == (sick == 0)
        checked += 1
    assert checked > 50


@pytest.mark.parametrize("layer", ["share", "mass", "unvisited", "sick"])
def test_hatched_plots_are_named(told, layer):
    """The headline names a single plot of which little is known; the line under the map names the first six of every layer; the full table shows all of them."""
    week = told["head"]["weeks"][15]
    html, at = page(told, f"/map?week={week}&layer={layer}"), 15
    codes, names = told["head"]["codes"], told["head"]["names"]
    wide = {"share": runs(told["plots"]["state"], len(told["head"]["weeks"]))[:, at] >= 35, "mass": runs(told["weeks"]["mass_wide"], len(told["head"]["weeks"]))[:, at] == 1, "unvisited": np.array(told["weeks_head"]["unvisited"]) < 0, "sick": np.array([s is None for s in told["weeks_head"]["sick"]])}[layer]
    wanted = {code for code, is_wide in zip(codes, wide) if is_wide}
    line = re.search(r'<p class="hatched" id="hatched">(.*?)</p>', html, re.S)[1]
    shown = re.findall(r'data-plot="([^"]+)">([^<]+)</a>', line)
    assert wanted and len(shown) == min(len(wanted), 6) and {code for code, _ in shown} <= wanted
    assert all(text == f"{names[codes.index(code)]}, {code}" for code, text in shown)
    rows = re.findall(r'<tr data-code="([^"]+)">', page(told, f"/map/table?week={week}&layer={layer}&only=hatched"))
    assert set(rows) == wanted and len(rows) == len(wanted)
    if layer == "share":
        said = json.loads(re.search(r'id="said">(.*?)</script>', html, re.S)[1])["layers"]["share"]["titles"]
        counts = (runs(told["plots"]["state"], len(told["head"]["weeks"])) >= 35).sum(axis=0)
        assert 1 in counts and all(("se sabe poco" in title) == (n > 0) for title, n in zip(said, counts))
        one = int(np.flatnonzero(counts == 1)[0])
        code = codes[int(np.flatnonzero(runs(told["plots"]["state"], len(told["head"]["weeks"]))[:, one] >= 35)[0])]
        assert said[one].endswith(f"; se sabe poco de {names[codes.index(code)]}, {code}")


def test_the_visits_beside_the_map_are_of_the_week_shown(told):
    """Today's visits that narrow most, in an hour, what is ripe in that week; every other week came with the page."""
    from webapp.crop import worth_service as worth
    from webapp.database import open_estate

    db = open_estate(told["client"].application.config["ESTATE"])
    weeks = worth.by_week(db, 5)
    db.conn.close()
    for rows in weeks:
        rates = [(row["half_t"] - row["half_after_t"]) / row["minutes"] for row in rows]
        assert rates == sorted(rates, reverse=True) and all(round(row["half_after_t"]) < round(row["half_t"]) for row in rows)
    seen = []
    for at in (0, 12, 25):
        html = page(told, f"/map?week={told['head']['weeks'][at]}")
        part = re.search(r'<section id="visits".*?</section>', html, re.S)[0]
        assert re.sub(r"<[^>]+>", "", re.search(r'id="visits-title">(.*?)</h2>', part)[1]).endswith(told["head"]["weeks"][at])
        rows = re.findall(r'<tr data-code="([^"]+)">.*?<td>(de ±[^<]*)</td></tr>', part)
        assert rows == [(row["code"], f"de ±{round(row['half_t']):,} a ±{round(row['half_after_t']):,} t") for row in weeks[at]] and len(rows) == 5
        said = json.loads(re.search(r'id="visits-said">(.*?)</script>', html, re.S)[1])
        assert [[told["head"]["codes"][i] for i, *_ in shown] for shown in said["weeks"]] == [[row["code"] for row in shown] for shown in weeks]
        seen.append([code for code, _ in rows])
    assert seen[0] != seen[1] != seen[2]


def test_data_are_sent_small_and_not_twice(told):
    first = told["client"].get("/map/plots.bin", headers={"Accept-Encoding": "gzip"})
    assert first.headers["Content-Encoding"] == "gzip" and first.headers["Cache-Control"] == "private, no-cache"
    again = told["client"].get("/map/plots.bin", headers={"Accept-Encoding": "gzip", "If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304 and not again.data
    assert told["client"].get("/map/outlines.bin").status_code == 404


def test_an_unknown_week_or_layer_is_the_first(told):
    wrong, plain_one = (re.search(r"<h1.*</main>", page(told, address), re.S)[0] for address in ("/map?week=1999-W01&layer=gold", "/map"))
    said = re.search(r'<p class="note" role="status">[^<]*1999-W01[^<]*</p>', wrong)[0]
    assert "1999-W01" not in plain_one and wrong.replace(said, "") == plain_one


def test_an_estate_with_nothing_or_without_outlines_and_dates_still_has_a_map(db, estate_path):
    """No plots, then plots of a table (no outline, no date): nothing fails and nothing is not a number."""
    from webapp import create_app
    from webapp.land import service as land
    from webapp.people import service as people

    people.add_person(db, "Rosa", "rosa", "una clave larga 1", ("head",), by="prueba")
    client = create_app(estate_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "rosa", "password": "una clave larga 1"})
    for plots in (0, 1):
        if plots:
            land.load(db, land.read(b'{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {"code": "A-1"}, "geometry": {"type": "Polygon", "coordinates": [[[-103, 20], [-102.99, 20], [-102.99, 20.01], [-103, 20]]]}}]}', "a.geojson"), "prueba")
            from webapp.work import estimates

            estimates(db)
        for address in ("/map", "/map?layer=mass", "/map?layer=unvisited", "/map?layer=sick", "/map/table"):
            body = client.get(address).get_data(as_text=True)
            assert "</html>" in body and not re.search(r"\bnan\b", body, re.I), address
        head, parts = unpacked(client.get("/map/plots.bin").get_data())
        assert len(head["codes"]) == plots == len(unpacked(client.get("/map/weeks.bin").get_data())[0]["unvisited"])
        assert varints(parts["counts"]) == ([1, 3] if plots else [])


@pytest.mark.parametrize("role, ways", [("head", {"/land", "/people"}), ("agronomist", {"/land"}), ("crew_lead", set())])
def test_an_empty_map_says_what_to_do_next(db, estate_path, role, ways):
    """Links for those who may load outlines or enrol a phone to walk them, whom to ask for the rest; no strip, no layers, no picture of nothing."""
    from webapp import create_app
    from webapp.people import service as people

    people.add_person(db, "Rosa", "rosa", "una clave larga 1", (role,), by="prueba")
    client = create_app(estate_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "rosa", "password": "una clave larga 1"})
    for lang, title in (("es", "El mapa aún no tiene tablas"), ("en", "The map has no plots yet")):
        answered = client.get(f"/map?lang={lang}")
        main = re.search(r"<main.*</main>", answered.get_data(as_text=True), re.S)[0]
        assert answered.status_code == 200 and f'<h1 id="answer">{title}</h1>' in main
        assert set(re.findall(r'href="([^"]+)"', main)) == ways and all(client.get(way).status_code == 200 for way in ways)
        assert "map-frame" not in main and 'class="layers"' not in main and "<script" not in main
        assert ways or "jefatura" in main or "the head" in main
