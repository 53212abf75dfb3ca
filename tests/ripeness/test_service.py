"""Ripeness on an estate file: stored, said, and moved by records."""

import json
import uuid
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from click.testing import CliRunner

from tests.conftest import closed, copied, founded
from webapp import answers, settings
from webapp.land import service as land
from webapp.problems import Problem
from webapp.ripeness import first_ripe, rare, readiness, ripening, service, shock
from webapp.sentences import Sentence
from webapp.survey import service as survey

TODAY = date(2026, 11, 23)
PLOTS = {"VS-01": ("2019-07-01", "Vado"), "VS-02": ("2021-06-20", "Vado"), "VS-03": ("2025-07-01", "Vado"), "LA-01": ("2019-08-01", "Loma"), "LA-02": (None, "Loma"), "LA-03": (None, "Loma")}
HEAD = "id,install,seq,round,kind,plot,taken_at,brix_raw_deg,juice_temp_c,planting_year,sure,row,plant"


def load_land(db, plots=PLOTS, start=0):
    features = []
    for n, (code, (planted, zone)) in enumerate(plots.items(), start):
        x, y = -103 + 0.01 * n, 20.6
        features.append({"type": "Feature", "properties": {"code": code, "name": f"Tabla {n}", "parcel": "P1", "planted_on": planted, "zone": zone, "registered_plants": 300000},
                         "geometry": {"type": "Polygon", "coordinates": [[[x, y], [x + 0.003, y], [x + 0.003, y + 0.003], [x, y + 0.003], [x, y]]]}})
    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "t.geojson"), "Ana")


def visit(db, code, days_ago, mean_deg, n=12, seed=0, spread=2.0):
    """One round's readings at 20 °C whose mean is exactly ``mean_deg``."""
    off = np.random.default_rng([seed, days_ago]).normal(0, spread, n)
    off -= off.mean()
    name, day = str(uuid.uuid5(uuid.NAMESPACE_OID, f"{code}{days_ago}{seed}")), TODAY - timedelta(days=days_ago)
    rows = [f"{uuid.uuid5(uuid.NAMESPACE_OID, f'{name}{i}')},,,,reading,{code},{day}T09:{i:02d}:00-06:00,{mean_deg + x:.6f},20,,,1,{i + 1}" for i, x in enumerate(off)]
    return survey.load_file(db, "\n".join([HEAD.replace("planting_year,sure,", ""), *(r.replace(",20,,,1,", ",20,1,") for r in rows)]).encode(), "reading.csv", "Ana")


def read_thrice(db):
    """Six plots, three of them visited three times; nothing is worked out yet."""
    load_land(db)
    for seed, (code, high) in enumerate((("VS-01", 24.6), ("VS-02", 20.5), ("LA-01", 23.2))):
        for days in (20, 150, 330):
            visit(db, code, days, high - days / 150, seed=seed)
    return db


@pytest.fixture()
def field(db):
    return read_thrice(db)


@pytest.fixture(scope="module")
def answered(tmp_path_factory):
    """The same with its answer; tests get copies."""
    db = read_thrice(founded(path := tmp_path_factory.mktemp("field") / "estate.db"))
    service.answer(db)
    closed(db)
    return path


@pytest.fixture()
def fitted(answered, estate_path):
    with copied(answered, estate_path) as db:
        yield db


def test_an_answer_for_every_plot_and_week(field):
    a = service.answer(field)
    assert a.meta["plots"] == sorted(PLOTS) and len(a.meta["weeks"]) == 105 and a.meta["weeks"][0] == "2026-W48" and a.meta["n_visits"] == 9
    for name in ("mean_deg", "sd_deg", "lo80", "hi80", "lo95", "hi95", "share", "share_lo", "share_hi", "chance", "keep_share"):
        assert a.arrays[name].shape == (6, 105) and a.arrays[name].dtype == np.float32 and np.isfinite(a.arrays[name]).all()
    assert (a.arrays["lo95"] <= a.arrays["lo80"]).all() and (a.arrays["share_lo"] <= a.arrays["share_hi"]).all()
    for name in ("share", "chance", "keep_share"):
        assert a.arrays[name].min() >= 0 and a.arrays[name].max() <= 1
    at = a.meta["plots"].index
    assert a.arrays["share"][at("VS-01"), 0] > a.arrays["share"][at("VS-02"), 0] > a.arrays["share"][at("VS-03"), 0]
    assert readiness.CONDITIONS[a.arrays["condition"][at("VS-03"), 0]] == "T"
    assert a.arrays["sd_deg"][at("LA-03"), 0] > 2 * a.arrays["sd_deg"][at("LA-01"), 0]
    assert a.meta["by_plot"]["LA-03"]["borrowed_share"] == 1.0 and a.meta["by_plot"]["LA-01"]["borrowed_share"] < 0.3


