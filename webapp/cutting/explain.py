"""Why a plot is cut when it is, or not now; which rule gave way and by how much; what binds each week."""

from __future__ import annotations

import numpy as np

from ..sentences import Sentence, format_share
from .plan import Account, Plan, account, passes
from .problem import CLOSED_BY, LEASE, OPEN, CuttingProblem

NEAR_FULL = 0.995
LEASE_REST = 0.02
"""What may be left at a lease's end without a word: single plants that ripen after the last pass."""
LIMITS = ("high", "crew", "trips", "plots")


def priced_gain(problem: CuttingProblem, prices: dict[str, list[float]]) -> np.ndarray:
    """[P, W] kMXN per week-0 t left after paying what the week's factory, crews and trucks are worth to others."""
    if not prices:
        return problem.gain()
    row = {name: np.asarray(values, float)[None, :] for name, values in prices.items()}
    paid = row["high"] + row["crew"] + problem.trips_per_t[:, None] * row["trips"] - row["low"]
    blend = 10.0 * (row["blend_low"] * (problem.sugar - problem.rules.blend_low) - row["blend_high"] * (problem.sugar - problem.rules.blend_high))
    return problem.keep * (problem.value - paid + blend) - problem.end_value[:, None]


def best_window(problem: CuttingProblem, plan: Plan, p: int, gain: np.ndarray) -> tuple[int, int, float, float] | None:
    """(first week, weeks, week-0 t, kMXN) of the plot's best new window at the given gains, or None when none is allowed."""
    T, rules, cap, ripe = problem.stand_t[p], problem.rules, problem.cap[p], problem.ripe[p] * problem.stand_t[p]
    used = np.zeros((len(problem.zones), len(problem.weeks)), bool)
    np.logical_or.at(used, problem.zone_of, plan.active())
    best = None
    for s in range(problem.held_weeks, len(problem.weeks)):
        for n in range(1, rules.longest_pass_weeks + 1):
            e = s + n - 1
            if e >= len(problem.weeks) or (problem.closed[p, s: e + 1] != OPEN).any() or ripe[e] < rules.least_pass_share * T or s < problem.rest_until[p]:
                continue
            taken, worth = 0.0, 0.0
            for w in sorted(range(s, e + 1), key=lambda w: -gain[p, w]):
                most = max(min(cap[w], ripe[w] - taken), 0.0)
                least = max(rules.least_pass_share * T - taken, 0.0)
                x = most if gain[p, w] > 0 else min(most, least)
                taken, worth = taken + x, worth + x * gain[p, w]
            if taken < rules.least_pass_share * T - 1e-6:
                continue
            zone_weeks = int((~used[problem.zone_of[p], s: e + 1]).sum())
            worth -= problem.costs.move_in + problem.costs.plot_week * n + problem.costs.zone_week * zone_weeks
            if best is None or worth > best[3] + 1e-9:
                best = (s, n, taken, worth)
    return best


def why(problem: CuttingProblem, plan: Plan, prices: dict[str, list[float]], p: int, shown: dict[str, float] | None = None) -> list[Sentence]:
    """Sentences with numbers: what is planned for the plot, or what stands against it. ``shown`` is the ripe share by week as pages tell it (the middle
    of what it may be; the plan sums what is expected), so that one week's share never stands there as two."""
    name = {"name": problem.names[p], "plot": problem.plots[p]}
    spans = [(s, n) for q, s, n in plan.windows if q == p]
    out = []
    number = passes(plan)[p]
    for s, n in spans:
        mass = float((problem.keep[p, s: s + n] * plan.cut[p, s: s + n]).sum())
        out.append(Sentence("cutting.why.planned", {**name, "first": problem.weeks[s], "last": problem.weeks[s + n - 1], "weeks": problem.weeks[s] if n == 1 else f"{problem.weeks[s]} – {problem.weeks[s + n - 1]}", "mass_t": mass, "pass_number": int(number[s])}))
    if not spans:
        out += _against(problem, plan, prices, p, name, shown or {})
    out += _lease(problem, plan, p, name)
    return out


