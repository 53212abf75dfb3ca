"""What passes leave, capones, generations and events: the arithmetic against brute force, and the answers that follow."""

import json
import uuid
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings as rules
from hypothesis import strategies as st
from scipy.stats import norm

from tests.ripeness import estates
from tests.ripeness.test_service import TODAY, load_land, visit
from webapp import settings
from webapp.land import service as land
from webapp.ripeness import constants as k
from webapp.ripeness import fitting, futures, jumps, picked, readiness, ripening, service
from webapp.survey import service as survey

NORMAL = norm.ppf((np.arange(4000) + 0.5) / 4000)


@given(st.floats(0.02, 0.9))
@rules(max_examples=15, deadline=None)
def test_a_pass_by_eye_leaves_what_a_simulation_leaves(taken):
    rng = np.random.default_rng(7)
    plants = rng.standard_normal(400_000)
    seems = plants + rng.normal(0, float(k.EYE_SD), len(plants))
    kept = plants[seems <= np.quantile(seems, 1 - taken)]
    assert float(picked.shift(np.array(taken))) == pytest.approx(kept.mean(), abs=0.01)
    points, weights = picked.left(NORMAL, taken)
    for distance in (-1.0, 0.0, 1.0, 1.8):
        got = float(readiness.plants_above(np.array(distance), points, weights))
        assert got == pytest.approx(float((kept > distance).mean()), abs=0.02)
        assert got <= float(readiness.plants_above(np.array(distance), NORMAL)) + 1e-3


def test_passes_take_from_the_top_of_the_same_plants_and_clearing_as_they_come():
    """A fifth, then a quarter of the rest, is two fifths; clearing half of what is left changes no share."""
    assert picked.passes(1000, [(10, 200, False), (50, 200, False)]) == [(10, pytest.approx(0.2)), (50, pytest.approx(0.4))]
    assert picked.passes(1000, [(10, 500, True), (20, 250, False)]) == [(20, pytest.approx(0.5))]
    assert picked.passes(1000, [(20, 250, False), (10, 500, True)]) == picked.passes(1000, [(10, 500, True), (20, 250, False)])
    assert picked.passes(100, [(1, 5000, False)]) == [(1, picked.MOST_TAKEN)]


def test_a_visit_of_the_day_of_a_pass_came_before_it():
    p = picked.Picked(*picked.padded([[(100, 0.2), (200, 0.5)], []]), *picked.padded([[], [(150, 0.1)]]))
    days = np.array([[99.0, 100.0, 101.0, 200.0, 201.0]])
    assert p.taken(days).tolist() == [[0, 0, 0.2, 0.2, 0.5], [0] * 5]
    assert p.ready(np.array([[149.0, 150.0]])).tolist() == [[0, 0], [0, 0.1]]
    assert p.of(np.array([1])).taken(days).tolist() == [[0] * 5]


def test_what_was_not_cut_is_the_same_as_before():
    mean, sd, plant = np.full((2, 3), 23.5), np.full((2, 3), 0.6), np.full((2, 3), 2.0)
    nobody = np.zeros((2, 3))
    what = mean, sd, plant, NORMAL, 24.0
    for ours, plain in zip(picked.share_of_standing(*what, nobody, nobody), (*readiness.share(*what), readiness.expected_share(*what)), strict=True):
        assert np.array_equal(ours, plain)


