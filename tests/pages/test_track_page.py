"""The track record's page with something to judge: picture and table say the same, in both languages, and few are only counted."""

import html
import re
import shutil

import html5lib
import pytest

from webapp import create_app
from webapp.crop import track_service as track
from webapp.database import open_estate


@pytest.fixture(scope="module")
def office(demo_made, tmp_path_factory):
    """(record, the agronomist's client) on a copy of the demo with two past days said again."""
    path = shutil.copy(demo_made, tmp_path_factory.mktemp("track") / "demo.db")
    db = open_estate(path)
    track.replay(db, count=2)
    client = create_app(path, testing=True).test_client()
    assert client.post("/sign-in", data={"login": "agronoma", "password": "madurez-de-tabla"}).status_code == 303
    yield track.record(db), client
    db.conn.close()


def cells(page: str, table: str) -> list[list[str]]:
    body = re.search(rf'<table [^>]*id="{table}"[^>]*>(.*?)</table>', page, re.S)[1]
    return [[" ".join(html.unescape(re.sub(r"<[^>]+>", " ", cell)).split()) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S)] for row in re.findall(r"<tr[^>]*>(.*?)</tr>", body, re.S)]


@pytest.mark.parametrize("language", ["es", "en"])
def test_the_picture_of_chances_and_its_table_say_the_same(office, language):
    record, client = office
    page = client.get(f"/track?lang={language}").get_data(as_text=True)
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(page)
    assert not parser.errors, parser.errors[:3]
    found = record["chance"]
    assert found["enough"] and found["n"] == record["brix"]["all"]["n"] + found["by_cut"] > 100 and found["by_cut"] > 0
    rows = cells(page, "tenths")[1:]
    counted = [re.match(r"(\d+) (?:de|of) (\d+)", row[2]) for row in rows]
    assert [(int(c[1]), int(c[2])) if c else (0, 0) for c in counted] == [(t["at_target"], t["n"]) for t in found["tenths"]] and sum(t["n"] for t in found["tenths"]) == found["n"]
    drawn = re.search(r'<svg[^>]*aria-labelledby="chance-t.*?</svg>', page, re.S)[0]
    judged = [(row, t) for row, t in zip(rows, found["tenths"]) if t["enough"]]
    assert drawn.count("<circle") == len(judged) == found["judged"] and 'role="img"' in drawn
    for row, t in judged:
        assert row[1].startswith(f"{100 * t['share']:.0f} %") and f"{100 * t['low']:.0f} – {100 * t['high']:.0f} %" in row[1]
        assert ("se sale" in row[1] or "outside" in row[1]) == (not t["held"]) and f"{100 * t['said']:.0f} %" in row[0]
    fate = found["fate"]
    assert fate["said"] == fate["met"] + fate["cut"] + fate["unseen"] and fate["met"] == found["n"], "one count of comparisons on the page: every one of them is among what was met"
    assert 0 < fate["passed"] == record["cut_between"] <= fate["unseen"]
    plain = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())
    assert (f"{found['n']} comparaciones: las {record['brix']['all']['n']} con muestreo de arriba y {found['by_cut']} más" if language == "es" else f"{found['n']} comparisons: the {record['brix']['all']['n']} with a round above and {found['by_cut']} more") in plain
    assert f"{fate['said']:,}".replace(",", "") in page.replace(",", "")


def test_tonnes_of_plots_cut_whole_stand_one_by_one_while_they_are_few(office):
    record, client = office
    page, found = client.get("/track?lang=es").get_data(as_text=True), record["tonnes"]
    assert 0 < found["all"]["n"] < found["all"]["needed"] and len(found["plots"]) == 22 and found["left_out"]["standing"] == 8
    assert "sin porcentaje ni veredicto" in page and "<details open>" in page
    rows = cells(page, "cut-whole")[1:]
    assert [row[0].split(", ")[-1] for row in rows] == [plot["plot"] for plot in found["plots"]]
    for row, plot in zip(rows, found["plots"]):
        assert row[2] == f"{plot['came_t']:,.0f}"
        for cell, weeks in zip(row[3:], ("26", "12", "4")):
            assert cell.startswith(f"{plot['said'][weeks]['said_t']:,.0f} ") if weeks in plot["said"] else cell == "–"
            assert weeks not in plot["said"] or f"salió {100 * (plot['came_t'] / plot['said'][weeks]['said_t'] - 1):+.0f} %".replace("-", "−") in cell.replace("\u00a0", " ")
    farthest = [max((abs(one["off_percent"]) for one in plot["said"].values()), default=-1.0) for plot in found["plots"]]
    assert farthest == sorted(farthest, reverse=True) and farthest[0] > 0
    said = [one for plot in found["plots"] for one in plot["said"].values()]
    assert len(said) == found["all"]["n"] and sum(one["inside"] for one in said) == found["sums"]["all"]["inside80"] >= 0.6 * len(said)