def _against(problem: CuttingProblem, plan: Plan, prices, p: int, name: dict, shown: dict[str, float]) -> list[Sentence]:
    least, ripe = problem.rules.least_pass_share, problem.ripe[p]
    if problem.age_months[p] < 0:
        return [Sentence("cutting.why.unplanted", {**name, "months": max(1.0, -float(problem.age_months[p]))})]
    if ripe[-1] < least:
        return [_unripe(problem, p, name, shown)]
    out = _closed(problem, p, name) + _too_big(problem, p, name)
    if out and out[-1].code == "cutting.why.too_big":
        return out
    raw = best_window(problem, plan, p, problem.gain())
    if raw is None:
        return out or [Sentence("cutting.why.no_window", {**name, "least": 100 * least})]
    s, n, tonnes, worth = raw
    if worth <= 0:
        now, later = problem.keep[p, s] * problem.value[p, s], problem.end_value[p]
        code = "cutting.why.worth_more_later" if later > now else "cutting.why.costs_more"
        return out + [Sentence(code, {**name, "now_mxn_t": 1e3 * float(now), "later_mxn_t": 1e3 * float(later), "loss_mxn": -1e3 * float(worth), "week": problem.weeks[s]})]
    priced = best_window(problem, plan, p, priced_gain(problem, prices))
    s, n, tonnes, left = priced or raw
    return out + [Sentence("cutting.why.others_first", {**name, "week": problem.weeks[s], "mass_t": tonnes, "gain_mxn": 1e3 * float(worth), "left_mxn": 1e3 * float(left),
                                                       "limits": [Sentence(f"cutting.limit.{rule}") for rule in _scarce(problem, plan, s, n, prices)]})]


def _unripe(problem: CuttingProblem, p: int, name: dict, shown: dict[str, float]) -> Sentence:
    """The most that its share reaches within the plan, as the plan counts it and, where it is another figure, as the pages tell that week."""
    least, week = problem.rules.least_pass_share, problem.weeks[int(np.argmax(problem.share[p]))]
    told = {**name, "share": format_share(problem.ripe[p, -1], (least,)), "least": format_share(least), "week": week, "last": problem.weeks[-1], "age": Sentence("cutting.why.age", {"age_months": age}) if (age := float(problem.age_months[p])) >= 1 else ""}  # no date: nothing to say
    middle = format_share(shown[week], (least,)) if week in shown else told["share"]
    return Sentence("cutting.why.unripe", told) if middle == told["share"] else Sentence("cutting.why.unripe_shown", {**told, "shown": middle})


def _too_big(problem: CuttingProblem, p: int, name: dict) -> list[Sentence]:
    """When not even all crews, trucks and the factory together manage the least pass of so large a plot in the longest time one may last."""
    rules = problem.rules
    most = {"high": problem.need_high, "crew": problem.crew_t, "trips": problem.trips / max(float(problem.trips_per_t[p]), 1e-9)}
    weekly = np.minimum.reduce(list(most.values()))
    can = np.array([weekly[s: s + rules.longest_pass_weeks].sum() for s in range(len(weekly))])
    least_t = rules.least_pass_share * float(problem.stand_t[p]) * float(problem.keep[p].min())
    if least_t <= can.max():
        return []
    s = int(np.argmax(can))
    tight = min(most, key=lambda rule: float(most[rule][s: s + rules.longest_pass_weeks].sum()))
    return [Sentence("cutting.why.too_big", {**name, "least_t": least_t, "can_t": float(can.max()), "weeks": rules.longest_pass_weeks, "limit": Sentence(f"cutting.limit.{tight}")})]


def _closed(problem: CuttingProblem, p: int, name: dict) -> list[Sentence]:
    """Reasons of its own that close the plot in weeks when enough of it is ripe for a pass (the factory's stops concern all)."""
    ripe = problem.ripe[p] >= problem.rules.least_pass_share
    out = []
    for code, reason in enumerate(CLOSED_BY):
        weeks = np.flatnonzero(ripe & (problem.closed[p] == code)) if code not in (OPEN, 1) else []
        if len(weeks):
            out.append(Sentence(f"cutting.why.closed.{reason}", {**name, "n": int(len(weeks)), "first": problem.weeks[weeks[0]], "last": problem.weeks[weeks[-1]], "least": format_share(problem.rules.least_pass_share)}))
    if problem.rest_until[p] > 0:
        out.append(Sentence("cutting.why.closed.rest", {**name, "n": int(problem.rest_until[p]), "last": problem.weeks[min(problem.rest_until[p], len(problem.weeks)) - 1],
                                                       "first": problem.weeks[0]}))
    return out