def test_same_file_same_answer(field, tmp_path):
    service.fit(field)
    first = field.conn.execute("SELECT key, meta, arrays FROM answer WHERE stage = 'ripeness'").fetchone()
    service.fit(field)
    assert tuple(field.conn.execute("SELECT key, meta, arrays FROM answer WHERE stage = 'ripeness'").fetchone()) == tuple(first)
    assert field.conn.execute("SELECT count(*), count(DISTINCT plot), count(DISTINCT week) FROM said").fetchone()[:] == (18, 6, 3)


def test_a_record_moves_its_plot_at_once_and_the_refit_agrees(fitted):
    a = service.answer(fitted)
    i = a.meta["plots"].index("VS-02")
    assert not service.stale(a, fitted)
    before = service.plot_now(fitted, "VS-02")
    assert before["mean_deg"] == pytest.approx(a.arrays["mean_deg"][i])
    visit(fitted, "VS-02", 1, 16.5, seed=9)
    assert service.stale(service.answer(fitted), fitted)
    now = service.plot_now(fitted, "VS-02")
    assert now["mean_deg"][0] < before["mean_deg"][0] - 1 and now["share"][0] < before["share"][0] and now["n_visits"] == 4
    other = service.plot_now(fitted, "VS-01")
    assert other["mean_deg"] == pytest.approx(a.arrays["mean_deg"][a.meta["plots"].index("VS-01")], abs=1e-4)  # one visit moves one plot
    assert service.answer(fitted).key == a.key  # the estate's answer waits for the refit
    refitted = service.answer(fitted, fresh=True)
    assert refitted.key != a.key and refitted.arrays["mean_deg"][i, 0] == pytest.approx(now["mean_deg"][0], abs=0.8)


def test_closed_form_equals_the_stored_answer(fitted):
    """Made stale by a setting that moves nothing here, the closed form gives the stored numbers."""
    a = service.answer(fitted)
    settings.change(fitted, {"haul_cost_mxn_t_km": 5.0}, "Ana")
    assert service.stale(a, fitted)
    for i, code in enumerate(a.meta["plots"]):
        now = service.plot_now(fitted, code)
        for name in service.CURVES:
            assert now[name] == pytest.approx(a.arrays[name][i], abs=2e-4), (code, name)
        assert now["window"] == a.meta["by_plot"][code]["window"]
        assert [s["code"] for s in now["why"]] == [s["code"] for s in a.meta["by_plot"][code]["why"]]


def test_a_plot_that_came_after_the_fit(fitted):
    service.answer(fitted)
    load_land(fitted, {"VS-09": ("2020-07-01", "Vado")}, start=9)
    now = service.plot_now(fitted, "VS-09")
    assert now["n_visits"] == 0 and np.isfinite(now["mean_deg"]).all() and now["sd_deg"][0] > 0.5
    with pytest.raises(Problem) as refused:
        service.plot_now(fitted, "XX-99")
    assert refused.value.code == "plot_not_standing" and refused.value.status == 404


def test_age_from_a_check_and_age_unknown(field):
    survey.load_file(field, "\n".join(["id,kind,plot,taken_at,planting_year,sure", f"{uuid.uuid5(uuid.NAMESPACE_OID, 'age')},age_check,LA-02,2026-11-20T09:00:00-06:00,2024,1"]).encode(), "age_check.csv", "Ana")
    about = service.answer(field, fresh=True).meta["by_plot"]
    assert about["LA-02"]["age_how"] == "checked" and about["LA-02"]["age_months"] == pytest.approx(28.3, abs=0.3)
    assert about["LA-03"]["age_how"] == "unknown" and about["VS-01"]["age_how"] == "dated"
    codes = {code: [s["code"] for s in plot["why"]] for code, plot in about.items()}
    assert "ripeness.why.age_checked" in codes["LA-02"] and "ripeness.why.age_unknown" in codes["LA-03"] and "ripeness.why.never" in codes["LA-03"]


