"""The kernel keeps its word: weeks, sentences, settings, answers, jobs, backup."""

from datetime import date

import numpy as np
import pytest

from webapp import answers, clock, jobs, settings, weeks
from webapp.database import atomic, backup, open_estate, restore
from webapp.problems import Problem
from webapp.quantity import Constant, Estimate
from webapp.sentences import say


# Source: ISO 8601 as computed by Python's datetime; 2026 has 53 weeks.
@pytest.mark.parametrize("day, week", [
    (date(2018, 12, 31), "2019-W01"), (date(2020, 12, 31), "2020-W53"), (date(2025, 12, 29), "2026-W01"),
    (date(2026, 12, 28), "2026-W53"), (date(2026, 12, 31), "2026-W53"), (date(2027, 1, 4), "2027-W01")])
def test_iso_weeks(day, week):
    assert weeks.week_of(day) == week
    assert weeks.monday_of(week) <= day


def test_week_53_only_where_the_year_has_it():
    assert weeks.weeks_from(date(2026, 12, 22), 3) == ["2026-W52", "2026-W53", "2027-W01"]
    with pytest.raises(ValueError):
        weeks.monday_of("2025-W53")


def test_constant_needs_a_source():
    with pytest.raises(ValueError, match="source"):
        Constant("g", 9.81, "m/s2", 0.0, " ")


def test_interval_holds_its_value():
    with pytest.raises(ValueError):
        Estimate(5.0, 6.0, 7.0, "t", 1, "x")


def test_problem_speaks_both_languages():
    problem = Problem("setting_out_of_range", where="target_brix_deg", value=99, low=15, high=35, unit="°Bx")
    assert "15" in problem.text("es") and "15" in problem.text("en")
    assert problem.as_dict("en")["status"] == 422
    assert say("problem.setting_choice.do", "en", choices="a, b") == "Choose one of: a, b."


def test_settings_keep_every_change(db):
    assert settings.load(db)["target_brix_deg"] == 24.0
    after = settings.change(db, {"target_brix_deg": "23,5"}, "Ana")
    assert after["target_brix_deg"] == 23.5 and after.version == 1 and after.changed("target_brix_deg")
    with pytest.raises(Problem, match="fuera"):
        settings.change(db, {"need_t_week": 100, "target_brix_deg": 99}, "Ana")
    assert settings.load(db)["need_t_week"] == 280.0, "a refused change leaves everything as it was"


def test_answers_come_back_as_stored(db):
    answers.put(db, "ripeness", "k1", {"n": 1}, {"mean": np.arange(6.0).reshape(2, 3)})
    found = answers.latest(db, "ripeness")
    assert found.key == "k1" and found.meta == {"n": 1} and found.arrays["mean"][1, 2] == 5.0
    with pytest.raises(ValueError):
        answers.put(db, "ripeness", "k2", {"n": float("nan")})


def test_jobs_run_report_and_fail_visibly(db):
    jobs.ask(db, "double", "Ana", n=4)
    assert jobs.ask(db, "double", "Ana", n=4) == 1, "the same waiting job is not queued twice"
    jobs.ask(db, "broken", "Ana")
    kinds = {"double": lambda db, params, progress: progress(0.5, "x") and params["n"] * 2, "broken": lambda *_: 1 / 0}
    assert jobs.run_next(db, kinds) == 1 and jobs.run_next(db, kinds) == 2 and jobs.run_next(db, kinds) is None
    assert jobs.state(db, 1)["result"] == "8" and jobs.state(db, 1)["state"] == "done"
    assert "ZeroDivisionError" in jobs.state(db, 2)["result"]


def test_atomic_is_all_or_nothing(db):
    with pytest.raises(RuntimeError):
        with atomic(db):
            answers.bump(db, "land")
            raise RuntimeError
    assert answers.version(db, "land") == 0


def test_backup_and_restore(db, tmp_path):
    settings.change(db, {"need_t_week": 111}, "Ana")
    backup(db, tmp_path / "copy.db")
    with pytest.raises(Problem):
        backup(db, tmp_path / "copy.db")
    restore(tmp_path / "copy.db", tmp_path / "again.db")
    again = open_estate(tmp_path / "again.db")
    assert settings.load(again)["need_t_week"] == 111
    assert again["estate"].get(1)["store_epoch"] != "prueba"
    assert clock.of(again).today() == date(2026, 11, 23)