def _scarce(problem: CuttingProblem, plan: Plan, s: int, n: int, prices) -> list[str]:
    """What is full in the plot's best weeks; the dearest limit when none is quite full."""
    full = binds(problem, plan)
    found = [rule for rule in LIMITS if any(rule in full[w] for w in range(s, s + n))]
    if found or not prices:
        return found or ["high"]
    return [max(("high", "crew", "trips", "plots"), key=lambda rule: (sum(prices[rule][s: s + n]), -LIMITS.index(rule)))]


def _lease(problem: CuttingProblem, plan: Plan, p: int, name: dict) -> list[Sentence]:
    last = int(problem.last_week[p])
    if last >= len(problem.weeks):
        return []
    left = float(problem.stand_t[p] - plan.cut[p].sum())
    week = problem.weeks[max(last, 0)]
    return [Sentence("cutting.why.lease_left", {**name, "week": week, "left_t": left})] if left > 0.05 * problem.stand_t[p] else []


def binds(problem: CuttingProblem, plan: Plan) -> list[list[str]]:
    """For each week the limits that are full: factory's most, crews, trucks, plots at once."""
    found, out = account(problem, plan), []
    for w in range(len(problem.weeks)):
        used = (("high", found.delivered[w], problem.need_high[w]), ("crew", found.delivered[w], problem.crew_t[w]), ("trips", found.trips[w], problem.trips[w]),
                ("plots", found.plots[w], problem.active_plots))
        out.append([rule for rule, amount, most in used if most > 0 and amount >= NEAR_FULL * most])
    return out


def gave_way(problem: CuttingProblem, plan: Plan, found: Account | None = None) -> list[dict]:
    """Every rule that gave way, where, by how much: the need, the blend, orders that could not be kept, leases that run out."""
    found = found or account(problem, plan)
    out = list(problem.gave_way)
    for w, week in enumerate(problem.weeks):
        if found.short[w] > 0.05:
            out.append({"rule": "low", "plot": "", "week": week, "by": float(found.short[w]), "unit": "t"})
        if found.off_blend[w] > 1e-3:
            out.append({"rule": "blend", "plot": "", "week": week, "by": float(found.off_blend[w]), "unit": "t"})
    for p in np.flatnonzero((problem.last_week < len(problem.weeks)) & (problem.closed == LEASE).any(axis=1)):
        week = int(max(problem.last_week[p], 0))
        left = float(problem.stand_t[p] * problem.ripe[p, week] - plan.cut[p].sum())
        if left > max(1.0, LEASE_REST * problem.stand_t[p]):
            out.append({"rule": "lease", "plot": problem.plots[p], "week": problem.weeks[week], "by": left, "unit": "t"})
    return out


def said(item: dict) -> Sentence:
    """The sentence of one item of :func:`gave_way`."""
    return Sentence(f"cutting.gave.{item['rule']}", {"week": item["week"], "plot": item["plot"], "by": float(item["by"])})


def changes(before: dict[tuple[str, str], float], after: dict[tuple[str, str], float], names: dict[str, str], least_t: float = 1.0) -> list[dict]:
    """What two plans' {(plot, week): delivered t} differ in, plot by plot: new, dropped, moved or another amount."""
    out = []
    for plot in sorted({p for p, _ in before} | {p for p, _ in after}):
        old = {w: t for (p, w), t in sorted(before.items()) if p == plot and t > 0}
        new = {w: t for (p, w), t in sorted(after.items()) if p == plot and t > 0}
        item = {"plot": plot, "name": names.get(plot, plot), "from_week": min(old, default=""), "to_week": min(new, default=""), "before_t": sum(old.values()), "after_t": sum(new.values()),
                "weeks": {w: new.get(w, 0.0) - old.get(w, 0.0) for w in sorted(set(old) | set(new)) if abs(new.get(w, 0.0) - old.get(w, 0.0)) >= least_t}}
        if not item["weeks"]:
            continue
        item["kind"] = "new" if not old else "dropped" if not new else "moved" if set(old) != set(new) else "amount"
        out.append(item)
    return out
