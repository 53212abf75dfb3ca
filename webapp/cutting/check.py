"""Every rule of a plan verified on its own, apart from the model and its windows code.

Written from the rules in words, with plain loops over the plots that are cut: a mistake in the form
would not be repeated here. What comes back is a list of broken rules, empty for a good plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .plan import Plan
from .problem import CLOSED_BY, CuttingProblem

TOLERANCE_T = 1e-3
RELATIVE = 1e-6


@dataclass(frozen=True)
class Broken:
    """One broken rule: its name, the plot (code) and week it concerns, by how much, in what unit."""

    rule: str
    plot: str
    week: str
    by: float
    unit: str

    def as_dict(self) -> dict:
        return vars(self)


def check(problem: CuttingProblem, plan: Plan, value: float | None = None) -> list[Broken]:
    """All hard rules, and the stated incremental ``value`` (kMXN) recomputed when given."""
    out: list[Broken] = []
    cut = np.asarray(plan.cut, float)
    if cut.shape != (len(problem.plots), len(problem.weeks)) or not np.isfinite(cut).all():
        return [Broken("numbers", "", "", float("inf"), "")]
    if cut.min(initial=0.0) < 0:
        out.append(Broken("negative", "", "", float(-cut.min()), "t"))
    by_plot: dict[int, list[tuple[int, int]]] = {}
    for p, s, n in plan.windows:
        by_plot.setdefault(p, []).append((s, s + n - 1))
    for p in range(len(problem.plots)):
        out += _plot(problem, p, cut[p], sorted(by_plot.get(p, [])))
    out += _weeks(problem, cut, by_plot)
    if value is not None:
        out += _value(problem, cut, by_plot, value)
    return out


def _plot(problem: CuttingProblem, p: int, cut: np.ndarray, spans: list[tuple[int, int]]) -> list[Broken]:
    code, weeks, T, rules = problem.plots[p], problem.weeks, problem.stand_t[p], problem.rules
    slack = TOLERANCE_T + RELATIVE * T
    out, inside, total, best = [], set(), 0.0, 0.0
    for s, e in spans:
        inside |= set(range(s, e + 1))
    for w in range(len(weeks)):
        ordered = problem.held_weeks > w
        if ordered and abs(cut[w] - problem.held[p, w]) > slack:
            out.append(Broken("order", code, weeks[w], abs(cut[w] - problem.held[p, w]), "t"))
        if w not in inside and cut[w] > 0:
            out.append(Broken("outside", code, weeks[w], cut[w], "t"))
        if w in inside and problem.closed[p, w] != 0 and not (ordered and problem.held[p, w] > 0):
            out.append(Broken(CLOSED_BY[problem.closed[p, w]], code, weeks[w], cut[w], "t"))
        if w > problem.last_week[p] and cut[w] > 0:
            out.append(Broken("lease", code, weeks[w], cut[w], "t"))
        if not ordered and cut[w] > problem.share[p, w] * T + slack:
            out.append(Broken("week_ripe", code, weeks[w], cut[w] - problem.share[p, w] * T, "t"))
        total += cut[w]
        best = max(best, problem.share[p, w] * T)
        excused = problem.held[p, : w + 1].sum() if problem.held_weeks else 0.0
        if cut[w] > 0 and total > max(best, excused) + slack:
            out.append(Broken("ripe", code, weeks[w], total - best, "t"))
    for i, (s, e) in enumerate(spans):
        continued = s == 0 and problem.running[p] > 0
        begun = problem.held_weeks > s
        stay = e - s + 1 + (problem.running[p] if continued else 0)
        ordered_stay = (problem.running[p] if continued else 0) + sum(1 for w in range(s, e + 1) if begun and w < problem.held_weeks and problem.held[p, w] > 0)
        if stay > max(rules.longest_pass_weeks, ordered_stay):
            out.append(Broken("longest", code, weeks[s], stay - rules.longest_pass_weeks, "weeks"))
        if not continued and not begun:
            if s < problem.rest_until[p]:
                out.append(Broken("rest", code, weeks[s], float(problem.rest_until[p] - s), "weeks"))
            if cut[s: e + 1].sum() < rules.least_pass_share * T - slack:
                out.append(Broken("least", code, weeks[s], rules.least_pass_share * T - cut[s: e + 1].sum(), "t"))
        if i and s - spans[i - 1][1] - 1 < rules.idle_weeks:
            out.append(Broken("idle", code, weeks[s], rules.idle_weeks - (s - spans[i - 1][1] - 1), "weeks"))
    if len(spans) > rules.most_passes:
        out.append(Broken("passes", code, "", len(spans) - rules.most_passes, "passes"))
    return out


def _weeks(problem: CuttingProblem, cut: np.ndarray, by_plot: dict) -> list[Broken]:
    out = []
    for w, week in enumerate(problem.weeks):
        tonnes = float(sum(problem.keep[p, w] * cut[p, w] for p in np.flatnonzero(cut[:, w])))
        trips = float(sum(problem.keep[p, w] * cut[p, w] * problem.trips_per_t[p] for p in np.flatnonzero(cut[:, w])))
        plots = sum(any(s <= w <= e for s, e in spans) for spans in by_plot.values())
        for rule, used, most, unit in (("high", tonnes, problem.need_high[w], "t"), ("crew", tonnes, problem.crew_t[w], "t"),
                                       ("trips", trips, problem.trips[w], "trips"), ("plots", plots, problem.active_plots, "plots")):
            if used > most + TOLERANCE_T + RELATIVE * abs(most):
                out.append(Broken(rule, "", week, float(used - most), unit))
    return out


def _value(problem: CuttingProblem, cut: np.ndarray, by_plot: dict, value: float) -> list[Broken]:
    """The incremental value by another road: pesos received, less what standing would have been worth."""
    costs, rules, total = problem.costs, problem.rules, 0.0
    for p, spans in by_plot.items():
        for s, e in spans:
            total -= costs.plot_week * (e - s + 1) + (0.0 if s == 0 and problem.running[p] > 0 else costs.move_in)
        for w in np.flatnonzero(cut[p]):
            total += cut[p, w] * (problem.keep[p, w] * problem.value[p, w] - problem.end_value[p])
    for w in range(len(problem.weeks)):
        total -= costs.zone_week * len({int(problem.zone_of[p]) for p, spans in by_plot.items() if any(s <= w <= e for s, e in spans)})
        tonnes = float((problem.keep[:, w] * cut[:, w]).sum())
        sugar = float((problem.keep[:, w] * cut[:, w] * problem.sugar[:, w]).sum())
        total -= costs.short_t * max(problem.need_low[w] - tonnes, 0.0)
        total -= costs.blend_t * (max(rules.blend_low * tonnes - sugar, 0.0) + max(sugar - rules.blend_high * tonnes, 0.0))
    wrong = abs(total - value)
    return [Broken("value", "", "", wrong, "kMXN")] if wrong > 1e-3 + 1e-6 * abs(value) else []