def test_events_are_told_from_visits_as_the_full_covariance_says():
    """A frost adds its own unknown from its day on: same as conditioning on the joint normal written out."""
    estate = estates.simulate(3, plots=30, visits=4, zones=2)
    day, var = jumps.padded(estate.plots, [(estate.plots[i], estates.TODAY - 200, 1.0) for i in range(0, 30, 2)])
    struck = replace(estate.land, jump_day=day, jump_var=var)
    f = fitting.fit_estate(estate.visits, struck, estates.PEAK, float(estates.TODAY), widened=False)
    days = float(estates.TODAY) + np.array([-250.0, 0.0, 180.0])
    quiet, moved = (ripening.ahead(f, ripening.posterior(f, estate.visits, at, f.about), days) for at in (estate.land, struck))
    assert np.array_equal(quiet.var[1::2], moved.var[1::2])
    unseen = [i for i in range(0, 30, 2) if not (estate.visits.mask[i] & (estate.visits.day[i] > estates.TODAY - 200)).any()]
    assert unseen and moved.var[unseen, 1] - quiet.var[unseen, 1] == pytest.approx(1.0, abs=1e-6)
    seen = [i for i in range(0, 30, 2) if (estate.visits.mask[i] & (estate.visits.day[i] > estates.TODAY - 200)).sum() >= 2]
    assert seen and (moved.var[seen, 1] - quiet.var[seen, 1] < 0.7).all()
    i = seen[0]
    post, m = ripening.posterior(f, estate.visits, struck, f.about), estate.visits.mask[seen[0]]
    own = f.sd("level") ** 2 + post.pace_var[i] * np.outer(moved.z[i], post.z[i]) + f.sd("drift") ** 2 * np.exp(-np.abs(days[:, None] - estate.visits.day[i]) / 7 / float(k.DRIFT_WEEKS))
    own = own + 1.0 * ((days[:, None] >= estates.TODAY - 200) & (estate.visits.day[i] >= estates.TODAY - 200))
    assert moved.c[i][:, m] == pytest.approx(own[:, m], rel=1e-9)
    joint = futures.draws(f, post, moved, 4000, 2)
    assert joint[:, i].std(axis=0) == pytest.approx(np.sqrt(moved.var[i]), rel=0.06)


