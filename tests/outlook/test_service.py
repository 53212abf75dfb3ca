"""The doors: loading, keys, one answer for everybody, and bad input that leaves the data as it was."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from webapp import config, settings
from webapp.cli import main_group
from webapp.outlook import service
from webapp.problems import Problem
from webapp.sentences import LANGUAGES

from . import synthetic
from .test_demand import sales

FUTURES = 12   # the product asks for 100 at least; the doors need fewer to be tested


def csv_of(table: pd.DataFrame) -> bytes:
    return table.to_csv(index=False).encode()


def demo_sales(scale: float = 0.05) -> pd.DataFrame:
    table = sales(growth=0.02)
    table["litres"] *= scale
    return table


@pytest.fixture()
def estate(db, monkeypatch):
    """An estate of twelve plots whose crop is drawn by the test, so that only this room is under test."""
    land = synthetic.plots(12, 2)
    codes = [f"T-{i:02d}" for i in range(12)]
    days = [date.fromordinal(int((y - 1970) * 365.25) + date(1970, 1, 1).toordinal()) for y in land["planted"]]
    plots = pd.DataFrame({"zone": land["zone"], "planted_on": days, "status": "standing", "area_ha": land["area_ha"], "planted_plants": land["area_ha"] * 2900,
                          "lease_end": [None] * 12}, index=codes)
    zones = pd.DataFrame({"altitude_m": [2100.0, 1300.0], "haul_km": [30.0, None]}, index=["high", "low"])
    state = {"version": "r1"}

    def long(db, n, seed, **_):
        d = synthetic.draws(land, n, 2)
        return SimpleNamespace(plots=codes, quarters=d["days"], share=d["share"], mass_t=d["mass_t"], art=d["art"])

    monkeypatch.setattr(service.land, "plots", lambda db: plots)
    monkeypatch.setattr(service.land, "zones", lambda db: zones)
    monkeypatch.setattr(service.crop, "long", long)
    monkeypatch.setattr(service, "_refresh", lambda db: None)
    monkeypatch.setattr(service.survey, "data_version", lambda db: state["version"])
    db.state = state
    monkeypatch.setitem(config.BY_NAME, "futures", replace(config.BY_NAME["futures"], low=10))
    settings.change(db, {"futures": FUTURES, "bought_agave_limit_t": 100, "land_limit_ha_year": 60}, "prueba")
    return db


def test_load_twice_doubles_nothing(estate):
    data = csv_of(demo_sales())
    first, second = (service.load_sales(estate, data, "ventas.csv", "jefa") for _ in range(2))
    assert first.new == first.rows == len(demo_sales()) and second.same == second.rows
    assert service.sales(estate)["litres"].sum() == pytest.approx(demo_sales()["litres"].sum())
    assert [r["act"] for r in service.people.trail(estate, "ventas.csv")].count("load_sales") == 2


def test_stored_equals_read_back_and_a_correction_counts(estate):
    table = demo_sales()
    service.load_sales(estate, csv_of(table), "a.csv", "jefa")
    table.loc[0, "litres"] += 5
    report = service.load_sales(estate, csv_of(table.head(3)), "b.csv", "jefa")
    assert (report.changed, report.same) == (1, 2)
    back = service.sales(estate).set_index(["market", "category", "class", "month"])["litres"].sort_index()
    assert back.to_numpy() == pytest.approx(table.set_index(["market", "category", "class", "month"])["litres"].sort_index().to_numpy(), rel=1e-12)


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"a,b\n1,2", b"market,category,class,month,litres\nN,full,unaged,2026-01,-1", b"market,category,class,month,litres\nN,full,unaged,2027-01,1"])
def test_a_refused_file_changes_nothing(estate, data):
    service.load_sales(estate, csv_of(demo_sales()), "a.csv", "jefa")
    before, version = service.sales(estate), service.key_now(estate)
    with pytest.raises(Problem) as caught:
        service.load_sales(estate, data, "mala.csv", "jefa")
    assert all(caught.value.text(language) for language in LANGUAGES)
    pd.testing.assert_frame_equal(service.sales(estate), before)
    assert service.key_now(estate) == version


def test_stock_is_replaced_and_purchases_add(estate):
    service.load_stock(estate, b"category,class,age_years,litres\nfull,aged,0,500\nfull,aged,1,300\n", "s.csv", "jefa")
    service.set_stock(estate, [{"category": "full", "class": "aged", "age_years": 2, "litres": 90.0}], "jefa")
    assert service.stock(estate)[["age_years", "litres"]].to_numpy().tolist() == [[2, 90.0]]
    service.set_stock(estate, [], "jefa")
    assert service.stock(estate).empty
    with pytest.raises(Problem):
        service.set_stock(estate, [{"category": "full", "class": "aged", "age_years": 2, "litres": float("nan")}], "jefa")
    service.load_bought(estate, b"year,mass_t,paid_mxn\n2024,4000,\n", "c.csv", "jefa")
    service.set_bought(estate, [{"year": 2025, "mass_t": 4400.0}], "jefa")
    assert service.bought(estate)["mass_t"].tolist() == [4000.0, 4400.0]


def test_answer_its_key_and_its_age(estate):
    service.load_sales(estate, csv_of(demo_sales()), "a.csv", "jefa")
    steps = []
    found = service.made(estate, lambda done, code: steps.append((done, code)) is None)
    assert steps[0][0] == 0.0 and steps[-1][0] == 1.0 and [d for d, _ in steps] == sorted(d for d, _ in steps)
    assert found.meta["futures"] == FUTURES and found.meta["headline"]["year"] == 2027
    assert not service.stale(estate, found) and service.answer(estate).key == found.key
    made_at = found.made_at
    assert service.made(estate).made_at == made_at  # the same key is never computed twice
    estate.state["version"] = "r2"
    assert service.stale(estate, service.answer(estate)) and service.answer(estate).key == found.key
    assert service.answer(estate, fresh=True).key != found.key


def test_more_sales_move_the_plan_and_the_version(estate):
    service.load_sales(estate, csv_of(demo_sales()), "a.csv", "jefa")
    before = service.made(estate)
    service.load_sales(estate, csv_of(demo_sales(0.065)), "a.csv", "jefa")
    after = service.made(estate)
    assert after.key != before.key
    assert after.meta["headline"]["area_ha"] > before.meta["headline"]["area_ha"] > 0
    assert after.meta["said"] != before.meta["said"]


def test_same_file_same_answer(estate):
    service.load_sales(estate, csv_of(demo_sales()), "a.csv", "jefa")
    one = service.made(estate)
    estate.execute("DELETE FROM answer")
    two = service.made(estate)
    assert json.dumps(one.meta, sort_keys=True) == json.dumps(two.meta, sort_keys=True)
    assert all(one.arrays[k].tobytes() == two.arrays[k].tobytes() for k in one.arrays)


def test_without_sales_the_factory_speaks(estate):
    settings.change(estate, {"need_t_week": 15}, "jefa")
    meta = service.made(estate).meta
    assert "outlook.said.no_sales" in [s["code"] for s in meta["said"]]
    assert meta["demand"]["mean_t"][0] == pytest.approx(service_need(estate), rel=0.05)
    assert meta["headline"]["area_ha"] > 0


def service_need(db) -> float:
    from webapp.outlook.gathering import factory_need_t

    return factory_need_t(settings.load(db), 2027)


def test_factory_weeks():
    """52 ISO weeks in 2027 less W01, W27 and W52; 53 in 2026 less four."""
    from webapp.outlook.gathering import factory_need_t

    values = settings.defaults()
    assert factory_need_t(values, 2027) == pytest.approx(49 * 280)
    assert factory_need_t(values, 2026) == pytest.approx(49 * 280)
    assert factory_need_t(values.with_values(stop_weeks=""), 2026) == pytest.approx(53 * 280)


def test_own_paths_join_the_cases(estate):
    service.load_sales(estate, csv_of(demo_sales()), "a.csv", "jefa")
    service.set_path(estate, "contrato", [{"per_year": 0.0}, {"market": "norte", "per_year": 0.08}], 2.0, "jefa")
    meta = service.made(estate).meta
    case = {c["case"]: c for c in meta["cases"]}
    assert case["contrato"]["area_ha"] > case["flat"]["area_ha"]
    for name, rows, weight in (("grow", [], 1), ("x", [{"per_year": 3}], 1), ("x", [{"per_year": 0}], 0)):
        with pytest.raises(Problem) as caught:
            service.set_path(estate, name, rows, weight, "jefa")
        assert caught.value.text("es") and caught.value.text("en")


def test_command_line_and_service_agree(estate, estate_path, tmp_path):
    file = tmp_path / "ventas.csv"
    file.write_bytes(csv_of(demo_sales()))
    runner = CliRunner()

    def run(*words):
        result = runner.invoke(main_group, ["--estate", str(estate_path), *words], catch_exceptions=False)
        assert result.exit_code == 0, result.output
        return result.stdout

    assert json.loads(run("sales", "load", str(file), "--json"))["new"] == len(demo_sales())
    assert len(json.loads(run("sales", "show", "--json"))) > 0 and "blanco" in run("--lang", "es", "sales", "show")
    told = json.loads(run("outlook", "--json"))
    stored = service.answer(estate).meta
    assert told["headline"] == stored["headline"] and told["stale"] is False
    for language, word in (("es", "hectáreas"), ("en", "hectares")):
        words = run("--lang", language, "outlook")
        assert word in words and f"{stored['headline']['area_ha_rounded']:,g} {word}" in words
