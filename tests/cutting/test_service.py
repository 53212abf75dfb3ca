"""The service on a small estate file: plans stored with their inputs, orders, re-plans, what people may ask."""

from __future__ import annotations

import json
from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import pytest

from webapp import settings
from webapp.cutting import model, service
from webapp.land import service as land
from webapp.problems import Problem
from webapp.weeks import weeks_from

from .instances import estate

PLOTS = 24


@dataclass
class Draws:
    plots: list
    weeks: list
    share: np.ndarray
    mass_t: np.ndarray
    art: np.ndarray
    keep: np.ndarray


def square(i: int) -> dict:
    x, y = -103.0 + 0.01 * (i % 6), 20.5 + 0.01 * (i // 6)
    return {"type": "Polygon", "coordinates": [[[x, y], [x + 0.003, y], [x + 0.003, y + 0.003], [x, y + 0.003], [x, y]]]}


@pytest.fixture()
def ranch(db, monkeypatch):
    """24 plots in two zones, three crews; the crop's draws stand in for what the earlier rooms would say."""
    zones = (("Vado", 9.0, 1), ("Loma", 46.0, 0))
    features = [{"type": "Feature", "geometry": square(i), "properties": {
        "code": f"T-{i:03d}", "name": f"Tabla {i}", "parcel": f"P{i // 4}", "zone": zones[i % 2][0], "haul_km": zones[i % 2][1], "truck_max_t": 20.0, "wet_road": zones[i % 2][2],
        "planted_on": f"{2018 + i % 5}-07-01", "altitude_m": 1300}} for i in range(PLOTS)]
    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "t.geojson"), "prueba")
    for name, people, zone in (("Tordos", 6, "Vado"), ("Mezquites", 6, "Loma"), ("Chema", 5, None)):
        service.set_crew(db, name, people, zone, who="prueba")
    settings.change(db, {"need_t_week": 60, "need_high_t_week": 75}, "prueba")
    today = __import__("webapp.clock", fromlist=["of"]).of(db).today()
    model_estate, rng, weeks = estate(11, plots=PLOTS, today=today), np.random.default_rng(5), weeks_from(today, 105)
    tall = lambda a: np.concatenate([a, np.repeat(a[:, -1:], 105 - a.shape[1], axis=1)], axis=1)  # noqa: E731
    share, mass = tall(model_estate.share) * 0 + np.linspace(0.5, 0.9, 105)[None, :], np.exp(-0.004 * np.arange(105))[None, :] * np.linspace(300, 600, PLOTS)[:, None]
    share = np.clip(share - np.linspace(0, 0.7, PLOTS)[:, None], 0.01, 1)
    luck = np.exp(rng.normal(0, 0.1, (40, PLOTS, 1)))
    draws = Draws([f"T-{i:03d}" for i in range(PLOTS)], weeks, np.clip(share[None] * luck, 0, 1), mass[None] * luck, np.full((40, PLOTS, 105), 0.24), np.ones((40, PLOTS, 105)))
    state = SimpleNamespace(draws=draws, key="crop-1")
    monkeypatch.setattr(service.crop, "draws", lambda db, n=200, seed=1: state.draws)
    monkeypatch.setattr(service.crop, "answer", lambda db, fresh=False: SimpleNamespace(key=state.key, meta={"plots": state.draws.plots}))
    monkeypatch.setattr(service.ripeness, "answer", lambda db, fresh=False: SimpleNamespace(meta={"plots": state.draws.plots}, arrays={"mean_deg": np.full((PLOTS, 105), 24.0)}))
    monkeypatch.setattr(service.tonnage, "answer", lambda db, fresh=False: SimpleNamespace(meta={"plots": state.draws.plots}, arrays={"plants": np.full(PLOTS, 12000.0)}))
    return db, state


def make(db, **how):
    return service.make_plan(db, **{"seconds": 1.5, "who": "planeador", **how})


def test_a_plan_is_stored_with_all_it_rests_on(ranch):
    db, _ = ranch
    made = make(db)
    view = service.plan(db)
    assert view.id == made and view.how == "search" and view.outcome in ("usable", "best") and not view.stale
    assert service.check_stored(db, made) == []
    assert view.value_mxn >= max(h["incremental_mxn"] for h in view.hand) - 1
    assert view.bound_mxn >= view.value_mxn - 1 and view.gap == pytest.approx((view.bound_mxn - view.value_mxn) / view.value_mxn)
    assert sum(w["delivered_t"] for w in view.weeks) == pytest.approx(sum(c["mass_t"] for c in view.cuts))
    assert all(w["lo80_t"] <= w["hi80_t"] for w in view.weeks)
    assert json.loads(json.dumps(view.as_dict()))["weeks"][0]["need_t"] == 60.0
    with pytest.raises(Problem, match="plan_unknown|No existe"):
        service.plan(db, 999)


def test_new_estimates_and_settings_make_it_old(ranch):
    db, state = ranch
    make(db)
    state.key = "crop-2"
    assert service.plan(db).stale
    state.key = "crop-1"
    assert not service.plan(db).stale
    settings.change(db, {"truck_t": 18}, "prueba")
    assert service.plan(db).stale
    make(db)
    assert not service.plan(db).stale
    land.add_closure(db, "zone", "Loma", "2026-W49", "2026-W50", "puente", "prueba")
    assert service.plan(db).stale


