"""What was said against what came, on an estate file: made again honestly, never in place of what was said, and counted before it is judged."""

import json
import shutil
import uuid
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from webapp import settings
from webapp.crop import tonnes_service
from webapp.crop import track_service as service
from webapp.database import atomic, open_estate
from webapp.ripeness import service as ripeness
from webapp.ripeness import track_service as said_brix
from webapp.survey import past_service
from webapp.survey import service as survey
from webapp.tonnage import said_service as said_mass

from ..ripeness.test_service import load_land, visit

TODAY = date(2026, 11, 23)
PLOTS = {f"VS-{n:02d}": (f"{2019 + n % 2}-07-01", "Vado") for n in range(1, 9)}
SAID = "SELECT on_day, plot, week, mean_deg, sd_deg, share, rate_deg_week, visit_sd_deg, said_from FROM said ORDER BY on_day, plot, week"
MASS = "SELECT on_day, plot, week, pina_kg, pina_log_sd, mass_t, said_from FROM said_mass ORDER BY on_day, plot, week"


def new_estate(path, today=TODAY):
    db = open_estate(path, create=True)
    db["estate"].insert({"id": 1, "name": "Rancho", "time_zone": "America/Mexico_City", "frozen_today": today.isoformat(), "created_at": "2026-01-01T12:00:00Z", "store_epoch": "prueba"})
    load_land(db, PLOTS)
    return db


def rounds(db, until=TODAY):
    for i, code in enumerate(PLOTS):
        for days in range(10 + i, 300, 30):
            if TODAY - timedelta(days=days) <= until:
                visit(db, code, days, 22.0 - days / 120 + 0.4 * (i % 3), n=8, seed=i)


def loads(db, days_ago, codes, kg=52.0):
    lines = ["id,kind,plot,taken_at,plants,net_kg,clearing"]
    lines += [f"{uuid.uuid5(uuid.NAMESPACE_OID, f'load{c}{days_ago}')},load,{c},{TODAY - timedelta(days=days_ago)}T10:00:00-06:00,200,{200 * kg},1" for c in codes]
    return survey.load_file(db, "\n".join(lines).encode(), "load.csv", "Ana")


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    where = tmp_path_factory.mktemp("track") / "estate.db"
    db = new_estate(where)
    rounds(db)
    loads(db, 150, ["VS-01", "VS-02", "VS-03"])
    loads(db, 10, ["VS-04", "VS-05"])
    ripeness.answer(db)
    service.replay(db, count=2)
    db.conn.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    db.conn.close()
    return where


@pytest.fixture()
def told(path, tmp_path):
    db = open_estate(shutil.copy(path, tmp_path / "estate.db"))
    yield db
    db.conn.close()


def test_made_afterwards_is_what_an_estate_of_then_would_have_said(told, tmp_path):
    """An estate that never had the later records says the same on that day, to the last digit stored."""
    day = TODAY - timedelta(weeks=13)
    then = new_estate(tmp_path / "then.db", today=day)
    rounds(then, until=day)
    loads(then, 150, ["VS-01", "VS-02", "VS-03"])
    ripeness.fit(then)
    then_said = [row[:8] for row in then.conn.execute(SAID).fetchall()]
    ours = [row for row in told.conn.execute(SAID).fetchall() if row[0] == day.isoformat()]
    assert len(ours) == 3 * len(PLOTS) and {row[8] for row in ours} == {"replayed"}
    for mine, theirs in zip(ours, then_said):
        assert mine[:3] == theirs[:3] and mine[3:8] == pytest.approx(theirs[3:8], abs=1e-9)
    assert {row[6] for row in told.conn.execute(MASS).fetchall() if row[0] == day.isoformat()} == {"replayed"}
    then.conn.close()


