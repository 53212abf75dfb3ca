"""What a visit would tell, in closed form: the laws it must keep, and a check by drawing visits."""

from dataclasses import replace

import numpy as np
import pytest

from webapp.bench import ripeness_truth, true_laws
from webapp.bench.ripeness_truth import LIMITS
from webapp.bench.visits_gain import seen_again
from webapp.crop import visits_worth as v
from webapp.ripeness import fitting, picked, plot_effects
from webapp.ripeness.plot_effects import Ends
from webapp.ripeness.readiness import Z80, plants_above

RESIDUALS = np.sort(np.random.default_rng(3).normal(0, 1, 200))
WEEKS = 60


def known(mean, sd, after, slope=0.06, mass=300.0, plants=0.05, other=0.12):
    """Plots whose mean rises by ``slope`` a week; sds constant over the weeks."""
    mean, sd, after = (np.atleast_1d(np.asarray(a, float)) for a in (mean, sd, after))
    P = len(mean)
    over = lambda a: np.repeat(a[:, None], WEEKS, axis=1)  # noqa: E731
    curve = over(mean) + slope * np.arange(WEEKS)
    share = plants_above((24 - curve) / 2.0, RESIDUALS)
    share_sd = (plants_above((24 - curve - over(sd)) / 2.0, RESIDUALS) - plants_above((24 - curve + over(sd)) / 2.0, RESIDUALS)) / 2
    return v.Known(curve, over(sd), over(after), np.full((P, WEEKS), 2.0), share, share_sd, np.full((P, WEEKS), mass), np.full(P, np.hypot(plants, other)), np.full(P, plants), np.full(P, 90.0))


def of(*args, **kwargs):
    return v.worth(known(*args, **kwargs), RESIDUALS, 24.0, 0.5)


def test_needed_distance_turns_share_round():
    for share in (0.1, 0.5, 0.83):
        assert plants_above(np.array([v.needed_distance(RESIDUALS, share)]), RESIDUALS)[0] == pytest.approx(share, abs=1e-6)


def test_after_a_pass_the_rest_must_read_as_the_share_says():
    """Where passes took the ripest or capones are ready, the needed mean gives back the share by the rule of the pages."""
    k = known([20.0, 20.0, 20.0], [0.5] * 3, [0.4] * 3)
    taken, ready = np.repeat([[0.3], [0.0], [0.0]], WEEKS, axis=1), np.repeat([[0.0], [0.2], [0.0]], WEEKS, axis=1)
    need = v.needed_deg(replace(k, taken=taken, ready=ready), RESIDUALS, 24.0, 0.5)
    share, _, _, _ = picked.share_of_standing(need, np.full(need.shape, 1e-6), k.plant_sd_deg[:, : need.shape[1]], RESIDUALS, 24.0, taken[:, : need.shape[1]], ready[:, : need.shape[1]])
    assert share == pytest.approx(np.full(share.shape, 0.5), abs=0.01)
    assert need[1, 0] < need[2, 0] == pytest.approx(24 - 2 * v.needed_distance(RESIDUALS, 0.5))
    assert v.needed_deg(replace(k, taken=taken, ready=ready + 0.6), RESIDUALS, 24.0, 0.5)[1, 0] < 0.01  # ready whatever the rest reads


def test_gains_are_never_negative_and_finite_whatever_comes():
    rng = np.random.default_rng(5)
    sd = rng.uniform(0.01, 4, 300)
    w = of(rng.uniform(2, 30, 300), sd, sd * rng.uniform(0, 1, 300), plants=0.2)
    for name in ("weeks", "weeks_gain", "tonnes", "tonnes_gain"):
        assert np.isfinite(getattr(w, name)).all() and (getattr(w, name) >= 0).all(), name
    assert (w.weeks_gain <= w.weeks + 1e-9).all() and (w.tonnes_gain <= w.tonnes[:, None] + 1e-9).all()
    assert (w.tonnes_gain[:, 2] + 1e-9 >= w.tonnes_gain[:, :2].max(axis=1)).all()
    nothing = of(np.zeros(0), np.zeros(0), np.zeros(0))
    assert nothing.weeks.shape == (0,) and nothing.tonnes_gain.shape == (0, 3)
    silent = v.worth(v.Known(*(np.zeros((2, WEEKS)) for _ in range(7)), np.zeros(2), np.zeros(2), np.full(2, np.nan)), np.zeros(0), 24.0, 0.5)
    assert np.isfinite(silent.tonnes_gain).all() and silent.weeks_gain.tolist() == [0, 0]