def test_dead_solver_gives_the_plan_by_hand_named_so(ranch, monkeypatch):
    db, _ = ranch
    monkeypatch.setattr(model, "solve", lambda *a, **k: (_ for _ in ()).throw(RuntimeError("killed")))
    make(db)
    view = service.plan(db)
    assert view.outcome == "by_hand" and view.how != "search" and view.gap is None and view.bound_mxn is None
    assert any("killed" in note for note in view.meta["notes"]) and service.check_stored(db) == []


def test_orders_cover_the_week_and_stay_when_planned_again(ranch):
    db, _ = ranch
    first = make(db)
    names = service.publish(db, first, "planeador")
    week = service.plan(db).weeks[0]["week"]
    rows = service.orders(db, week=week)
    assert {r["id"] for r in rows} == set(names) and all(r["how_to_tell"]["code"].startswith("cutting.tell.") for r in rows)
    assert sum(r["mass_t"] for r in rows) == pytest.approx(service.plan(db).weeks[0]["delivered_t"])
    assert rows[0]["cautions"][-1]["code"] == "caution.codes" and rows[0]["trucks"][0]["hour"] and rows[0]["name"].startswith("Tabla")
    assert [r["crew"] for r in service.orders(db, crew="Tordos")] == [r["crew"] for r in rows if r["crew"] == "Tordos"]
    settings.change(db, {"sugar_value_mxn_kg": 30, "truck_trips_week": 15}, "prueba")
    second = make(db, seed=2)
    before = {(c["plot"], c["week"]): c["mass_t"] for c in service.plan(db, first).cuts if c["week"] == week}
    after = {(c["plot"], c["week"]): c["mass_t"] for c in service.plan(db, second).cuts if c["week"] == week}
    assert before.keys() == after.keys() and all(after[k] == pytest.approx(before[k], abs=1e-3) for k in before)
    assert service.check_stored(db, second) == [] and service.plan(db, first).published_at


def test_a_broken_truck_and_a_closed_road_list_their_changes(ranch):
    db, _ = ranch
    first = make(db)
    cut = next(c for c in service.plan(db).cuts if c["week"] > "2026-W49")
    land.add_closure(db, "plot", cut["plot"], cut["week"], cut["week"], "derrumbe", "prueba")
    settings.change(db, {"truck_trips_week": 2}, "prueba")
    second = make(db)
    changes = service.compare(db, first, second)
    assert cut["plot"] in {c["plot"] for c in changes} and all(w["trips"] <= 2 + 1e-3 for w in service.plan(db).weeks)
    assert not any(c["plot"] == cut["plot"] and c["week"] == cut["week"] for c in service.plan(db).cuts)
    short = service.plan(db).short_weeks()
    assert short and {g["week"] for g in service.plan(db).gave_way if g["rule"] == "low"} >= {w for w, _ in short}


def test_reasons_and_next_cuts(ranch):
    db, _ = ranch
    assert service.explain(db, None, "T-000") == [] and service.cuts_of(db, "T-000") == []
    make(db)
    planned = service.plan(db).cuts[0]["plot"]
    assert any(s.code == "cutting.why.planned" for s in service.explain(db, None, planned)) and service.cuts_of(db, planned)
    assert service.explain(db, None, "no existe") == []
    assert all(service.explain(db, None, code) for code in ("T-000", "T-011", "T-023"))


def test_own_need_of_a_week_is_planned(ranch):
    db, _ = ranch
    service.set_week_need(db, "2026-W49", 30.0, "prueba")
    assert service.problem_now(db).need_low[1] == 30.0
    service.set_week_need(db, "2026-W49", None, "prueba")
    assert service.problem_now(db).need_low[1] == 60.0
    assert service.problem_now(db, need_t_week=50).need_low[0] == 50.0 and service.problem_now(db).need_low[0] == 60.0


def test_what_is_refused(ranch):
    db, _ = ranch
    for call in (lambda: service.set_crew(db, "", 6), lambda: service.set_crew(db, "X", 0), lambda: service.set_crew(db, "X", "seis"), lambda: service.set_crew(db, "X", 5, "Luna"),
                 lambda: service.set_week_need(db, "2027-W60", 5.0, ""), lambda: service.set_week_need(db, "2027-W10", float("nan"), ""), lambda: service.set_week_caution(db, "2027-W10", "fog", ""),
                 lambda: service.publish(db, 7, "x"), lambda: service.compare(db, 1, 2), lambda: service.calendar(db)):
        with pytest.raises(Problem) as refused:
            call()
        assert refused.value.text("es") and refused.value.text("en")
    for crew in service.crews(db):
        service.set_crew(db, crew["name"], crew["people"], crew["home_zone"], active=False)
    with pytest.raises(Problem, match="cuadrillas"):
        make(db)
    assert service.plans(db) == []


def test_crews_file_is_all_or_none(db):
    with pytest.raises(Problem):
        service.load_crews(db, b"name,people,home_zone,active\nUno,6,,1\nDos,muchos,,1\n", "prueba")
    assert service.crews(db) == []
    assert service.load_crews(db, b"name,people,home_zone,active\nUno,6,,1\nDos,7,,0\n", "prueba") == 2
    assert [c["active"] for c in service.crews(db)] == [0, 1]


def test_calendar_of_the_plan(ranch):
    from icalendar import Calendar

    db, _ = ranch
    make(db)
    events = Calendar.from_ical(service.calendar(db)).walk("VEVENT")
    assert len(events) == len(service.plan(db).meta["windows"])
