"""Ripe tonnes and sugar of estates whose heavier plots are riper, less ripe, or neither, by a known correlation: found or not, and what the sums are worth with it and without.

°Brix by ``true_laws``, piñas by ``true_fields``, of the same plots; what joins them is the plots' own effects alone.
"""

from __future__ import annotations

from typing import Any, Callable, Iterable

import numpy as np

from ..crop import art, tie
from ..ripeness import fitting, futures, picked, plot_effects, readiness, ripening
from ..tonnage import drawing, tied
from . import many_estates, ripeness_truth, tonnes_truth, true_fields, true_laws
from .true_laws import CUT_DAY, PEAK_MONTHS, TARGET_BRIX_DEG

CORRELATIONS = (-0.6, 0.0, 0.6)
"""Of a plot's piñas with its whole effect on °Brix, half of its variance by level and half by pace."""
WEEKS = np.array([0, 8, 26, 52])
DRAWS, ART_PER_BRIX, SPREAD_DEG = 400, 0.90, 2.1
SUMS = ("ripe_t", "sugar_t", "ahead_ripe_t", "ahead_sugar_t")
"""Of the whole estate, and of the third of its plots that is ripest for its age: those that are cut first."""


def simulate(correlation: float, seed: int, plots: int = true_laws.PLOTS) -> tuple[true_laws.Estate, true_fields.Fields]:
    """One estate as read and as weighed; the same seed gives the same estate, whatever the correlation, but for the piñas."""
    e, own = true_laws.simulate("gompertz", seed, plots), true_laws.own_effects("gompertz", seed, plots)
    rng = np.random.default_rng([seed, 31])
    each = correlation / np.sqrt(2)
    heavy = own @ np.array([each, each]) + np.sqrt(1 - correlation**2) * rng.standard_normal(plots)
    return e, true_fields.simulate("logistic", seed, plots, given=((CUT_DAY - e.planted) / 365.25, heavy))


def learned(e: true_laws.Estate, f: true_fields.Fields) -> tuple[Any, Any, tie.Tie]:
    """(ripening fit with land and visits, what the tonnage stores, what joins them), by the product's own steps."""
    visits, land = ripeness_truth.read(e)
    fit, visits = fitting.fit_weighed(visits, land, PEAK_MONTHS, float(CUT_DAY), widened=False)
    masses = drawing.stored(tonnes_truth.reckoned(f))
    return (fit, land, visits), masses, tie.learn(plot_effects.effects(fit, land, visits, float(CUT_DAY)), tied.weighed(masses))


