"""One plot's page: sound for every kind of plot, the same numbers as elsewhere, rounds as they were read, and what a correction changed."""

import json
import re
import shutil
from datetime import date, timedelta
from html import unescape

import html5lib
import numpy as np
import pytest

from webapp import settings
from webapp.database import open_estate
from webapp.land import service as land
from webapp.pages import plot_rounds
from webapp.pages.layout import chance, pct
from webapp.pages.picture_curve import Curve, Mark, Round, brix_curve
from webapp.ripeness import service as ripeness
from webapp.ripeness import store as said_store
from webapp.survey import service as survey

TODAY = date(2026, 11, 23)
SLIPPED, HELD, TWICE = "LA-35", "MT-44", "MT-42"
PICTURE = b"\xff\xd8\xff\xe0" + b"0" * 60


@pytest.fixture(scope="module")
def office(demo_made, tmp_path_factory):
    """(path, estate, sign-in) of one copy of the demo for the whole module."""
    from webapp import create_app
    from webapp.commands.seeding import SIGN_INS

    path = shutil.copy(demo_made, tmp_path_factory.mktemp("plot") / "demo.db")
    app, db = create_app(path, testing=True), open_estate(path)

    def enter(login="jefa"):
        client = app.test_client()
        client.post("/sign-in", data={"login": login, "password": next(p for _, name, p, _ in SIGN_INS if name == login)})
        return client

    yield enter, db
    db.conn.close()


def page(client, code, language="es"):
    reply = client.get(f"/plots/{code}?lang={language}")
    assert reply.status_code == 200, code
    return reply.get_data(as_text=True)


def sound(body):
    parser = html5lib.HTMLParser()
    parser.parse(body)
    assert not parser.errors, parser.errors[:3]
    ids = re.findall(r'\bid="([^"]+)"', body)
    assert len(ids) == len(set(ids)), sorted(i for i in ids if ids.count(i) > 1)[:5]
    assert not re.search(r"[>\s\"-](nan|None|inf|undefined)[<\s%\"]", body)
    for path in re.findall(r' d="([^"]+)"', body):
        assert not re.search(r"[a-z]{2}", path), path[:80]


def kinds(db):
    """A plot of each condition, one never visited and one cut."""
    a = ripeness.answer(db)
    found = {int(c): code for code, c in zip(a.meta["plots"], a.arrays["condition"][:, 0]) if a.meta["by_plot"][code]["n_visits"]}
    never = next(c for c in a.meta["plots"] if not a.meta["by_plot"][c]["n_visits"] and a.meta["by_plot"][c]["age_months"] > 40)
    return [*found.values(), never, SLIPPED, HELD, next(iter(land.plots(db).query("status == 'cut'").index))]


@pytest.mark.parametrize("language", ["es", "en"])
def test_every_kind_of_plot_is_sound(office, language):
    enter, db = office
    client = enter()
    for code in kinds(db)[:: 1 if language == "es" else 2]:
        body = page(client, code, language)
        sound(body)
        assert 'id="log"' in body and 'id="said"' in body


def test_weeks_and_figures_are_the_stored_answer(office):
    """Strip, table and figures against the answer that map, list and export read."""
    enter, db = office
    client, code = enter(), "VS-04"
    body, a = page(client, code), ripeness.answer(db)
    i = a.meta["plots"].index(code)
    exported = {r["week"]: r for r in client.get("/export/plots.json").get_json(force=True) if r["plot"] == code}
    rows = dict(re.findall(r'<tr data-week="([^"]+)">(.*?)</tr>', body))
    assert list(rows) == a.meta["weeks"][:26]
    strip = re.search(r'<div class="desk-only"><svg.*?</svg>', body, re.S)[0]
    for w, week in enumerate(rows):
        cells = re.findall(r"<td[^>]*>([^<]*)</td>", rows[week])
        assert cells[4] == f"{100 * a.arrays['share'][i, w]:,.0f} %" and exported[week]["ripe_share"] == pytest.approx(float(a.arrays["share"][i, w]), abs=5e-5)  # written with four digits
        assert unescape(cells[7]) == chance(exported[week]["chance_ripe"]) and cells[8] == f"{exported[week]['mass_t']:,.0f}"
        cell = re.search(rf'<a [^>]*data-week="{week}".*?</a>', strip, re.S)[0]
        assert f">{100 * a.arrays['share'][i, w]:.0f}<" in cell and f"/map?week={week}" in cell
    assert unescape(re.search(r'id="chance-today">([^<]+)<', body)[1]) == chance(float(a.arrays["chance"][i, 0]))


