"""Visits worth making on an estate file: one list for pages, phones and the command line."""

import html
import json

import numpy as np
import pytest
from click.testing import CliRunner

from tests.conftest import closed, copied, founded
from tests.ripeness.test_service import load_land, read_thrice, visit
from webapp import settings
from webapp.crop import worth_service as worth
from webapp.land import service as land
from webapp.people.service import Device
from webapp.pages import phone_pack
from webapp.problems import Problem
from webapp.work import estimates


@pytest.fixture(scope="module")
def worked_out(tmp_path_factory):
    """Six plots with all estimates; tests get copies."""
    db = read_thrice(founded(path := tmp_path_factory.mktemp("field") / "estate.db"))
    estimates(db)
    closed(db)
    return path


@pytest.fixture()
def field(worked_out, estate_path):
    with copied(worked_out, estate_path) as db:
        yield db


def test_what_is_least_known_and_near_the_target_comes_first(field):
    rows = worth.visits_worth_making(field, 6)
    assert len(rows) == 6 and rows[0]["code"] in ("LA-02", "LA-03")  # never visited, age unknown
    rates = [row["gain_part_per_hour"] for row in rows]
    assert rates == sorted(rates, reverse=True) and min(rates) >= 0
    by = {row["code"]: row for row in rows}
    assert by["VS-03"]["gain_part"] < 0.1 * rows[0]["gain_part"] and by["VS-03"]["window_weeks"] == pytest.approx(by["VS-03"]["window_weeks_after"], abs=0.2)  # planted a year ago
    for row in rows:
        assert row["window_weeks_after"] <= row["window_weeks"] and row["ripe_mass_width_after_t"] <= row["ripe_mass_width_t"] and row["minutes"] > 0
        assert row["why"].text("es") and row["why"].text("en")


def test_what_an_hour_tells_is_said_in_weeks_and_tonnes(field):
    """No part of a hundred of the estate's doubt: what the visit takes off the ± that the reason shows, for each hour, with its units."""
    for row in worth.visits_worth_making(field, 6):
        weeks = (row["window_weeks"] - row["window_weeks_after"] + row["window_end_weeks"] - row["window_end_weeks_after"]) / 2 * 60 / row["minutes"]
        tonnes = (row["ripe_mass_width_t"] - row["ripe_mass_width_after_t"] + row["others_narrowed_t"]) / 2 * 60 / row["minutes"]
        for language, word in (("es", "semanas"), ("en", "weeks")):
            said = worth.per_hour(row).text(language)
            assert "%" not in said and (f"{weeks:.1f} {word}" in said) == (round(weeks, 1) > 0) and (f"{tonnes:,.1f} t" in said) == (round(tonnes, 1) > 0)
    first = worth.visits_worth_making(field, 1)[0]
    assert worth.per_hour(first).code == "visits.per_hour.both" and worth.per_hour({**first, "minutes": 1e9}).code == "visits.per_hour.little"


def test_a_plot_just_visited_falls_down_the_list(field):
    def left():
        return {r["code"]: r["ripe_mass_width_t"] - r["ripe_mass_width_after_t"] + r["window_weeks"] - r["window_weeks_after"] for r in worth.visits_worth_making(field, 6)}

    before = left()
    first = max(before, key=before.get)
    for seed in (1, 2):
        visit(field, first, seed - 1, 22.5, n=15, seed=seed)
    estimates(field)
    assert left()[first] < 0.5 * before[first] and worth.visits_worth_making(field, 6)[0]["code"] != first


def test_the_round_fits_starts_where_told_and_leaves_out_closed_roads(field):
    found = worth.morning(field, minutes=300)
    assert found["stops"] and found["minutes"] <= 300 and found["minutes"] == pytest.approx(found["back_minutes"] + sum(s["way_minutes"] + s["work_minutes"] for s in found["stops"]))
    assert worth.morning(field, minutes=300) == found
    assert worth.morning(field, minutes=30)["stops"] == []
    here = worth.morning(field, start="LA-03", minutes=60)
    assert [s["code"] for s in here["stops"]] == ["LA-03"] and here["stops"][0]["way_minutes"] == 0
    with pytest.raises(Problem) as refused:
        worth.morning(field, start="XX-99")
    assert refused.value.code == "plot_not_standing"
    land.add_closure(field, "plot", found["stops"][0]["code"], "2026-W47", "2026-W50", "crecida", "Ana")
    assert found["stops"][0]["code"] not in {s["code"] for s in worth.morning(field, minutes=300)["stops"]}
    assert not next(r for r in worth.visits_worth_making(field, 6) if r["code"] == found["stops"][0]["code"])["way_open"]