def sums(e: true_laws.Estate, f: true_fields.Fields, seed: int) -> dict[str, Any]:
    """The correlation found (mean, low, high; 80 %) and, for each of ``SUMS``, of the whole estate and of ``ahead``, with the tie or ``_apart`` without it: whether the
    80 % interval of the sum on ``WEEKS`` holds the truth, its error and its width as shares."""
    (fit, land, visits), masses, found = learned(e, f)
    own = plot_effects.effects(fit, land, visits, float(CUT_DAY)).mean @ (found.share / np.array([fit.sd("level"), fit.sd("pace")]))
    which = {"": np.arange(len(own)), "ahead_": np.argsort(-own, kind="stable")[: len(own) // 3]}
    days = CUT_DAY + 7.0 * WEEKS
    out = ripening.ahead(fit, ripening.posterior(fit, visits, land, fit.about), days)
    paths = futures.draws(fit, ripening.posterior(fit, visits, land, fit.about), out, DRAWS, seed)
    plant = ripening.plants_sd(fit, out, land)
    share = picked.above((TARGET_BRIX_DEG - paths) / plant, fit.residuals, out.taken)
    sweet = art.brix_of_ripe(paths, plant, fit.residuals, TARGET_BRIX_DEG) * ART_PER_BRIX / 100
    effects = plot_effects.drawn(fit, land, visits, days[[0, 2, 3]], paths[:, :, [0, 2, 3]], np.random.default_rng([seed, 3]), futures.rare_ones(DRAWS, seed))
    told = tie.told(found, effects, np.array([fit.sd("level"), fit.sd("pace")]), float(masses["g_plot_sd"]), np.random.default_rng([seed, 4]))
    mass, true = f.mass_t[:, WEEKS], _true(e)
    truth = {"ripe_t": mass * true[0], "sugar_t": mass * true[0] * true[1]}
    got: dict[str, Any] = {"found": found.interval(found.share), "level": found.interval(np.array([1.0, 0.0])), "pace": found.interval(np.array([0.0, 1.0])), "share": found.share, "plots": found.plots}
    for end, what in (("", told), ("_apart", None)):
        plants, kg = drawing.draw(masses, 7 * WEEKS / 365.25, DRAWS, seed, what)
        drawn = plants.astype(float) * kg / 1000 * share
        for name, value in (("ripe_t", drawn), ("sugar_t", drawn * sweet)):
            for of, plots in which.items():
                total, came = value[:, plots].sum(axis=1), truth[name][plots].sum(axis=0)
                low, high = np.quantile(total, (0.1, 0.9), axis=0)
                got |= {f"{of}{name}80{end}": (low <= came) & (came <= high), f"{of}{name}_bias{end}": total.mean(axis=0) / came - 1, f"{of}{name}_width{end}": (high - low) / came}
    return got


def _true(e: true_laws.Estate) -> tuple[np.ndarray, np.ndarray]:
    """(ripe share, ART of the ripe plants as a share) [P, W] of the true means; plants are normal about them."""
    from scipy.stats import norm

    mean = e.mean_deg[:, WEEKS]
    far = (TARGET_BRIX_DEG - mean) / SPREAD_DEG
    return norm.sf(far), (mean + SPREAD_DEG * norm.pdf(far) / np.maximum(norm.sf(far), 1e-12)) * ART_PER_BRIX / 100


def one(correlation: float, seed: int, plots: int = true_laws.PLOTS) -> dict[str, Any]:
    """``sums`` of one estate, with what is true of the correlations and whether their intervals hold it."""
    e, f = simulate(correlation, seed, plots)
    got = sums(e, f, seed)
    each = correlation / np.sqrt(2)
    for name, true in (("found", each * float(np.sum(got["share"]))), ("level", each), ("pace", each)):
        got |= {f"{name}_true": true, f"{name}_held": got[name][1] <= true <= got[name][2]}
    return got


def _one(job: tuple[float, int]) -> dict[str, Any]:
    return one(*job)


def measure(estates: int = 40, correlations: Iterable[float] = CORRELATIONS, processes: int = 2, first_seed: int = 3000, told: Callable[[float], None] = lambda correlation: None) -> dict[str, dict[str, Any]]:
    """Correlation → means over estates: what is found of it, how often its 80 % interval holds the truth, and the sums' coverage, error and width [4] on ``WEEKS``."""
    found = {}
    for correlation, parts in many_estates.by_case(_one, correlations, lambda correlation: [(correlation, first_seed + i) for i in range(estates)], told, processes):
        out: dict[str, Any] = {"estates": estates, "plots": float(np.mean([p["plots"] for p in parts])), "true": float(np.mean([p["found_true"] for p in parts]))}
        out |= {name: float(np.mean([p[name][0] for p in parts])) for name in ("found", "level", "pace")}
        out |= {f"{name}_held": float(np.mean([p[f"{name}_held"] for p in parts])) for name in ("found", "level", "pace")}
        out |= {f"{name}{what}{end}": np.mean([p[f"{name}{what}{end}"] for p in parts], axis=0).tolist() for name in SUMS for what in ("80", "_bias", "_width") for end in ("", "_apart")}
        found[f"{correlation:+.1f}"] = out
    return found