def test_why_the_word_names_its_threshold_and_the_week_it_changes(office):
    enter, db = office
    client, a, limits = enter(), ripeness.answer(db), settings.load(db)
    near = next(c for c, v in zip(a.meta["plots"], a.arrays["condition"][:, 0]) if v == 2 and a.meta["by_plot"][c]["n_visits"])
    i = a.meta["plots"].index(near)
    part = re.search(r'id="why-word".*?</ul>', page(client, near), re.S)[0]
    assert f"{100 * a.arrays['share'][i, 0]:.1f}\u00a0%" in part and f"{100 * limits['near_share']:.0f}\u00a0%" in part and f"{100 * limits['ripe_share_to_cut']:.0f}\u00a0%" in part
    turned = np.flatnonzero(np.diff(a.arrays["condition"][i]))
    assert len(turned) and a.meta["weeks"][turned[0] + 1] in part


def test_never_visited_says_so_and_borrows_everything(office):
    enter, db = office
    a = ripeness.answer(db)
    code = next(c for c in a.meta["plots"] if not a.meta["by_plot"][c]["n_visits"])
    body = page(enter(), code)
    assert "toda la respuesta es prestada" in body and "Nadie la ha muestreado" in body and 'class="round"' not in body


def test_rounds_stand_as_they_were_read(office):
    """Every round in force has its mark; the slipped decimal is in doubt and marked; what is held is there and does not count."""
    enter, db = office
    client, r = enter(), survey.readings(db)
    body = page(client, SLIPPED)
    mine = r[r["plot"] == SLIPPED]
    assert body.count('class="round"') == mine["round"].nunique() and len(re.findall('class="plant"', body.split("</svg>")[0])) == len(mine)
    assert '<path class="doubted"' in body and 'id="doubts"' in body
    odd = mine[mine["brix_raw_deg"] < 5].iloc[0]
    item = re.search(rf'<li class="far"><a href="/records/{odd["id"]}[^>]*>.*?</li>', body, re.S)[0]
    assert "2.46 →" in item and "lejos de las demás" in item
    first = mine[mine["round"] == odd["round"]].iloc[0]
    head = survey.rounds(db).set_index("round").loc[odd["round"]]
    assert first["instrument"] in body and head["people"] in body and f"agua {head['zero_check_deg']:.1f}".replace("-", "−").replace("−0.0", "0.0") in body
    held = page(client, HELD)
    n = sum(row["plot"] == HELD and row["kind"] == "reading" for row in survey.held(db))
    assert f"{n + 1} registros de sus muestreos esperan" in held and held.count("por revisar, no cuenta</li>") == n > 0 and "nada cuenta" in held
    twice = page(client, TWICE)
    assert '<path class="doubted"' in twice and "capturada dos veces" in twice


def test_diary_holds_every_record_and_its_history(office):
    enter, db = office
    client, code = enter(), "LH-47"
    log = re.search(r'id="log".*?<h2>', page(client, code), re.S)[0]
    tables = [survey.table(db, kind) for kind in ("labor", "loss", "row_count", "weighing", "age_check", "marking", "load", "remark")]
    mine = [t[t["plot"] == code] for t in tables]
    wanted = {i for t in mine for i in t["id"]}
    listed = re.findall(r"/records/([0-9a-f-]{36})", log)
    assert wanted and set(listed) == wanted and len(listed) == len(wanted)
    assert log.count('<tr><th scope="row"') == sum(t["day"].nunique() for t in mine)
    assert client.get(f"/records/{listed[0]}").status_code == 200


def test_a_photo_shows_once_its_bytes_are_there(office):
    from webapp.survey import record

    enter, db = office
    client, digest = enter(), record.digest(PICTURE)
    made = {"id": "0193cccc-0000-7000-8000-000000000001", "install": "0193cccc-0000-7000-8000-0000000000ff", "seq": 1, "kind": "photo", "plot": "VS-05", "taken_at": "2026-11-20T09:12:03-06:00", "digest": digest, "caption": "Puerta rota"}
    survey.receive(db, json.dumps({"schema": 1, "sent_at": "2026-11-23T08:00:00-06:00", "records": [made]}).encode(), "Teléfono 7")
    body = page(client, "VS-05")
    assert "Puerta rota" in body and f"photos/{digest}" not in body and "falta que lleguen" in body
    survey.add_photo(db, made["id"], digest, "image/jpeg", PICTURE)
    assert f'src="/plots/VS-05/photos/{digest}"' in page(client, "VS-05")
    got = client.get(f"/plots/VS-05/photos/{digest}")
    assert got.data == PICTURE and got.content_type == "image/jpeg" and client.get("/plots/VS-05/photos/none").status_code == 404