def test_the_gate_and_the_weights_are_settings(field):
    assert worth.gate(field) is None
    for text, place in (("20.6, -103.0", (20.6, -103.0)), ("20.6,-103", (20.6, -103.0))):
        settings.change(field, {"gate_place": text}, "Ana")
        assert worth.gate(field) == place
    for text in ("junto al arroyo", "200, 3"):  # refused since; an estate may hold one from before
        with pytest.raises(Problem, match="20.61"):
            settings.change(field, {"gate_place": text}, "Ana")
        field["setting_value"].insert({"name": "gate_place", "value": json.dumps(text), "set_at": "2026-11-23T12:00:00Z", "set_by": "Ana"})
        assert worth.gate(field) is None
    far = worth.visits_worth_making(field, 6)
    settings.change(field, {"gate_place": "20.9, -103.0"}, "Ana")
    assert all(a["minutes"] < b["minutes"] for a, b in zip(sorted(far, key=lambda r: r["code"]), sorted(worth.visits_worth_making(field, 6), key=lambda r: r["code"])))
    settings.change(field, {"visit_window_weight": 1.0}, "Ana")
    assert {r["work"] for r in worth.visits_worth_making(field, 6)} == {"sample"}  # rows say nothing of weeks


@pytest.mark.parametrize("case", ["nothing", "one plot", "no visits", "no dates"])
def test_thin_estates_have_a_list_too(db, case):
    if case == "one plot":
        load_land(db, {"VS-01": ("2020-07-01", "Vado")})
    elif case != "nothing":
        load_land(db, {f"VS-0{i}": (None if case == "no dates" else "2020-07-01", "Vado") for i in range(1, 5)})
    rows, found = worth.visits_worth_making(db, 9), worth.morning(db)
    assert len(rows) == {"nothing": 0, "one plot": 1}.get(case, 4)
    numbers = [v for row in rows + found["stops"] for v in row.values() if isinstance(v, float)] + [found["minutes"], found["gain_part"]]
    assert np.isfinite(numbers).all() and min(numbers) >= 0
    if case == "no visits":  # all alike but for their place
        assert [r["code"] for r in rows] == [r["code"] for r in worth.visits_worth_making(db, 9)] and rows[0]["why"].text("es")


def test_phone_office_and_command_say_the_same(field, estate_path):
    from webapp.cli import main_group

    listed = worth.listed(field, 12)
    pack = phone_pack.make(field, Device("d1", "Teléfono 1", "Los Tordos"))["visits"]
    assert [v["plot"] for v in pack] == [r["code"] for r in listed] and [v.get("stop") for v in pack] == [r["stop"] for r in listed]
    stops = [v for v in pack if "stop" in v]
    assert [v["stop"] for v in stops] == list(range(1, len(stops) + 1)) and pack[: len(stops)] == stops
    assert all(v["minutes"] > 0 and v["why"]["es"] != v["why"]["en"] and v["work"] in ("sample", "count", "both") for v in pack)
    run = CliRunner().invoke(main_group, ["--estate", str(estate_path), "--lang", "es", "ripeness", "--visits", "--json"], catch_exceptions=False)
    told = json.loads(run.output)
    assert [s["code"] for s in told["round"]["stops"]] == [v["plot"] for v in stops] and told["round"]["stops"][0]["why"] == pack[0]["why"]["es"]
    shown = CliRunner().invoke(main_group, ["--estate", str(estate_path), "--lang", "en", "ripeness", "--visits"], catch_exceptions=False)
    assert shown.exit_code == 0 and all(v["plot"] in shown.output for v in stops) and " weeks and " in shown.output


def test_the_demos_list_on_its_pages(demo_site, sign_in):
    client = sign_in("agronoma")
    for language in ("es", "en"):
        page = client.get(f"/visits?lang={language}").get_data(as_text=True)
        assert page.count("<tr data-code=") >= 15 and ("Le quita al ±, por hora" if language == "es" else "Takes off the ±, an hour") in page and "nan" not in page.lower().replace("nanch", "").split("<main")[1].split("</main>")[0]
    assert "VS-23" in page and client.get("/visits?from=VS-23&minutes=90").status_code == 200 and client.get("/visits?from=nada").status_code == 404
    told = client.get("/visits?from=tapia&minutes=muchos&lang=es")
    page = html.unescape(told.get_data(as_text=True))
    assert told.status_code == 404 and "El Tapia, VS-04" in page.split("</form>")[0].split("<form")[0] and 'value="tapia"' in page and 'value="muchos"' in page and page.count('aria-invalid="true"') == 2
    assert page.count("<tr data-code=") >= 15, "the usual round stands below"
    for minutes in ("muchos", "nan", "1e3", "0", "99999", "-60", ""):
        assert client.get(f"/visits?minutes={minutes}").status_code == 422
    by_name = client.get("/visits?from=el tapia&minutes=90")
    assert by_name.status_code == 200 and 'value="El Tapia, VS-04"' in by_name.get_data(as_text=True)


def test_a_large_estate_s_plots_do_not_all_stand_in_the_field(demo_site, sign_in, monkeypatch):
    from webapp.pages import visits

    client = sign_in("agronoma")
    small = client.get("/visits").get_data(as_text=True)
    assert '<datalist id="v-plots">' in small and small.count("<option") == 141 and "<select" not in small
    monkeypatch.setattr(visits, "MOST_OFFERED", 100)
    large = client.get("/visits").get_data(as_text=True)
    assert "<option" not in large and "list=" not in large.split("<main")[1]


def test_the_list_is_led_to_and_closed_to_crews(sign_in):
    client = sign_in("agronoma")
    assert 'href="/visits"' in client.get("/today").get_data(as_text=True) and 'href="/visits"' in client.get("/ripeness").get_data(as_text=True)
    assert sign_in("jimador").get("/visits").status_code == 403