def test_saying_it_again_changes_nothing_and_the_log_stays_whole(told):
    before, mass, log = told.conn.execute(SAID).fetchall(), told.conn.execute(MASS).fetchall(), told.conn.execute("SELECT count(*), max(n) FROM record").fetchone()
    version, today = survey.data_version(told), told.conn.execute("SELECT frozen_today FROM estate").fetchone()
    service.replay(told, count=2)
    assert told.conn.execute(SAID).fetchall() == before and told.conn.execute(MASS).fetchall() == mass
    assert told.conn.execute("SELECT count(*), max(n) FROM record").fetchone() == log and survey.data_version(told) == version
    assert told.conn.execute("SELECT frozen_today FROM estate").fetchone() == today
    assert {row[8] for row in before if row[0] == TODAY.isoformat()} == {"when_said"}


def test_what_was_said_is_never_replaced(told):
    day = (TODAY - timedelta(weeks=13)).isoformat()
    with atomic(told):
        told.execute("UPDATE said SET said_from = 'when_said', mean_deg = 1.0 WHERE on_day = ? AND plot = 'VS-01'", [day])
    assert service.replay_days(told, 2) == [TODAY - timedelta(weeks=26)]  # a day on which something was said is left alone
    with past_service.past(told) as back_to:
        copy, stood = back_to(date.fromisoformat(day))
        assert len(stood) == len(PLOTS)
        said_brix.say_again(told, copy, date.fromisoformat(day))
    rows = [row for row in told.conn.execute(SAID).fetchall() if row[0] == day]
    assert {row[3] for row in rows if row[1] == "VS-01"} == {1.0} and len(rows) == 3 * len(PLOTS)


def test_stopping_keeps_the_days_made(told):
    with atomic(told):
        told.execute("DELETE FROM said WHERE said_from = 'replayed'")
    made = service.replay(told, progress=lambda done, code: done < 0.4, count=2)
    assert [d["on_day"] for d in made["days"]] == [(TODAY - timedelta(weeks=13)).isoformat()]


def test_pairs_use_nothing_that_came_later(told):
    found, left_out = said_brix.pairs(told)
    assert len(found) and not len(left_out) and found.replayed.all() and (found.day > found.on_day).all()
    assert (np.abs(found.day - (found.on_day + 7 * found.weeks)) <= 21 + 3).all()
    keys = list(zip(found.plot, found.day, found.weeks))
    assert len(keys) == len(set(keys))  # an outcome counts once for each horizon
    readings = survey.readings(told)
    for i in np.linspace(0, len(found) - 1, 5).astype(int):
        mine = readings[(readings["plot"] == found.plot[i])]
        days = np.array([d.toordinal() for d in mine["day"]])
        last = mine["brix20_deg"].to_numpy()[days == days[days <= found.on_day[i]].max()].mean()
        assert found.rules["last"][0][i] == pytest.approx(last) and found.seen[i] == pytest.approx(mine["brix20_deg"].to_numpy()[days == found.day[i]].mean())


def test_a_round_after_a_selective_pass_is_not_held_against_what_was_said(told):
    found, _ = said_brix.pairs(told)
    i = int(np.argmax(found.day))
    on = date.fromordinal(int(found.on_day[i]) + 1)
    survey.load_file(told, f"id,kind,plot,taken_at,plants,net_kg,clearing\n{uuid.uuid4()},load,{found.plot[i]},{on}T10:00:00-06:00,100,5000,0".encode(), "load.csv", "Ana")
    again, left_out = said_brix.pairs(told)
    gone = set(zip(found.plot, found.day, found.weeks)) - set(zip(again.plot, again.day, again.weeks))
    assert len(left_out) == len(gone) >= 1 and {plot for plot, _, _ in gone} == {found.plot[i]}


def test_masses_meet_the_scale_and_few_are_not_scored(told):
    found = service.mass_pairs(told)
    assert set(found.plot) == {f"VS-0{n}" for n in range(1, 6)} and found.seen == pytest.approx(np.log(52.0))
    whole = service.record(told)
    assert whole["mass"]["all"]["enough"] is False and whole["mass"]["all"]["n"] == len(found) and whole["art"]["n"] == 0
    assert whole["brix"]["all"]["enough"] and 0.5 < whole["brix"]["all"]["cover80"]["value"] <= 1.0
    only = service.record(told, only_said=True)
    assert only["brix"]["all"] == {"n": 0, "outcomes": 0, "days": 0, "plots": 0, "n_replayed": 0, "needed": 30, "enough": False} and only["next_pairs_by"] == "2026-12-21"
    assert [d["said_from"] for d in whole["days"]] == ["replayed", "replayed", "when_said"] and len(only["days"]) == 1
    json.dumps(whole, allow_nan=False)