def test_what_was_said_is_held_against_what_came(office):
    """Walk 12: words of 4 weeks before a round, one inside and one outside their interval."""
    enter, db = office
    code = "LA-10"
    r = survey.readings(db)
    last = r[r["plot"] == code]["day"].max()
    seen = float(r[(r["plot"] == code) & (r["day"] == last)]["brix20_deg"].mean())
    from webapp.weeks import week_of

    with db.conn:
        said_store.SAID.keep(db, [("x", (last - timedelta(days=28)).isoformat(), code, week_of(last), seen + 6, 0.5, 0.5, 0.5, 0.0, 0.5, 2.2, 0.0, None, None)])
    body = page(enter(), code)
    part = re.search(r'id="said".*?</table>', body, re.S)[0]
    assert "4 semanas antes" in part and "−6.0" in part and "fuera" in part and f"{seen + 6:,.1f}" in part and 'href="/track"' in body


def test_a_correction_says_what_it_changed_and_goes_on_saying_so(office):
    """Walk 7: from the odd reading to its correction and back; before is what the page said; after a refit it still stands."""
    enter, db = office
    client, code = enter(), SLIPPED
    said = ripeness.plot_now(db, code)
    odd = survey.readings(db).query("plot == @code and brix_raw_deg < 5").iloc[0]["id"]
    form = client.get(f"/records/{odd}?plot={code}").get_data(as_text=True)
    assert re.search(rf"<h1>Lectura de [^<]+, {code}, \d+ de \w+ de \d{{4}}: su historia</h1>", form)  # what it is, not its identifier
    assert f'name="back_to" value="{code}"' in form
    reply = client.post(f"/records/{odd}/correct", data={"f.brix_raw_deg": "24,6", "was.brix_raw_deg": "2.46", "back_to": code})
    assert reply.status_code == 303 and reply.headers["Location"].endswith(f"/plots/{code}#changed")
    now = ripeness.plot_now(db, code)
    assert now["mean_deg"][0] > said["mean_deg"][0]
    for _ in ("stale", "refitted"):
        body = page(client, code)
        sound(body)
        part = re.search(r'id="changed".*?</table>', body, re.S)[0]
        told = {name: [(re.sub("<[^>]*>", "", figure), span) for figure, span in re.findall(r"<td>(.*?)(?:<br><span[^>]*>(.*?)</span>)?</td>", row)] for name, row in re.findall(r'<tr data-figure="(\w+)">(.*?)</tr>', part)}
        now = ripeness.plot_now(db, code)
        (before, was_span), (after, span) = told["brix"]
        assert float(before) == pytest.approx(float(said["mean_deg"][0]), abs=0.25) and float(after) == pytest.approx(float(now["mean_deg"][0]), abs=0.051)
        assert float(after) > float(before) and "Aurelia Montes" in part and f"/records/{odd}" in part
        assert was_span != span == f"{now['lo95'][0]:.1f} – {now['hi95'][0]:.1f} (95\u00a0%)" and unescape(told["chance"][1][0]) == chance(now["chance"][0])
        assert told["share"][1] == (pct(now["share"][0]), f"{pct(now['share_lo'][0])} – {pct(now['share_hi'][0])} (80\u00a0%)")
        assert all("80\u00a0%" in span for side in ("first", "mass") for _, span in told[side]) and all("t" in figure for figure, _ in told["mass"])
        assert 'id="doubts"' not in body and "corregida" in body, "what was just mended is no longer in doubt"
        if _ == "stale":
            assert before == f"{said['mean_deg'][0]:.1f}" and told["share"][0][0] == pct(said["share"][0])
            assert told["mass"][0][0] == re.search(r'id="mass-today">([^<]+)<', body)[1], "before the refit the page's tonnes are those of before the correction"
            from webapp.work import estimates

            estimates(db)
        else:
            assert told["mass"][1][0] == re.search(r'id="mass-today">([^<]+)<', body)[1], "after it they are those of now"
    history = client.get(f"/records/{odd}").get_data(as_text=True)
    sound(history)
    assert "°Brix leído: <s>2.46 °Bx</s> → <b>24.6 °Bx</b>" in history and history.count("<s>") == 1, "the trail names what changed, old and new"