def test_young_just_visited_and_long_ripe_plots_are_worth_little():
    near, seen, young, ripe = (float(x) for x in of([22.5, 22.5, 9.0, 28.0], [1.2, 0.35, 2.0, 1.2], [0.5, 0.32, 0.7, 0.5]).weeks_gain)
    assert near > 8 and seen < 0.1 * near and young < 1e-6 and ripe < 0.05 * near
    t = of([22.5, 22.5, 9.0], [1.2, 0.35, 2.0], [0.5, 0.32, 0.7]).tonnes_gain[:, 0]
    assert t[0] > 10 * t[1] and t[0] > 100 * t[2]


def test_rows_are_worth_counting_where_plants_are_unknown():
    w = of([23.0, 23.0], [0.5, 0.5], [0.45, 0.45], plants=0.02, other=0.05)
    unsure = of([23.0, 23.0], [0.5, 0.5], [0.45, 0.45], plants=0.35, other=0.05)
    assert unsure.tonnes_gain[0, v.COUNT] > 20 * w.tonnes_gain[0, v.COUNT]
    assert v.counted_log_var(np.array([np.nan, 6.0, 400.0]))[1] < v.counted_log_var(np.array([400.0]))[0]


def test_the_narrowing_is_what_drawn_visits_give():
    """Draw the truth's path and the visit's word; sd of the first ripe week before and, on average, after."""
    k = known([22.8], [1.0], [0.4])
    rng = np.random.default_rng(1)
    moved = np.sqrt(1.0 - 0.16)
    need = 24.0 - v.needed_distance(RESIDUALS, 0.5) * 2.0
    mean = k.mean_deg[0, : v.WINDOW_WEEKS]

    def first(shift):
        ripe = mean[None, :] + shift[:, None] >= need
        return np.where(ripe.any(axis=1), ripe.argmax(axis=1), v.WINDOW_WEEKS)

    before = first(rng.normal(0, 1, 200_000)).std()
    after = np.mean([first(moved * xi + 0.4 * rng.standard_normal(4000)).std() for xi in rng.standard_normal(400)])
    width, gain = v.window(k, v.needed_deg(k, RESIDUALS, 24.0, 0.5))
    assert width[0] == pytest.approx(2 * Z80 * before, rel=0.04) and gain[0] == pytest.approx(2 * Z80 * (before - after), rel=0.08)


def test_the_end_of_the_window_counts_too_and_as_drawn():
    """Five plots: over, soon with a doubtful pace, the same well known, a year and a half off, never."""
    ends = Ends(np.array([-80.0, 20.0, 20.0, 80.0, np.inf]), np.array([10.0, 16.0, 2.0, 12.0, 0.0]), np.array([9.0, 8.0, 1.9, 11.0, 0.0]))
    width, gain = v.window_end(ends, 5)
    assert width[[0, 4]].tolist() == [0, 0] and gain[[0, 4]].tolist() == [0, 0] and width[3] < 0.2 * width[1] and gain[1] > 10 * gain[2] >= 0
    rng = np.random.default_rng(4)
    drawn = lambda said: np.clip(20 + np.sqrt(16**2 - 8**2) * said + 8 * rng.standard_normal((len(said), 2000)), 0, v.WINDOW_WEEKS)  # noqa: E731
    before, after = drawn(rng.standard_normal(4000)[:, None]), np.mean([drawn(np.full(1, xi)[:, None]).std() for xi in rng.standard_normal(800)])
    assert width[1] == pytest.approx(2 * Z80 * before.std(), rel=0.04) and gain[1] == pytest.approx(2 * Z80 * (before.std() - after), rel=0.08)
    k = replace(known([22.5] * 5, [1.2] * 5, [0.5] * 5), ends=ends)
    w, start = v.worth(k, RESIDUALS, 24.0, 0.5), of([22.5] * 5, [1.2] * 5, [0.5] * 5)
    assert w.both_weeks == pytest.approx(start.weeks + width) and v.doubt_of(w, 1.0).weeks == pytest.approx(w.both_weeks.sum())
    g = v.gains(w, v.doubt_of(w, 1.0), np.zeros(5))
    assert g[1, v.SAMPLE] > g[0, v.SAMPLE] and (g[:, v.COUNT] == 0).all()


