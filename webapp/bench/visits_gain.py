"""What a morning's round is worth on estates of other laws, against simple rules under the same hours and the same walking.

Each rule picks its visits; they are made on the truth (visit and plant errors drawn), every plot moves in closed form, and
what the estate then knows is held against what it knew: weeks of cutting windows and ripe tonnes narrowed an hour, and
how much nearer the ripe tonnes of 26 weeks came to what is really so.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Callable

import numpy as np

from ..crop import day_round, visits_worth, walking
from ..ripeness import fitting, plot_effects, rare, readiness, ripening
from ..ripeness.visits import PADDED
from . import ripeness_truth, true_laws
from .true_laws import CUT_DAY, PEAK_MONTHS, TARGET_BRIX_DEG, simulate

LAWS = ("logistic", "gompertz", "drift")
RULES = ("oldest", "ripest", "nearest")
"""Oldest visit first; ripest first; nearest to the target first."""
MINUTES, PLANTS, SHARE = 300.0, 12, ripeness_truth.LIMITS.ripe_share_to_cut
SIDE_DEG, ZONE_DEG = 0.05, 0.012
PACE = walking.Pace(4.0, 20.0, 8.0, 1.4, 10.0, 3.0, 6.0, PLANTS)
MOST_TIMES = 20.0
"""A rule that narrows next to nothing makes any ratio: said as «more than»."""
VISIT_SD, PLANT_SD, MASS_LOG_SD = 0.5, 2.1, 0.10


def known(f: Any, visits: Any, land: Any, mass_t: np.ndarray) -> tuple[visits_worth.Known, ripening.Outlook, ripening.Posterior]:
    """What the product knows of the estate with these visits."""
    post = ripening.posterior(f, visits, land, f.about)
    out = ripening.ahead(f, post, CUT_DAY + 7.0 * np.arange(visits_worth.WINDOW_WEEKS))
    sd, plant = np.sqrt(out.var), ripening.plant_sd(f, out.age)
    share, low, high = readiness.share(out.mean, sd, plant, f.residuals, TARGET_BRIX_DEG, rare_part=out.rare_part)
    P = len(mass_t)
    return visits_worth.Known(out.mean, sd, ripening.after_one_visit(f, post, out, PLANTS), plant, share, (high - low) / (2 * rare.half(0.8, out.rare_part)), np.repeat(mass_t[:, None], sd.shape[1], axis=1),
                              np.full(P, MASS_LOG_SD), np.full(P, 0.03), np.full(P, 90.0), ends=plot_effects.ends(f, land, visits, float(CUT_DAY), ripeness_truth.LIMITS, PLANTS)), out, post


def seen_again(visits: Any, at: np.ndarray, mean: np.ndarray) -> Any:
    """The visits with one more today at the plots ``at``."""
    P, M = visits.mask.shape
    wide = {name: np.concatenate([getattr(visits, name), np.zeros((P, 1), getattr(visits, name).dtype)], axis=1) for name in PADDED}
    place = visits.mask[at].sum(axis=1)
    for name, value in (("mean", mean), ("n", PLANTS), ("day", CUT_DAY), ("known", 0.05**2), ("mask", True), ("squares_in", (PLANTS - 1) * PLANT_SD**2)):
        wide[name][at, place] = value
    return replace(visits, **wide)


def by_list(order: np.ndarray, legs: np.ndarray, work: np.ndarray) -> tuple[int, ...]:
    """Plots of a list in its order as long as they fit, each put where it costs least; what no longer fits is passed over."""
    stops: tuple[day_round.Stop, ...] = ()
    for i in order:
        minutes, made = day_round.inserted(stops, day_round.Stop(int(i), visits_worth.SAMPLE), legs, work, len(work))
        if minutes <= MINUTES:
            stops = made
    return stops


def one(law: str, seed: int, plots: int = true_laws.PLOTS) -> dict[str, dict[str, float]]:
    """Rule → narrowed weeks, tonnes, part of the doubt and error removed, an hour."""
    e = simulate(law, seed, plots)
    visits, land = ripeness_truth.read(e)
    f, visits = fitting.fit_weighed(visits, land, PEAK_MONTHS, float(CUT_DAY))
    rng = np.random.default_rng([true_laws.LAWS.index(law), seed, 5])
    middle = rng.uniform(0, SIDE_DEG, (true_laws.ZONES, 2))
    place = middle[e.zone] + rng.normal(0, ZONE_DEG, (plots, 2))
    mass = 300 * np.exp(rng.normal(0, 0.4, plots))
    legs, work = walking.legs(20.6 + place[:, 0], -103 + place[:, 1], PACE), np.tile(PACE.work(), (plots, 1))
    before, out, post = known(f, visits, land, mass)
    w = visits_worth.worth(before, f.residuals, TARGET_BRIX_DEG, SHARE)
    doubt = visits_worth.doubt_of(w, 0.5)
    gain = visits_worth.gains(w, doubt, np.zeros(plots))
    gain[:, visits_worth.COUNT:] = 0.0
    last = np.where(visits.mask.any(axis=1), np.where(visits.mask, visits.day, -np.inf).max(axis=1), -np.inf)
    lists = {"oldest": np.argsort(last, kind="stable"), "ripest": np.argsort(-out.mean[:, 0], kind="stable"), "nearest": np.argsort(np.abs(out.mean[:, 0] - TARGET_BRIX_DEG), kind="stable")}
    rounds = {"ours": day_round.plan(gain, lambda stops: float(sum(gain[s.plot, s.work] for s in stops)), legs, work, MINUTES).stops} | {rule: by_list(order, legs, work) for rule, order in lists.items()}
    read = e.mean_deg[:, 0] + rng.normal(0, VISIT_SD, plots) + rng.normal(0, PLANT_SD / np.sqrt(PLANTS), plots)  # what each plot would say today, the same for every rule
    real = (mass[:, None] * e.ripe_share[:, : visits_worth.TONNES_WEEKS]).mean(axis=1)
    said = (before.mass_t * before.share)[:, : visits_worth.TONNES_WEEKS].mean(axis=1)
    found = {}
    for rule, stops in rounds.items():
        at = np.array(sorted(s.plot for s in stops), int)
        after, _, _ = known(f, seen_again(visits, at, read[at]), land, mass)
        then = visits_worth.worth(after, f.residuals, TARGET_BRIX_DEG, SHARE)
        told = (after.mass_t * after.share)[:, : visits_worth.TONNES_WEEKS].mean(axis=1)
        hours = day_round.minutes_of(stops, legs, work, plots) / 60
        weeks, tonnes = float((w.both_weeks - then.both_weeks).sum()), float((w.tonnes - then.tonnes).sum())
        found[rule] = {"weeks": weeks / hours, "tonnes": tonnes / hours, "part": float(doubt.part(weeks, tonnes)) / hours, "error_t": float((np.abs(said - real) - np.abs(told - real)).sum()) / hours, "visits": float(len(stops))}
    return found


def measure(estates: int = 12, laws: tuple[str, ...] = LAWS, told: Callable[[str], None] = lambda law: None) -> dict[str, Any]:
    """Law → {rule → means an hour}, with ``times`` ours over each rule's part of the doubt narrowed an hour."""
    out = {}
    for law in laws:
        told(law)
        parts = [one(law, 7000 + i) for i in range(estates)]
        means = {rule: {name: float(np.mean([p[rule][name] for p in parts])) for name in parts[0][rule]} for rule in ("ours", *RULES)}
        out[law] = {"estates": estates, "rules": means, "times": {rule: {name: means["ours"][name] / means[rule][name] if means[rule][name] > 0 else float("inf") for name in ("weeks", "tonnes", "part", "error_t")} for rule in RULES}}
    return out