def test_taken_out_readings_stay_in_sight(office):
    enter, db = office
    client, code = enter(), "LA-12"
    r = survey.readings(db)
    gone = r[r["plot"] == code].iloc[-1]["id"]
    assert client.post(f"/records/{gone}/take-out", data={"why": "planta ajena", "back_to": code}).status_code == 303
    body = page(client, code)
    assert re.search(rf'<li class="out"><a href="/records/{gone}.*?borrado, no cuenta</li>', body, re.S) and 'class="left-out"' in body and 'id="changed"' in body
    assert survey.last_corrections(db, "VS-04") is None
    other = client.post(f"/records/{r.iloc[0]['id']}/take-out", data={"why": "x", "back_to": "//elsewhere.example"})
    assert other.headers["Location"].startswith("/held"), "only a plot of the estate leads back"


def test_who_may_not_see_records_gets_no_links_to_them(office):
    enter, _ = office
    login = next(l for _, l, _, roles in __import__("webapp.commands.seeding", fromlist=["SIGN_INS"]).SIGN_INS if "crew_lead" in roles)
    body = page(enter(login), "LH-47")
    sound(body)
    assert "/records/" not in body and "/settings" not in body and 'id="rounds"' in body


def test_a_round_of_thousands_is_drawn_as_a_line():
    days = [TODAY + timedelta(days=7 * i) for i in range(-50, 100)]
    flat = np.full(len(days), 22.0)
    curve = Curve(days, flat, flat / 22, flat / 50, ["C"] * len(days))
    many = Round(TODAY - timedelta(days=30), 22.0, list(np.linspace(15, 30, 5000)), "used", ("a", "b"), "a")
    said = {"title": "t", "desc": "d", "today": "hoy", "target": "24", "july": "jul", "hint": "h"}
    marks = [Mark(TODAY - timedelta(days=d), "v", 0, "viaje") for d in (1, 2, 3, 200)]
    drawn = brix_curve("c", curve, [many], [(TODAY - timedelta(days=9), 200.0)], marks, 24.0, TODAY, said)
    assert 'class="plant"' not in drawn and drawn.count('class="mean used"') == 1 and len(drawn) < 20_000
    assert ">v×3<" in drawn and ">v<" in drawn and 'class="left-out"' in drawn
    top = max(float(t) for t in re.findall(r'class="soft">([\d.]+)</text>', drawn) if float(t) < 100)
    assert top < 45, "a slipped decimal that does not count must not flatten the picture"


def test_doubts_of_several_rounds_reach_each_plot():
    swapped = {"record": "r1", "params": {"plot": "A", "other": "B", "second": "r2"}, "proposal": {"swap_with": "r2"}, "is_record": True}
    shifted = {"record": "r3", "params": {}, "proposal": {"void_readings_of": ["r3", "r4"]}, "is_record": True}
    both = [swapped, shifted]
    living = lambda: {"r1", "r2", "r3", "r4"}  # noqa: E731
    assert plot_rounds.plot_doubts(both, "B", {"r2"}, living) == [swapped] and plot_rounds.plot_doubts(both, "C", {"r4"}, living) == [shifted]
    assert plot_rounds.plot_doubts(both, "A", set(), lambda: {"r2"}) == [] and plot_rounds.named(swapped) == {"r1", "r2"}


def test_a_run_of_rounds_to_one_side_is_spoken_of():
    """Four rounds a degree above what was said, each ±1 at 80 %: beyond chance; three of them small, or one below, is not."""
    from webapp.pages import plot_said

    def rows(*offs, half=1.0):
        return [{"day": None, "seen": 24.0, "said": [{"weeks": 26, "off": -9.0, "low": 0.0, "high": 1.0}, {"weeks": 4, "off": off, "low": 23.0 - half, "high": 23.0 + half}]} for off in offs]

    assert plot_said.leaning(rows(1.0, 1.2, 0.8, 1.4)) == {"n": 4, "mean": pytest.approx(1.1)}
    assert plot_said.leaning(rows(-1.0, -1.2, -0.8, 3.0)) == {"n": 3, "mean": pytest.approx(-1.0)}
    assert plot_said.leaning(rows(0.2, 0.3, 0.1)) is None and plot_said.leaning(rows(1.0, 1.2)) is None and plot_said.leaning(rows(-0.1, 1.2, 1.0, 1.4)) is None and plot_said.leaning([]) is None