def test_chances_speak_of_the_target_of_then_and_tell_what_became_of_the_rest(told):
    found = said_brix.told(told)
    c = found.chances
    assert len(c.pairs) == len(found.brix) and c.target == pytest.approx(24.0, abs=1e-3) and (c.own_sd < c.pairs.sd).all()
    settings.change(told, {"target_brix_deg": 25.5}, "Ana")
    assert said_brix.told(told).chances.target == pytest.approx(24.0, abs=1e-3), "what was said is held against the target it spoke of"
    seen = found.brix.at(np.array([0]))
    cleared = pd.DataFrame({"plot": seen.plot, "day": seen.day, "seen": [30.0], "noise_deg": [0.9]})
    assert not said_brix.told(told, cleared).chances.by_cut.any(), "a round tells more than the sugar of what was cut"
    with atomic(told):  # of one plot something was said of a week that no round is near
        told.execute("INSERT INTO said SELECT NULL, fit, '2025-11-03', plot, '2025-W49', mean_deg, sd_deg, share, chance, mass_t, rate_deg_week, visit_sd_deg, plant_sd_deg, 'when_said', NULL, NULL, NULL FROM said WHERE plot = 'VS-08' LIMIT 1")
    mean, sd, pace = told.conn.execute("SELECT mean_deg, sd_deg, rate_deg_week FROM said WHERE on_day = '2025-11-03'").fetchone()
    cleared = pd.DataFrame({"plot": ["VS-08"], "day": [date(2025, 12, 11).toordinal()], "seen": [30.0], "noise_deg": [0.9]})
    again = said_brix.told(told, cleared)
    cut = again.chances.at(again.chances.by_cut)
    assert len(cut.pairs) == 1 and cut.hits.all() and len(again.brix) == len(found.brix) == len(again.chances.pairs) - 1
    assert cut.pairs.mean == pytest.approx(mean + pace) and cut.pairs.sd == pytest.approx(np.hypot(sd, 0.9)) and cut.own_sd == pytest.approx(sd)
    fate = service.record(told)["chance"]["fate"]
    assert fate["said"] == fate["met"] + fate["cut"] + fate["unseen"] and 0 < fate["met"] <= len(c.pairs)
    assert {"VS-04", "VS-05"} & set(c.pairs.plot)  # a clearing after the round takes nothing away



