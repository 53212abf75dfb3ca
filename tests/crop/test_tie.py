"""What joins a plot's piñas and its ripeness: found where it is known, carried into sums, and nothing where there is nothing."""

import numpy as np
import pytest

from webapp.bench import ripeness_truth, tied_truth, tonnes_truth, true_fields, true_laws
from webapp.bench.true_laws import CUT_DAY, PEAK_MONTHS
from webapp.crop import service, tie, tie_service
from webapp.ripeness import fitting, futures, plot_effects, ripening
from webapp.ripeness.plot_effects import Effects
from webapp.tonnage import drawing, tied
from webapp.tonnage.tied import Told, Weighed


@pytest.fixture(scope="module")
def read():
    """One estate of sixty plots as read: fit, land, visits."""
    visits, land = ripeness_truth.read(true_laws.simulate("gompertz", 41, 60))
    return fitting.fit_estate(visits, land, PEAK_MONTHS, float(CUT_DAY), widened=False), land, visits


def known_effects(rng: np.random.Generator, plots: int, correlation: float, weighed_error: float = 0.06) -> tuple[Effects, Weighed]:
    """Levels and paces seen with error, effects on the piñas of sd 0.15 tied to them, weighings of two thirds of the plots about a level and a slope."""
    sd, w = np.array([1.3, 5.5]), rng.standard_normal((plots, 2)) * [1.3, 5.5]
    error = np.array([0.5, 4.0])
    seen = w + rng.standard_normal((plots, 2)) * error
    keep = sd**2 / (sd**2 + error**2)
    heavy = 0.15 * ((w / sd) @ np.full(2, correlation / np.sqrt(2)) + np.sqrt(1 - correlation**2) * rng.standard_normal(plots))
    at, x = np.arange(2 * plots // 3), np.stack([np.ones(plots), rng.uniform(-2, 2, plots)], axis=1)
    m = (heavy + x @ [0.1, 0.2] + weighed_error * rng.standard_normal(plots))[at]
    prior, usual = np.diag([0.25**-2, 0.3**-2]), 1 / (0.15**2 + weighed_error**2)
    precision = prior + usual * x[at].T @ x[at]
    theta = np.linalg.solve(precision, usual * x[at].T @ m)
    return (Effects(seen * keep, np.tile(np.diag(sd**2 * (1 - keep)), (plots, 1, 1)), sd, np.full(plots, 0.25), np.ones(plots, bool)),
            Weighed(at, m, x[at], np.full(len(at), weighed_error**2), np.zeros(plots), theta, precision, 0.15, 1.0))


def test_a_known_correlation_lies_in_its_interval():
    rng, held, means = np.random.default_rng(5), [], {}
    for correlation in (-0.6, 0.0, 0.6):
        found = [tie.learn(*known_effects(rng, 90, correlation)) for _ in range(40)]
        each = np.array([f.interval(np.array([1.0, 0.0])) + f.interval(np.array([0.0, 1.0])) for f in found]) - correlation / np.sqrt(2)
        held += list((each[:, [1, 4]] <= 0) & (each[:, [2, 5]] >= 0))
        means[correlation] = np.mean([f.interval(np.full(2, np.sqrt(0.5)))[0] for f in found])
    assert 0.74 < np.mean(held) < 0.93, "80 % intervals over 240 correlations, shrunk towards nought"
    assert -0.62 < means[-0.6] < -0.40 and abs(means[0.0]) < 0.05 and 0.40 < means[0.6] < 0.62, "shrunk by what sixty plots leave open"


def test_without_plots_read_and_weighed_it_is_the_assumption():
    nobody = known_effects(np.random.default_rng(1), 30, 0.6)[0]
    for found in (tie.learn(nobody, None), tie.learn(Effects(nobody.mean, nobody.cov, nobody.sd, nobody.slope, np.zeros(30, bool)), known_effects(np.random.default_rng(1), 30, 0.6)[1])):
        mean, low, high = found.interval(found.share)
        assert found.plots == 0 and mean == pytest.approx(0.0, abs=1e-9) and -low == pytest.approx(high) and 0.4 < high < 0.52
    flat = tie.learn(Effects(np.zeros((0, 2)), np.zeros((0, 2, 2)), np.zeros(2), np.zeros(0), np.zeros(0, bool)), None)
    assert np.isfinite(flat.interval(flat.share)).all() and np.isfinite(flat.draw(5, np.random.default_rng(1))).all()


def test_telling_is_the_same_as_fitting_with_it(read):
    """Given what is told of the plots, the posterior put together again is that of the whole joint normal, solved at once."""
    _, weighed = known_effects(np.random.default_rng(9), 15, 0.0)
    effect, explained = 0.1 * np.random.default_rng(2).standard_normal((1, 15)), 0.4
    before = weighed.plot_sd**2
    usual = 1 / (before + weighed.var)
    growth = _growth(weighed, before, usual)
    was = tied.weighed(_stored(growth, weighed))
    assert was.m == pytest.approx(weighed.m) and was.x == pytest.approx(weighed.x) and was.var == pytest.approx(weighed.var)
    now, theta_shift, own_shift = tied.conditional(growth, weighed, Told(effect, explained))
    base = weighed.precision - (weighed.x * usual[:, None]).T @ weighed.x
    prior = np.zeros((17, 17))  # θ [2], then the effects [15]
    prior[:2, :2], prior[2:, 2:] = base, np.eye(15) / (before * (1 - explained))
    H = np.hstack([weighed.x, np.eye(15)[weighed.seen]])
    precision = prior + (H / weighed.var[:, None]).T @ H
    right = np.r_[weighed.precision @ weighed.theta - weighed.x.T @ (usual * weighed.m), effect[0] / (before * (1 - explained))] + H.T @ (weighed.m / weighed.var)
    mean, cov = np.linalg.solve(precision, right), np.linalg.inv(precision)
    assert now.theta + theta_shift[0] == pytest.approx(mean[:2]) and now.cov == pytest.approx(cov[:2, :2])
    assert now.effect + now.lean @ theta_shift[0] + own_shift[0] == pytest.approx(mean[2:])
    assert np.diag(now.effect_sd**2) + now.lean @ now.cov @ now.lean.T == pytest.approx(cov[2:, 2:], abs=1e-12)


def _growth(w, before, usual):
    from webapp.tonnage.pina import Curve, Growth

    cov = np.linalg.inv(w.precision)
    effect, lean, sd = np.zeros(15), np.zeros((15, 2)), np.full(15, np.sqrt(before))
    effect[w.seen], lean[w.seen], sd[w.seen] = before * usual * (w.m - w.x @ w.theta), -(before * usual)[:, None] * w.x, np.sqrt(before * w.var * usual)
    return Growth(w.theta, cov, effect, sd, lean, w.plot_sd, Curve(46.0, 6.0, 0.5), np.zeros((15, 1)), np.ones((15, 1)), np.zeros((15, 7)))


def _stored(g, w):
    return {"g_theta": g.theta, "g_cov": g.cov, "g_effect": g.effect, "g_effect_sd": g.effect_sd, "g_lean": g.lean, "g_plot_sd": np.array(w.plot_sd), "g_rest_var": w.rest_var, "g_widened": np.array(1.0)}


def test_drawn_levels_and_paces_are_those_of_the_posterior_and_go_with_their_paths(read):
    fit, land, visits = read
    days = CUT_DAY + 7.0 * np.array([0, 52, 104])
    post = ripening.posterior(fit, visits, land, fit.about)
    out = ripening.ahead(fit, post, days)
    paths = futures.draws(fit, post, out, 4000, 3).astype(float)
    drawn, known = plot_effects.drawn(fit, land, visits, days, paths, np.random.default_rng(1), futures.rare_ones(len(paths), 3)), plot_effects.effects(fit, land, visits, float(CUT_DAY))
    sd = np.sqrt(np.einsum("pee->pe", known.cov))
    assert np.abs(drawn.mean(axis=0) - known.mean).max() < 0.08 * known.sd.max() and drawn.std(axis=0) == pytest.approx(sd, rel=0.08)
    assert [np.corrcoef(drawn[:, i, 0], drawn[:, i, 1])[0, 1] for i in range(60)] == pytest.approx(known.cov[:, 0, 1] / sd.prod(axis=1), abs=0.06)
    comes = futures.rare_ones(len(paths), 3)  # where a drought comes, it is not taken for the plots' own
    assert 0.05 < comes.mean() < 0.07 and drawn[comes].std(axis=0) == pytest.approx(sd, rel=0.25) and drawn[comes].mean(axis=1).std(axis=0) == pytest.approx(drawn[~comes].mean(axis=1).std(axis=0), rel=0.35)
    for which in (comes, ~comes):  # nor is how much higher it lies
        assert np.abs(((drawn[which].mean(axis=0) - known.mean) / sd).mean(axis=0)).max() < 0.12
    own = drawn[:, :, 0] + drawn[:, :, 1] * known.slope
    alone = np.flatnonzero(~known.visited)  # nothing read there: level and pace are all of its °Brix but drift and what the estate's coefficients leave
    assert len(alone) and [np.cov(own[:, i], paths[:, i, 0])[0, 1] for i in alone] == pytest.approx(fit.sd("level") ** 2 + fit.sd("pace") ** 2 * known.slope[alone] ** 2, rel=0.12)
    assert np.mean([np.corrcoef(own[:, i], paths[:, i, 0])[0, 1] for i in range(60)]) > 0.5, "what a plot is ahead by shows in its °Brix"
    true = true_laws.own_effects("gompertz", 41, 60) * [true_laws.LEVEL_DEG, true_laws.PACE_MONTHS]
    assert np.corrcoef(known.mean @ [1, 0.25], true @ [1, 0.25])[0, 1] > 0.8


def test_nothing_told_draws_the_same_piñas():
    masses = drawing.stored(tonnes_truth.reckoned(true_fields.simulate("logistic", 5, plots=30)))
    plain = drawing.draw(masses, np.array([0.0, 1.0]), 50, 4)[1]
    assert drawing.draw(masses, np.array([0.0, 1.0]), 50, 4, Told(np.zeros((50, 30)), 0.0))[1] == pytest.approx(plain, rel=2e-4)
    unweighed = np.setdiff1d(np.arange(30), tied.weighed(masses).seen)[0]
    one = np.zeros((50, 30))
    one[:, unweighed] = 0.1
    assert drawing.draw(masses, np.array([0.0, 1.0]), 50, 4, Told(one, 0.0))[1][:, unweighed] == pytest.approx(plain[:, unweighed] * np.exp(0.1), rel=2e-4)
    old = {name: value for name, value in masses.items() if name not in ("g_rest_var", "g_widened")}
    assert np.array_equal(drawing.draw(old, np.array([0.0, 1.0]), 50, 4, Told(one, 0.3))[1], plain), "an answer of before is drawn as it was"


def test_plots_that_run_ahead_weigh_what_the_estate_says():
    """The third of the plots that is ripest for its age, on an estate where they are heavier and one where they are lighter (dozens: ``pinario bench tie``)."""
    found = {correlation: tied_truth.one(correlation, seed, plots=110) for correlation, seed in ((0.6, 3001), (-0.6, 3000))}
    for correlation, got in found.items():
        assert min(correlation * got["found"][1], correlation * got["found"][2]) > 0, "its sign is found"
        assert got["found_true"] == pytest.approx(got["found"][0], abs=0.3)
    for name in ("ahead_ripe_t", "ahead_sugar_t"):
        too_light, without = (np.mean([np.sign(correlation) * -got[f"{name}_bias{end}"] for correlation, got in found.items()]) for end in ("", "_apart"))
        assert without > 0.03 and abs(too_light) < 0.6 * without
        assert sum(got[f"{name}80"].sum() for got in found.values()) > sum(got[f"{name}80_apart"].sum() for got in found.values())


def test_the_demo_says_what_joins_its_piñas_and_ripeness(demo):
    a = service.answer(demo, fresh=False)
    rows = tie_service.beliefs_of(a)
    assert [b.name for b in rows] == ["tie_whole", "tie_level", "tie_pace"] and all(b.low <= b.value <= b.high and b.prior == 0 for b in rows)
    assert rows[0].params["n"] > 10 and rows[0].high - rows[0].low < rows[0].prior_high - rows[0].prior_low, "thirty plots narrow the assumption"
    said = {code: tie_service.sentence(a, code) for code in a.meta["plots"]}
    moved = dict(zip(a.meta["plots"], np.expm1(a.arrays["tie_moved"])))
    assert any(said.values()) and all((said[code] is None) == (abs(moved[code]) < 0.01) for code in said)
    assert all(s is None or s.params["share"] < 20 for s in said.values())