def test_reasons_move_with_the_data(fitted):
    def told(code):
        return {s["code"]: s["params"] for s in service.plot_now(fitted, code)["why"]}

    service.answer(fitted)
    before = told("VS-01")
    assert before["ripeness.why.visits"] == {"n": 3, "days": 20, "plants": 12}
    visit(fitted, "VS-01", 2, 27.5, n=9, seed=7)
    after = told("VS-01")
    assert after["ripeness.why.visits"] == {"n": 4, "days": 2, "plants": 9}
    assert after["ripeness.why.own"]["own"] > before["ripeness.why.own"]["own"]
    before = service.plot_now(fitted, "VS-02")["mean_deg"][0]
    visit(fitted, "VS-02", 2, 25.5, n=14, seed=7)
    assert service.plot_now(fitted, "VS-02")["mean_deg"][0] > before + 1
    expected = service.plot_now(fitted, "VS-03")["mean_deg"][0]  # young and never visited: one round far above its curve is read as ahead of its zone
    assert service.plot_now(fitted, "VS-03")["pace_months"] == 0
    visit(fitted, "VS-03", 2, float(expected) + 4, n=14, seed=7)
    assert service.plot_now(fitted, "VS-03")["pace_months"] > 1
    for language in ("es", "en"):
        assert all(Sentence(**s).text(language) for s in service.plot_now(fitted, "VS-01")["why"])


def test_a_higher_target_means_less_ripe(fitted):
    low = service.answer(fitted)
    settings.change(fitted, {"target_brix_deg": 26.0}, "Ana")
    mean, share = service.draws(fitted, low, 40, 1)
    assert share.mean(axis=0) == pytest.approx(low.arrays["share_expected"], abs=0.2)  # draws keep to the answer they are of
    high = service.answer(fitted, fresh=True)
    assert (high.arrays["share"] <= low.arrays["share"] + 1e-6).all() and high.arrays["share"].sum() < low.arrays["share"].sum()
    assert high.arrays["mean_deg"] == pytest.approx(low.arrays["mean_deg"], abs=1e-5)


def test_what_is_stored_and_said_has_one_shape(fitted):
    """Intervals, chance and share of the stored answer from its mean, sd and rare part; and what is said keeps that part."""
    a = service.answer(fitted).arrays
    mean, sd, part = (a[name].astype(float) for name in ("mean_deg", "sd_deg", "rare_part"))
    assert part[:, 0].max() < 0.01 and part[:, 52].max() > 0.15, "there is something to tell apart a year ahead"
    for low, high, level in (("lo80", "hi80", 0.8), ("lo95", "hi95", 0.95)):
        under, over = (mean + side * sd for side in rare.ends(level, part))
        assert a[low] == pytest.approx(np.maximum(under, 0.0), abs=1e-4) and a[high] == pytest.approx(over, abs=1e-4)
    assert np.abs(a["hi80"] - mean - readiness.Z80 * sd)[:, 52].max() > 0.01
    residuals, plant = a["fit_residuals"], a["plant_sd_deg"].astype(float)
    target = service.limits(fitted).target_brix_deg
    assert a["chance"] == pytest.approx(rare.above((target - mean) / sd, part), abs=1e-4)
    for name, off in zip(("share", "share_lo", "share_hi"), (0.0, *rare.ends(0.8, part))):
        assert a[name] == pytest.approx(readiness.plants_above((target - mean - off * sd) / plant, residuals), abs=1e-3)
    said = fitted.conn.execute("SELECT rare_part, rare_chance, rare_up FROM said WHERE plot = 'VS-01' ORDER BY week").fetchall()
    assert {tuple(row[1:]) for row in said} == {(rare.kind().chance, rare.kind().up)}
    i = service.answer(fitted).meta["plots"].index("VS-01")
    assert [row[0] for row in said] == pytest.approx([float(part[i, h]) for h in service.SAID_WEEKS], abs=1e-6)


def test_a_visit_after_the_fit_has_seen_part_of_what_was_to_come(fitted):
    """A year after the fit a round is made: of what is not known that day another part is rare than before it, the one along the posterior's own coefficients."""
    a = service.answer(fitted)
    model, ground, seen = service.model_of(a)
    i = a.meta["plots"].index("VS-01")
    one, land_of, was = ripening.part(model, ground, seen, np.array([i]))
    day = model.past[-1] + 364.0
    now = replace(was, **{name: np.concatenate([getattr(was, name), value], axis=1) for name, value in (
        ("day", [[day]]), ("mean", [[24.0]]), ("n", [[12.0]]), ("known", [[0.0]]), ("mask", [[True]]), ("squares_in", [[44.0]]), ("doubt", [[0.0]]), ("sure", [[0.0]]))})
    before, after = (ripening.ahead(one, ripening.posterior(one, v, land_of, one.about), np.array([day])) for v in (was, now))
    assert after.var[0, 0] < before.var[0, 0] and 0.0 < float(after.rare_part[0, 0]) < 0.95 * float(shock.rare_var(model.past, np.array([day]))[0] * after.wider[0, 0] ** 2 / after.var[0, 0])
    moved = ripening.shared(one, ripening.posterior(one, now, land_of, one.about), after, np.arange(1))[0, 0]
    F = len(shock.AHEAD_DAYS)
    root = shock.rare_root()
    assert float(after.rare_part[0, 0]) == pytest.approx(float(((moved[-F:] @ root) ** 2).sum() * after.wider[0, 0] ** 2 / after.var[0, 0]), rel=1e-6)