def test_tonnes_meet_the_scale_when_a_plot_is_cut_whole(told):
    none = tonnes_service.record(tonnes_service.held(told))
    assert none["all"]["n"] == 0 and none["plots"] == [] and none["left_out"]["standing"] == 5
    with atomic(told):
        told.execute("UPDATE plot SET status = 'cut' WHERE code IN ('VS-01', 'VS-02', 'VS-04')")
    held = tonnes_service.held(told)
    p = held.pairs
    pairs = {(p.plot[i], int(p.weeks[i])): i for i in range(len(p))}
    assert set(pairs) == {("VS-01", 4), ("VS-02", 4), ("VS-04", 12), ("VS-04", 26)} and np.exp(p.seen) == pytest.approx(10.4)
    stored = told.conn.execute("SELECT mass_t, mass_low80_t, mass_high80_t FROM said_tonnes WHERE plot = 'VS-04' AND on_day = ? ORDER BY week", [(TODAY - timedelta(weeks=13)).isoformat()]).fetchall()
    i, moved = pairs["VS-04", 12], float(np.exp(p.mean[pairs["VS-04", 12]])) / np.sqrt(stored[1][1] * stored[1][2])
    assert moved == pytest.approx(1.0, abs=0.01) and held.said_t[i] == pytest.approx(stored[1][0] * moved) and held.said_t[i] > np.exp(p.mean[i]) and not held.is_median.any(), "the mean, as pages said it"
    assert p.sd[pairs["VS-04", 12]] == pytest.approx(np.log(stored[1][2] / stored[1][1]) / 2.563, rel=1e-3)
    found = service.record(told)["tonnes"]
    assert not found["all"]["enough"] and found["sums"]["4"]["n"] == 2 and found["sums"]["4"]["came_t"] == pytest.approx(20.8) and {row["plot"] for row in found["plots"]} == {"VS-04", "VS-01", "VS-02"}
    miss = [max(abs(one["off_percent"]) for one in row["said"].values()) for row in found["plots"]]
    assert miss == sorted(miss, reverse=True) and found["plots"][0]["said"]["12"]["off_percent"] == pytest.approx(100 * (10.4 / held.said_t[i] - 1), rel=1e-3)
    assert found["plots"][0]["said"]["12"]["replayed"] and set(found["plots"][0]["said"]) == {"12", "26"}
    survey.load_file(told, f"id,kind,plot,taken_at,plants,net_kg,clearing\n0192f000-0000-7000-8000-00000000000a,load,VS-04,{TODAY - timedelta(days=40)}T10:00:00-06:00,100,5000,0".encode(), "load.csv", "Ana")
    again = tonnes_service.held(told)
    with atomic(told):  # of a day before means were kept there is the median alone
        told.execute("DELETE FROM said_tonnes WHERE plot = 'VS-01'")
    old = tonnes_service.held(told)
    assert dict(zip(old.pairs.plot, old.is_median)) == {"VS-01": True, "VS-02": False} and tonnes_service.record(old)["medians"] == 1
    j = list(old.pairs.plot).index("VS-01")
    median = told.conn.execute("SELECT mass_t FROM said_mass WHERE plot = 'VS-01' AND on_day = ? ORDER BY week LIMIT 1", [date.fromordinal(int(old.pairs.on_day[j])).isoformat()]).fetchone()[0]
    assert old.said_t[j] == pytest.approx(median, rel=0.02) and old.said_t[j] == pytest.approx(np.exp(old.pairs.mean[j]))
    assert again.left_out["passed"] == 2 and set(again.pairs.plot) == {"VS-01", "VS-02"}
    assert len(again.only_said().pairs) == 0


def test_a_plot_cut_since_stood_then(told):
    with atomic(told):
        told.execute("UPDATE plot SET status = 'cut' WHERE code IN ('VS-04', 'VS-07')")  # VS-04 has loads of ten days ago, VS-07 none: nobody knows when
    with past_service.past(told) as back_to:
        copy, stood = back_to(TODAY - timedelta(weeks=13))
        assert set(PLOTS) - set(stood) == {"VS-07"}
        assert max(survey.readings(copy)["day"]) <= TODAY - timedelta(weeks=13)
        _, earlier = back_to(date(2019, 12, 1))
        assert set(earlier) == {code for code, (planted, _) in PLOTS.items() if planted <= "2019-12-01"} - {"VS-07"}


def test_an_estate_with_nothing(tmp_path):
    db = new_estate(tmp_path / "bare.db")
    assert service.replay(db)["days"] == [] and said_mass.said(db) == []
    found = service.record(db)
    assert found["brix"]["all"]["n"] == 0 and found["brix"]["worst"] == [] and found["art"]["line"]["loads"] == 0
    db.conn.close()


def test_the_command(path):
    from webapp.cli import main_group

    run = lambda *words: CliRunner().invoke(main_group, ["--estate", str(path), *words], catch_exceptions=False)  # noqa: E731
    assert json.loads(run("track", "--json").stdout)["brix"]["all"]["n"] == json.loads(run("track", "--json").stdout)["brix"]["by_weeks"]["4"]["n"] + sum(
        json.loads(run("track", "--json").stdout)["brix"]["by_weeks"][w]["n"] for w in ("12", "26"))
    for language, word in (("es", "comparaciones"), ("en", "comparisons")):
        shown = run("--lang", language, "track").stdout
        assert word in shown and "brix" in shown