def test_sugar_says_how_its_spread_was_learned(office):
    record, client = office
    line, art = record["art"]["line"], record["art"]
    assert line["load_learned"] and line["load_sd"] < 0.5 * line["load_assumed"] and 0.7 < art["cover80"]["value"] < 0.9
    page = client.get("/track?lang=es").get_data(as_text=True)
    assert f"±{line['load_sd']:.3f}" in page and f"{line['loads']} viajes" in page


@pytest.mark.parametrize("kind, es, en", [("narrow", "Lo más reciente salió peor", "The latest came out worse"), ("fell", "ya no va igual", "no longer goes the same way"), ("same", None, None)])
def test_the_verdict_names_the_latest_days_when_they_go_another_way(office, monkeypatch, kind, es, en):
    """What the list by day shows is in the words above it too."""
    record, client = office
    latest = {"kind": kind, "first": "2026-05-25", "last": "2026-08-24", "days": 2, "n": 56, "cover80": {"value": 0.714, "low": 0.578, "high": 0.795}, "before": {"value": 0.91, "low": 0.85, "high": 0.95}}
    monkeypatch.setattr(track, "record", lambda *_, **__: record | {"brix": record["brix"] | {"latest": latest}})
    for language, says, when in (("es", es, "en las últimas 2 fechas, del 25 de mayo de 2026 al 24 de agosto de 2026"), ("en", en, "on the last 2 days, from May 25, 2026 to August 24, 2026")):
        page = " ".join(html.unescape(client.get(f"/track?lang={language}").get_data(as_text=True)).split())
        found = re.search(r'<span id="lately">(.*?)</span>', page)
        assert (found is None) == (says is None)
        assert not found or (says in found[1] and when in found[1] and "71 %" in found[1] and "58 – 80 %" in found[1])


def test_comparisons_made_afterwards_are_told_without_n_of_n(office):
    record, client = office
    n = record["brix"]["all"]["n"]
    assert record["brix"]["all"]["n_replayed"] == n
    page = client.get("/track?lang=es").get_data(as_text=True)
    assert f"Las {n} comparaciones se hicieron después." in page and f"{n} de las {n}" not in page


@pytest.mark.parametrize("language", ["es", "en"])
def test_counts_say_what_they_count_and_add_up(office, language):
    """Comparisons, what they are held against, and plots of which nothing was said: each under its own name."""
    record, client = office
    page = client.get(f"/track?lang={language}").get_data(as_text=True)
    plain = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page)).split())
    spanish, found = language == "es", record["tonnes"]
    all_, listed = found["all"], len(found["plots"])
    said = sum(bool(plot["said"]) for plot in found["plots"])
    assert 0 < said == all_["outcomes"] <= all_["n"] < 30 and listed > said
    rows = cells(page, "tonnes-ahead")
    assert rows[0][1] == ("Comparaciones" if spanish else "Comparisons") and sum(int(row[1]) for row in rows[1:-1]) == int(rows[-1][1]) == all_["n"]
    assert (f"Hay {all_['n']} comparaciones, de {all_['outcomes']} tablas" if spanish else f"There are {all_['n']} comparisons, from {all_['outcomes']} plots") in plain
    assert (f"De {said} se había dicho algo con qué compararlas; de {listed - said} tablas no" if spanish else f"Of {said} something had been said to hold them against; of {listed - said} plots nothing") in plain
    mass = record["mass"]
    assert mass["all"]["n"] == sum(part["n"] for part in mass["by_weeks"].values()) > mass["all"]["outcomes"]
    assert (f"Hay {mass['all']['n']} comparaciones, de {mass['all']['outcomes']} pasadas" if spanish else f"There are {mass['all']['n']} comparisons, from {mass['all']['outcomes']} passes") in plain
    few = next(part for part in mass["by_weeks"].values() if not part["enough"])
    assert (f"{few['n']} comparaciones de {few['outcomes']} pasadas; una cifra dice algo desde 30 pasadas: faltan {30 - few['outcomes']}." if spanish else f"{few['n']} comparisons from {few['outcomes']} passes; a figure means something from 30 passes on: {30 - few['outcomes']} to go.") in plain
    brix = record["brix"]["all"]
    assert (f"Hay {brix['n']} comparaciones: {brix['outcomes']} muestreos" if spanish else f"There are {brix['n']} comparisons: {brix['outcomes']} rounds") in plain