def test_a_visit_says_of_the_end_what_it_says_of_the_pace():
    """On a simulated estate: the closed form against the same visits with one more put in."""
    visits, land = ripeness_truth.read(true_laws.simulate("gompertz", 43, 40))
    fit = fitting.fit_estate(visits, land, 90.0, float(true_laws.CUT_DAY), widened=False)
    now = plot_effects.ends(fit, land, visits, float(true_laws.CUT_DAY), LIMITS, 12)
    for i in (0, 7, 21):
        more = seen_again(visits, np.array([i]), np.array([20.0]))
        then = plot_effects.ends(fit, land, more, float(true_laws.CUT_DAY), LIMITS, 12)
        assert then.sd[i] == pytest.approx(now.after[i], rel=0.03) and (now.after[i] < now.sd[i])
    age = (true_laws.CUT_DAY - land.planted) / 30.4375
    assert now.week == pytest.approx((LIMITS.peak_age_months + np.log(0.88) / np.log(0.985) - age - fit.about - fit.zone_about[land.zone]) * 30.4375 / 7, rel=1e-6)
    assert (now.after <= now.sd).all() and 0.85 < (now.after / now.sd).mean() < 0.995, "the age sets the end: one visit says little of it"
    assert np.isinf(plot_effects.ends(fit, land, visits, float(true_laws.CUT_DAY), replace(LIMITS, loss_per_month=0.0), 12).week).all()


def shared_of(rng, P=8, p=4):
    A = rng.normal(0, 1, (p, p))
    along = rng.normal(0, 1, (P, p))
    cov = A @ A.T / 10
    says = np.einsum("ip,pq,iq->i", along, cov, along) + 0.5
    B = rng.normal(0, 1, (P, p))
    return v.Shared(cov, along, says, B.T @ B)


def test_a_week_s_visits_are_those_to_plots_that_ripen_about_then():
    """Two plots known equally little, one ripe in about eight weeks and one in about twenty: each is worth most for its own weeks, and the 26 weeks together say what the half year says."""
    k = known([24 - 0.3 * 8, 24 - 0.3 * 20], [0.5] * 2, [0.2] * 2, slope=0.3, plants=0.02, other=0.03)
    width, gain = v.by_week(k)
    assert width.shape == (2, v.TONNES_WEEKS) and gain.shape == (2, v.TONNES_WEEKS, 3) and np.isfinite(gain).all() and (gain >= 0).all() and (gain <= width[..., None] + 1e-9).all()
    assert gain[0, 8, v.SAMPLE] > 2 * gain[1, 8, v.SAMPLE] and gain[1, 20, v.SAMPLE] > 2 * gain[0, 20, v.SAMPLE]
    assert (gain[..., v.BOTH] + 1e-9 >= gain[..., : v.BOTH].max(axis=-1)).all()
    flat = replace(k, **{name: np.repeat(getattr(k, name)[:, 10:11], WEEKS, axis=1) for name in ("share", "share_sd", "mass_t")})
    w = v.worth(flat, RESIDUALS, 24.0, 0.5)
    assert v.by_week(flat)[0] == pytest.approx(np.repeat(w.tonnes[:, None], v.TONNES_WEEKS, axis=1)) and v.by_week(flat)[1][:, 3] == pytest.approx(w.tonnes_gain)


def test_a_second_visit_tells_less_of_the_same_estate():
    shared = shared_of(np.random.default_rng(2))
    then = shared.after(0)
    assert np.linalg.eigvalsh(then.cov).min() > -1e-12 and shared.all_others() == pytest.approx([shared.others(i) for i in range(8)])
    assert then.others(0) < shared.others(0) and (then.all_others() <= shared.all_others() + 1e-12).mean() > 0.7 and (shared.all_others() >= 0).all()
    one, other = shared.after(0).after(3).cov, shared.after(0).cov
    assert np.trace(one) < np.trace(other) < np.trace(shared.cov)


def test_weeks_and_tonnes_become_one_number():
    w = of([22.5, 23.5], [1.2, 0.6], [0.5, 0.4])
    for weight in (0.0, 0.5, 1.0):
        g = v.gains(w, v.doubt_of(w, weight), np.array([1.0, 0.0]))
        assert g.shape == (2, 3) and (g >= 0).all() and (g <= 1 + 1e-9).all()
    only_window = v.gains(w, v.doubt_of(w, 1.0), np.zeros(2))
    assert only_window[:, v.SAMPLE] == pytest.approx(w.weeks_gain / w.weeks.sum()) and (only_window[:, v.COUNT] == 0).all()