def load(db, code, days_ago, plants, clearing=0):
    """As many trucks as it takes: none holds more than 2,500 plants."""
    day, rows = TODAY - timedelta(days=days_ago), ["id,install,seq,round,kind,plot,taken_at,plants,clearing"]
    for n in range(-(-plants // 2500)):
        rows.append(f"{uuid.uuid5(uuid.NAMESPACE_OID, f'load{code}{days_ago}-{n}')},,,,load,{code},{day}T{8 + n % 12:02d}:00:00-06:00,{min(2500, plants - 2500 * n)},{clearing}")
    survey.load_file(db, "\n".join(rows).encode(), "load.csv", "Ana")


def labor(db, code, days_ago, what, plants=""):
    day = TODAY - timedelta(days=days_ago)
    name = uuid.uuid5(uuid.NAMESPACE_OID, f"labor{code}{days_ago}{what}")
    survey.load_file(db, f"id,install,seq,round,kind,plot,taken_at,labor,plants\n{name},,,,labor,{code},{day}T10:00:00-06:00,{what},{plants}\n".encode(), "labor.csv", "Ana")


def planted(db, code):
    return float(land.plots(db).at[code, "area_ha"]) * settings.load(db)["planting_density_ha"]


def plot(a, code, name, week=0):
    return float(a.arrays[name][a.meta["plots"].index(code), week])


@pytest.fixture()
def twins(db):
    """Two plots of one age that read alike until, a hundred days ago, the ripest two fifths of one were cut; it has read 0.85 sds lower since."""
    load_land(db, {f"VS-{n:02d}": ("2019-07-01", "Vado") for n in range(1, 9)})
    for n in range(1, 9):
        for days in (420, 300, 200):
            visit(db, f"VS-{n:02d}", days, 24.0 + 0.1 * n, seed=n)
    standing = planted(db, "VS-01") * (1 - settings.load(db)["annual_mortality"]) ** 7.0
    load(db, "VS-01", 100, round(0.4 * standing))
    lower = 2.0 * float(picked.shift(np.array(0.4)))
    for n in range(1, 9):
        visit(db, f"VS-{n:02d}", 30, 24.0 + 0.1 * n + (lower if n == 1 else 0.0), seed=n)
    return db


def test_a_plot_that_was_picked_is_no_worse_plot(twins):
    """Its plants read and are called as they stand; its own level and pace are those of the plot before the pass."""
    a = service.answer(twins)
    lower = 2.0 * float(picked.shift(np.array(0.4)))
    assert plot(a, "VS-01", "taken") == pytest.approx(0.4, abs=0.01) and plot(a, "VS-02", "taken") == 0
    assert plot(a, "VS-01", "mean_deg") - plot(a, "VS-02", "mean_deg") == pytest.approx(lower - 0.05, abs=0.2)
    assert abs(a.meta["by_plot"]["VS-01"]["pace_months"] - a.meta["by_plot"]["VS-02"]["pace_months"]) < 1.0
    assert plot(a, "VS-01", "share") < 0.6 * plot(a, "VS-02", "share")
    assert plot(a, "VS-01", "chance") < plot(a, "VS-02", "chance")
    now = service.plot_now(twins, "VS-01")
    assert float(now["share"][0]) == pytest.approx(plot(a, "VS-01", "share"))
    mean, share = service.draws(twins, a, 400, 3)
    i = a.meta["plots"].index("VS-01")
    assert mean[:, i, 0].mean() == pytest.approx(plot(a, "VS-01", "mean_deg"), abs=0.1) and share[:, i, 0].mean() == pytest.approx(plot(a, "VS-01", "share"), abs=0.03)


def test_a_pass_without_a_visit_since_lowers_what_stands(twins):
    before = service.answer(twins)
    standing = planted(twins, "VS-05") * 0.8
    load(twins, "VS-05", 5, round(0.3 * standing))
    at_once, after = service.plot_now(twins, "VS-05"), service.answer(twins, fresh=True)
    assert plot(after, "VS-05", "share") < plot(before, "VS-05", "share") - 0.15
    assert float(at_once["share"][0]) == pytest.approx(plot(after, "VS-05", "share"), abs=0.02)
    load(twins, "VS-06", 5, round(0.3 * standing), clearing=1)
    cleared = service.answer(twins, fresh=True)
    assert plot(cleared, "VS-06", "share") == pytest.approx(plot(after, "VS-06", "share"), abs=1e-6)


def test_capones_count_as_ripe_after_their_months(twins):
    standing = planted(twins, "VS-07") * (1 - settings.load(twins)["annual_mortality"]) ** 7.2
    labor(twins, "VS-07", 10, "quiote_cutting", round(0.1 * standing))
    a = service.answer(twins, fresh=True)
    ready = a.arrays["ready"][a.meta["plots"].index("VS-07")]
    first = int(np.argmax(ready > 0))
    assert first == pytest.approx((settings.load(twins)["capon_months"] * 30.4375 - 10) / 7, abs=1) and ready[first] == pytest.approx(0.1, abs=0.01)
    settings.change(twins, {"capon_months": 0.0}, "Ana")
    assert service.answer(twins, fresh=True).arrays["ready"][a.meta["plots"].index("VS-07"), 0] > 0.09


def test_a_replanted_part_makes_the_plot_younger_and_more_mixed(twins):
    plain = service.answer(twins)
    first = planted(twins, "VS-03")
    labor(twins, "VS-03", 1900, "replanting", round(0.25 * first))
    a = service.answer(twins, fresh=True)
    gap = ((TODAY - timedelta(days=1900)) - land.plots(twins).at["VS-03", "planted_on"]).days / 30.4375
    young = lambda answer: answer.meta["by_plot"]["VS-03"]["age_months"]  # noqa: E731
    assert young(plain) - young(a) == pytest.approx(0.25 * gap, abs=0.3)
    i = a.meta["plots"].index("VS-03")
    assert a.arrays["land_age_spread"][i] == pytest.approx(gap * (0.25 * 0.75) ** 0.5, abs=0.3)
    assert plot(a, "VS-03", "plant_sd_deg") > plot(a, "VS-02", "plant_sd_deg")


def test_a_frost_widens_until_the_next_visit(twins):
    before = service.answer(twins)
    day = TODAY - timedelta(days=20)
    survey.load_file(twins, f"id,install,seq,round,kind,plot,taken_at,cause,area_share\n{uuid.uuid4()},,,,loss,VS-04,{day}T10:00:00-06:00,frost,0.3\n".encode(), "loss.csv", "Ana")
    struck = service.answer(twins, fresh=True)
    assert plot(struck, "VS-04", "sd_deg") ** 2 > plot(before, "VS-04", "sd_deg") ** 2 + 0.5
    visit(twins, "VS-04", 4, 24.4, n=15, seed=44)
    assert plot(service.answer(twins, fresh=True), "VS-04", "sd_deg") < plot(struck, "VS-04", "sd_deg") - 0.2


def test_nothing_of_this_breaks_json(twins):
    a = service.answer(twins)
    assert json.loads(json.dumps(a.meta)) and all(np.isfinite(v).all() for v in a.arrays.values() if v.dtype.kind == "f")
