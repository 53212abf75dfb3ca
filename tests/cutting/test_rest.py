"""The rest that forbids cutting a plot, and the weeks the plan cuts it: the same days that close the plan's weeks."""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from webapp.cutting import plot_service
from webapp.cutting.assembly import PlotFacts, ZoneFacts, closed_weeks, rest_end
from webapp.cutting.problem import LABOR
from webapp.weeks import monday_of, weeks_from

TODAY = date(2026, 11, 23)
COLUMNS = ["plot", "day", "labor", "product", "reentry_hours", "harvest_days"]


class Clock:
    def today(self):
        return TODAY

    def week(self):
        return "2026-W48"


@pytest.fixture()
def noted(monkeypatch):
    def note(*rows):
        monkeypatch.setattr(plot_service.survey, "labors", lambda db: pd.DataFrame(rows, columns=COLUMNS))
        monkeypatch.setattr(plot_service.clock, "of", lambda db: Clock())

    return note


def test_the_rest_that_ends_last_counts_and_one_that_is_over_does_not(noted):
    noted(("A", date(2026, 11, 17), "spraying", "cobre", 24.0, 30.0), ("A", date(2026, 11, 20), "spraying", None, 48.0, np.nan), ("A", date(2026, 10, 1), "spraying", "jabón", 12.0, 7.0), ("B", TODAY, "weeding", None, np.nan, np.nan))
    assert plot_service.rest(None, "A") == {"until": date(2026, 12, 17), "day": date(2026, 11, 17), "labor": "spraying", "product": "cobre"}
    assert plot_service.rest(None, "B") is None and plot_service.rest(None, "C") is None
    noted(("A", TODAY, "spraying", None, 1.0, np.nan))
    assert plot_service.rest(None, "A")["until"] == TODAY + timedelta(days=1) and plot_service.rest(None, "A")["product"] is None


@pytest.mark.parametrize("days", [1, 6, 7, 20, 27])
def test_its_end_is_the_day_from_which_the_plan_may_cut(days):
    weeks = weeks_from(TODAY, 8)
    closed = closed_weeks([PlotFacts("A", "A", "z", 80.0, None, ((TODAY, 0.0, float(days)),))], {"z": ZoneFacts(1.0, None, True)}, weeks, set(), [])[0]
    until = rest_end(TODAY, 0.0, days)
    assert [c == LABOR for c in closed] == [monday_of(w) < until for w in weeks]


def test_weeks_of_the_plan_in_runs_from_this_one_on(noted, monkeypatch):
    noted()
    monkeypatch.setattr(plot_service.service, "cuts_of", lambda db, plot: [{"week": w} for w in ("2026-W47", "2026-W52", "2026-W53", "2027-W01", "2027-W04", "2027-W04")])
    assert plot_service.spans(None, "A") == [("2026-W52", "2027-W01"), ("2027-W04", "2027-W04")]