def test_draws_are_of_the_answer(fitted):
    a = service.answer(fitted)
    mean, share = service.draws(fitted, a, 4000, 3)
    assert mean.shape == share.shape == (4000, 6, 105) and share.dtype == np.float32
    assert np.abs(mean.mean(axis=0) - a.arrays["mean_deg"]).max() < 0.25 * a.arrays["sd_deg"].max()
    assert share.mean(axis=0) == pytest.approx(a.arrays["share_expected"], abs=0.03)
    assert np.median(share, axis=0) == pytest.approx(a.arrays["share"], abs=0.05)  # what is said is their middle
    days, far, far_share, keep, _ = service.long_draws(fitted, a, 30, 3)
    assert len(days) == 56 and far_share.shape == (30, 6, 56) and keep.shape == (6, 56)
    assert np.isfinite(far).all() and keep.min() >= 0 and keep[:, -1].max() < 0.5  # fourteen years on, the loss past the peak tells
    assert a.meta["by_plot"]["VS-01"]["extrapolated_from"] is not None


def test_one_more_visit_and_the_phones_prior(fitted):
    more = service.what_one_more_visit(fitted, "LA-03")
    assert more["after_deg"] < 0.6 * more["sd_deg"] and more["sentence"].text("en")
    prior = service.prior_for_phone(fitted)
    assert set(prior) == set(PLOTS) and all(np.isfinite(list(p.values())).all() and p["sd_deg"] > 0 for p in prior.values())


@pytest.mark.parametrize("case", ["nothing", "land only", "no dates at all", "one reading"])
def test_estates_with_next_to_nothing(db, case):
    if case != "nothing":
        load_land(db, {code: (None if case == "no dates at all" else planted, zone) for code, (planted, zone) in PLOTS.items()})
    if case == "one reading":
        visit(db, "VS-01", 3, 22.0, n=1)
    a = service.answer(db)
    assert len(a.meta["plots"]) == (0 if case == "nothing" else 6)
    assert all(np.isfinite(array).all() for name, array in a.arrays.items() if array.dtype.kind == "f")
    mean, share = service.draws(db, a, 20, 1)
    assert mean.shape == (20, len(a.meta["plots"]), 105) and np.isfinite(mean).all()
    if case != "nothing":
        assert (a.arrays["hi80"] - a.arrays["lo80"])[:, 0].min() > 1.0


def test_the_command(fitted, estate_path):
    from webapp.cli import main_group

    service.answer(fitted)
    run = lambda *args: CliRunner().invoke(main_group, ["--estate", str(estate_path), "--lang", "en", "ripeness", *args], catch_exceptions=False)  # noqa: E731
    table = run()
    assert table.exit_code == 0 and table.output.count("VS-0") == 3 and "LA-03" in table.output
    data = json.loads(run("--json", "--plot", "VS-01", "--week", "2027-W10").output)
    a = service.answer(fitted)
    i, w = a.meta["plots"].index("VS-01"), a.meta["weeks"].index("2027-W10")
    assert data["plots"][0]["mean_brix_deg"] == pytest.approx(float(a.arrays["mean_deg"][i, w])) and data["plots"][0]["ripe_share"] == pytest.approx(float(a.arrays["share"][i, w]))
    early, late = (int(place) for place in first_ripe.interval(a.arrays["share_lo"][i], a.arrays["share_hi"][i], service.limits_of(a).ripe_share_to_cut))
    told = [None if place == first_ripe.NEVER else a.meta["weeks"][place] for place in (early, late)]
    assert [data["plots"][0][f"first_ripe_{end}80_week"] for end in ("low", "high")] == told
    if data["plots"][0]["window_kind"] in (None, "ripens"):
        assert "turns ripe" in run("--plot", "VS-01").output
    with pytest.raises(Problem) as refused:
        run("--week", "2040-W01")
    assert refused.value.code == "week_outside"


def test_answers_survive_a_reader_that_has_them_cached(fitted):
    a = service.answer(fitted)
    assert answers.latest(fitted, "ripeness").key == a.key
    with pytest.raises(ValueError):
        a.arrays["share"][0, 0] = 2.0
