"""From land, field work and settings to the arrays: closures, leases, intervals, passes under way, needs."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from webapp import settings
from webapp.cutting.assembly import Field, Orders, PlotFacts, ZoneFacts, assemble, under_way
from webapp.cutting.problem import LABOR, LEASE, OPEN, RAIN, ROAD, STOP, Rules
from webapp.weeks import weeks_from

TODAY = date(2026, 11, 23)
ZONES = {"A": ZoneFacts(20.0, None, True), "B": ZoneFacts(50.0, 15.0, False)}


def problem(plots, closures=(), weeks=52, orders=Orders(), needs=None, people=(6, 8), **values):
    n = len(plots)
    rng = np.random.default_rng(1)
    mass = np.linspace(500, 560, weeks)[None, :] * rng.uniform(0.8, 1.2, (n, 1))
    field = Field(mass, np.full((n, weeks), 0.6), np.full((n, weeks), 0.24), np.full((n, weeks), 24.5))
    return assemble(plots, ZONES, weeks_from(TODAY, weeks), field, list(people), list(closures), settings.defaults().with_values(**values), needs, orders)


def test_stop_weeks_close_all_and_ask_nothing():
    made = problem([PlotFacts("P1", "Uno", "A", 90.0)], stop_weeks="W52 2027-W03, W53")
    stopped = [w for w, c in zip(made.weeks, made.closed[0]) if c == STOP]
    assert stopped == ["2026-W52", "2026-W53", "2027-W03"]
    assert all(made.need_low[made.weeks.index(w)] == made.need_high[made.weeks.index(w)] == 0 for w in stopped)
    assert made.need_low[0] == 280 and made.need_high[0] == 310


def test_lease_is_a_hard_last_cut_and_its_end_value_is_nothing():
    made = problem([PlotFacts("P1", "Uno", "A", 90.0, date(2026, 12, 19)), PlotFacts("P2", "Dos", "A", 90.0)])
    assert [w for w, c in zip(made.weeks, made.closed[0]) if c == OPEN] == ["2026-W48", "2026-W49", "2026-W50", "2026-W51"]
    assert made.closed[0, 4] == LEASE and made.last_week[0] == 3 and made.last_week[1] == len(made.weeks)
    assert made.end_value[0] == 0.0 and made.end_value[1] > 0


def test_a_lease_ending_on_friday_does_not_open_its_last_week():
    made = problem([PlotFacts("P1", "Uno", "A", 90.0, date(2026, 12, 18))])
    assert made.last_week[0] == 2 and made.closed[0, 3] == LEASE


def test_spraying_closes_every_week_its_interval_touches():
    made = problem([PlotFacts("P1", "Uno", "A", 90.0, labors=((date(2026, 11, 20), 48.0, 12.0),))])   # to 2 December
    assert made.closed[0, :3].tolist() == [LABOR, LABOR, OPEN]
    made = problem([PlotFacts("P1", "Uno", "A", 90.0, labors=((date(2026, 11, 20), 48.0, 0.0),))])     # to Sunday 22nd: over
    assert made.closed[0, 0] == OPEN


def test_closed_roads_and_rains():
    made = problem([PlotFacts("P1", "Uno", "A", 90.0), PlotFacts("P2", "Dos", "B", 90.0)], [{"scope": "zone", "subject": "A", "from_week": "2026-W50", "to_week": "2026-W51"},
                   {"scope": "plot", "subject": "P2", "from_week": "2026-W49", "to_week": "2026-W49"}])
    assert [made.weeks[w] for w in np.flatnonzero(made.closed[0] == ROAD)] == ["2026-W50", "2026-W51"]
    assert [made.weeks[w] for w in np.flatnonzero(made.closed[1] == ROAD)] == ["2026-W49"]
    june = problem([PlotFacts("P1", "Uno", "A", 90.0), PlotFacts("P2", "Dos", "B", 90.0)], weeks=60)
    assert not (june.closed == RAIN).any()        # November to May within 26 weeks
    from webapp.cutting.assembly import closed_weeks

    long = closed_weeks([PlotFacts("P2", "Dos", "B", 90.0)], ZONES, weeks_from(TODAY, 60), set(), [])
    wet = [w for w, c in zip(weeks_from(TODAY, 60), long[0]) if c == RAIN]
    assert wet[0] == "2027-W22" and wet[-1] == "2027-W43"


def test_trucks_crews_and_money():
    made = problem([PlotFacts("P1", "Uno", "A", 90.0), PlotFacts("P2", "Dos", "B", 90.0)])
    assert made.trips_per_t.tolist() == pytest.approx([1 / 20, 1 / 15])
    assert made.crew_t[0] == pytest.approx(14 * 2.5 * 6) and made.active_plots == 5
    assert made.value[0, 0] == pytest.approx(0.24 * 38.0 - (350 + 4.5 * 20) / 1000)
    assert made.value[1, 0] < made.value[0, 0]
    assert made.end_value[0] == pytest.approx(0.97 * made.value[0, 0] * 560 / 500)


def test_own_need_of_a_week():
    made = problem([PlotFacts("P1", "Uno", "A", 90.0)], needs={"2026-W49": 140.0})
    assert made.need_low[1] == 140.0 and made.need_high[1] == pytest.approx(140 * 310 / 280) and made.need_low[2] == 280.0


def test_what_was_hauled_this_week_is_not_asked_again():
    made = problem([PlotFacts("P1", "Uno", "A", 90.0)], orders=Orders(1, {("P1", "2026-W48"): 100.0}, {"P1": 60.0}))
    assert made.need_low[0] == pytest.approx(220.0) and made.trips[0] == pytest.approx(17.0)
    assert made.keep[0, 0] * made.held[0, 0] == pytest.approx(40.0)


@pytest.mark.parametrize("days, expected", [
    ((), (0, 0)),
    ((date(2026, 11, 19),), (1, 4)),                          # last week: one week in, rest 4 weeks after it
    ((date(2026, 11, 12), date(2026, 11, 19)), (2, 4)),
    ((date(2026, 11, 5), date(2026, 11, 12), date(2026, 11, 19)), (0, 4)),    # three weeks: over
    ((date(2026, 11, 12),), (2, 3)),                          # a week's pause inside the pass counts as part of it
    ((date(2026, 9, 10), date(2026, 11, 19)), (1, 4)),        # an earlier pass is not this one
    ((date(2026, 10, 15),), (0, 0)),                          # rested
])
def test_passes_under_way(days, expected):
    assert under_way(days, TODAY, Rules()) == expected
