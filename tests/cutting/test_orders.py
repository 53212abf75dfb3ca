"""A week's plan into crews, days and trucks; the cautions; the calendar; the weekly interval."""

from __future__ import annotations

from collections import defaultdict
from datetime import date

import numpy as np
import pytest

from webapp.cutting import forecast, making
from webapp.cutting.orders import Crew, Cut, as_row, by_order, cautions, how_to_tell, split
from webapp.cutting.plan import Plan, account
from webapp.cutting.view import PlanView, calendar
from webapp.sentences import catalogue

from .instances import estate

CREWS = [Crew("Tordos", 7, "A"), Crew("Mezquites", 7, "B"), Crew("Chema", 6, None)]
CUTS = [Cut("P1", "A", 1, False, 151.0, 5000.0, 20.0), Cut("P2", "B", 2, True, 88.0, 2800.0, 15.0), Cut("P3", "A", 1, False, 12.0, 400.0, 20.0)]


@pytest.fixture(scope="module")
def made():
    return split("2026-W49", CUTS, CREWS, 2.5, 6)


def test_every_tonne_and_plant_is_ordered_once(made):
    for cut in CUTS:
        mine = [o for o in made if o.plot == cut.plot]
        assert sum(o.mass_t for o in mine) == pytest.approx(cut.mass_t) and sum(o.plants for o in mine) == pytest.approx(cut.plants)
        assert all(t <= cut.truck_t + 1e-9 for o in mine for _, t in o.trucks)
        assert sum(len(o.trucks) for o in mine) == -(-cut.mass_t // cut.truck_t)


def test_crews_are_not_overworked_and_days_are_even(made):
    by_crew, by_day = defaultdict(float), defaultdict(float)
    for o in made:
        by_crew[o.crew] += o.mass_t
        by_day[o.crew, o.day] += o.mass_t
        assert date(2026, 11, 30) <= o.day <= date(2026, 12, 5)
    for crew in CREWS:
        assert by_crew[crew.name] <= 1.10 * crew.people * 2.5 * 6
    assert max(by_day.values()) <= 2 * 20.0


def test_home_crew_first(made):
    assert {o.crew for o in made if o.plot == "P3"} <= {"Tordos", "Chema"}
    assert "Tordos" in {o.crew for o in made if o.plot == "P1"}
    alone = split("2026-W49", [CUTS[1]], CREWS, 2.5, 6)
    assert {o.crew for o in alone} == {"Mezquites"}


def test_order_names_are_stable_and_grouped(made):
    again = split("2026-W49", list(reversed(CUTS)), list(reversed(CREWS)), 2.5, 6)
    assert again == made
    rows = [as_row(o, 1, "2026-W49", "t", "short", how_to_tell(1, False, None, 24.0), []) for o in made]
    import json

    grouped = by_order([{**r, "trucks": json.loads(r["trucks"])} for r in rows])
    assert len(grouped) == len({r["id"] for r in rows}) and all(len(o["days"]) == len(set(o["days"])) for o in grouped)
    assert sum(o["mass_t"] for o in grouped) == pytest.approx(251.0)


def test_truck_hours_follow_the_filling(made):
    for o in made:
        hours = [h for h, _ in o.trucks]
        assert hours == sorted(hours) and all("07:00" < h <= "17:00" for h in hours)


def test_which_plants():
    assert how_to_tell(1, True, 300, 24.0).code == "cutting.tell.all"
    assert how_to_tell(2, False, 300, 24.0).params == {"n": 300, "pass_number": 2}
    assert how_to_tell(2, False, None, 24.0).params == {"target_deg": 24.0}


def test_cautions_follow_the_week_and_the_load():
    codes = lambda *a, **k: [c.code for c in cautions(*a, **k)]  # noqa: E731
    dry, wet = codes("2027-W12", 31.0), codes("2027-W28", 20.0, sick=True, set_by_agronomist="storm")
    assert "caution.fire" in dry and "caution.lightning" not in dry and "caution.load" in dry and "caution.rot" not in dry
    assert wet[0] == "caution.week.storm" and "caution.lightning" in wet and "caution.load" not in wet and "caution.rot" in wet
    assert dry[-1] == wet[-1] == "caution.codes"
    for language in ("es", "en"):
        assert all(code in catalogue(language) for code in dry + wet)
    assert "31 kg" in next(c for c in cautions("2027-W12", 31.0) if c.code == "caution.load").text("es")


def test_calendar_opens_and_its_ends_are_exclusive():
    from icalendar import Calendar

    cuts = tuple({"plot": "P1", "week": w, "pass": n, "clearing": 0, "mass_t": 50.0, "plants": 1.0, "sugar_t": 1.0} for w, n in (("2026-W52", 1), ("2026-W53", 1), ("2027-W06", 2)))
    view = PlanView(1, "2026-11-23T12:00:00.000000Z", "", "search", "", "usable", 1.0, 1.0, 0.0, False, None, (), cuts, (), (), {})
    data = calendar(view, {"P1": "El Tapia"}, "es")
    assert data == calendar(view, {"P1": "El Tapia"}, "es") and b"\r\n" in data
    events = [e for e in Calendar.from_ical(data).walk("VEVENT")]
    assert [(e["DTSTART"].dt, e["DTEND"].dt) for e in events] == [(date(2026, 12, 21), date(2027, 1, 4)), (date(2027, 2, 8), date(2027, 2, 15))]
    assert len({str(e["UID"]) for e in events}) == 2 and "El Tapia" in str(events[0]["SUMMARY"]) and "100 t" in str(events[0]["SUMMARY"])


def test_weekly_interval_holds_what_is_planned_and_narrows_with_knowledge():
    problem = estate(5, plots=50, weeks=12, need=80.0)
    plan = making.by_hand.tuned(problem, "oldest")
    rng = np.random.default_rng(3)
    mass = problem.stand_t[:, None] * problem.keep
    bands = {}
    for name, sd in (("wide", 0.25), ("narrow", 0.05)):
        luck = np.exp(rng.normal(0, sd, (400, len(problem.plots), 1)))
        bands[name] = forecast.weekly(problem, plan, np.repeat(np.maximum(problem.share, 0.9)[None], 400, 0), mass[None] * luck, np.repeat(problem.sugar[None], 400, 0))
    delivered = account(problem, plan).delivered
    at = delivered > 20
    assert (bands["wide"]["t_lo"][at] < delivered[at]).all() and (bands["wide"]["t_hi"][at] > delivered[at]).all()
    assert ((bands["wide"]["t_hi"] - bands["wide"]["t_lo"])[at] > 2 * (bands["narrow"]["t_hi"] - bands["narrow"]["t_lo"])[at]).all()


def test_a_plan_on_plots_that_ripen_late_loses_only_downwards():
    problem = estate(5, plots=50, weeks=12, need=80.0)
    plan = making.by_hand.tuned(problem, "oldest")
    mass = np.repeat((problem.stand_t[:, None] * problem.keep)[None], 2, 0)
    share = np.stack([problem.share, problem.share * 0.3])
    band = forecast.weekly(problem, plan, share, mass, np.repeat(problem.sugar[None], 2, 0))
    delivered = account(problem, plan).delivered
    assert (band["t_hi"] <= delivered + 1e-6).all() and band["t_lo"].sum() < 0.9 * delivered.sum()


def test_empty_plan_has_an_interval_too():
    problem = estate(5, plots=10, weeks=5)
    band = forecast.weekly(problem, Plan("x", np.zeros(problem.shape), ()), np.ones((2, 10, 5)), np.ones((2, 10, 5)), np.ones((2, 10, 5)))
    assert (band["t_hi"] == 0).all()
