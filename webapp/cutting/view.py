"""A stored plan as pages and the command line read it; and the making of what is stored."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import numpy as np

from ..sentences import Sentence, say
from ..solver import BEST, BY_HAND, USABLE, Outcome
from ..weeks import monday_of
from . import explain
from .constants import BEST_GAP
from .plan import Account, Plan, account, clearing, passes
from .problem import CuttingProblem
from .search import Found
from .windows import all_windows


@dataclass(frozen=True)
class PlanView:
    """One plan. Money in MXN. ``weeks``: dicts by week (delivered_t, lo80_t, hi80_t, sugar_t, need_t, short_t, trips, plots, binds);
    ``cuts``: dicts by plot and week (mass_t, plants, sugar_t, pass, clearing); ``hand``: what people's rules bring."""

    id: int
    made_at: str
    made_by: str
    how: str
    key: str
    outcome: str
    value_mxn: float
    bound_mxn: float | None
    gap: float | None
    stale: bool
    published_at: str | None
    weeks: tuple[dict, ...]
    cuts: tuple[dict, ...]
    hand: tuple[dict, ...]
    gave_way: tuple[dict, ...]
    meta: dict[str, Any]

    def short_weeks(self, least_t: float = 1.0) -> list[tuple[str, float]]:
        """Weeks in which the factory gets less than it asks, with the tonnes that are missing."""
        return [(w["week"], w["short_t"]) for w in self.weeks if w["short_t"] > least_t]

    def better_than(self, how: str) -> float | None:
        """How much more this plan brings than a plan by hand, as a share of its incremental value."""
        other = next((h["incremental_mxn"] for h in self.hand if h["how"] == how), None)
        return (self.value_mxn - other) / self.value_mxn if other is not None and self.value_mxn > 0 else None

    def outcome_said(self) -> Sentence:
        """How good the plan is, in words: as a share of incremental value, or in pesos where that is not above zero."""
        if not self.cuts:
            return Sentence(f"cutting.outcome.empty{'_none' if self.meta.get('passes_allowed') == 0 else '_best' if self._proven() else self._cut_short()}", {"n": len(self.weeks)})
        if self.outcome == BY_HAND:
            return Sentence(f"cutting.outcome.by_hand{self._cut_short() or ('_best' if self._proven() else '_search')}")
        if self.outcome != USABLE or self.gap is not None:
            return Sentence(f"cutting.outcome.{self.outcome}", {"gap": None if self.gap is None else 100 * self.gap})
        if self.bound_mxn is None:
            return Sentence("cutting.outcome.unbounded")
        return Sentence("cutting.outcome.room", {"room_mxn": self.bound_mxn - self.value_mxn})

    def _proven(self) -> bool:
        """Whether no plan can be worth more than this one (by the gap that counts as best, or a thousand pesos)."""
        return self.bound_mxn is not None and self.bound_mxn - self.value_mxn <= max(float(BEST_GAP) * abs(self.value_mxn), 1e3)

    def _cut_short(self) -> str:
        """What ended the search before its end: a failure, a person, the clock; "" when nothing did."""
        notes = self.meta.get("notes", ())
        return "_failed" if any(note != "stopped" for note in notes) else "_stopped" if notes else "_late" if self.meta.get("hurried") else ""

    def as_dict(self) -> dict:
        return {**{name: getattr(self, name) for name in ("id", "made_at", "made_by", "how", "key", "outcome", "value_mxn", "bound_mxn", "gap", "stale", "published_at")},
                "better_than_oldest": self.better_than("oldest_plain"), "weeks": list(self.weeks), "cuts": list(self.cuts), "by_hand": list(self.hand),
                "gave_way": list(self.gave_way), "rounds": self.meta["rounds"], "seconds": self.meta["seconds"]}


def view(row: dict, cuts: list[dict], stale: bool) -> PlanView:
    meta = row["meta"]
    return PlanView(row["id"], row["made_at"], row["made_by"], row["how"], row["key"], row["outcome"], row["value"], row["bound"], meta["gap"], stale,
                    row["published_at"], tuple(meta["weeks"]), tuple(cuts), tuple(meta["hand"]), tuple(meta["gave_way"]), meta)


def outcome_of(found: Found, seconds: float) -> Outcome:
    """The outcome in our words; the gap is a share of incremental value (kMXN)."""
    outcome = Outcome(USABLE, found.value, found.bound, max(found.value, 0.0), seconds, tuple(n for n in (found.failed, "stopped" if found.stopped else "") if n))
    if found.plan.how != "search":
        word = BY_HAND
    else:
        word = BEST if outcome.gap is not None and outcome.gap <= float(BEST_GAP) else USABLE
    return Outcome(word, outcome.value, outcome.bound, outcome.reference, seconds, outcome.notes)


def meta_of(problem: CuttingProblem, found: Found, hand: list[Plan], bands: dict[str, np.ndarray], outcome: Outcome) -> dict:
    """What is stored beside a plan, as JSON."""
    accounts = [(plan.how, account(problem, plan)) for plan in hand]
    mine = account(problem, found.plan)
    return {
        "gap": outcome.gap, "notes": list(outcome.notes), "rounds": found.rounds, "seconds": outcome.seconds, "hurried": found.hurried,
        "passes_allowed": len(all_windows(problem)),
        "log": [[name, value * 1e3] for name, value in found.log], "standing_mxn": problem.standing_value * 1e3, "total_mxn": mine.total * 1e3,
        "fixed_mxn": mine.fixed_cost * 1e3, "penalty_mxn": mine.penalty * 1e3,
        "prices_kmxn": {name: [float(v) for v in values] for name, values in found.prices.items()},
        "hand": [{"how": how, "incremental_mxn": a.incremental * 1e3, "total_mxn": a.total * 1e3, "delivered_t": float(a.delivered.sum()), "sugar_t": float(a.sugar.sum()),
                  "short_t": float(a.short.sum())} for how, a in accounts],
        "weeks": _weeks(problem, found.plan, mine, bands, found.prices), "gave_way": explain.gave_way(problem, found.plan, mine),
        "windows": [list(w) for w in found.plan.windows],
    }


def _weeks(problem: CuttingProblem, plan: Plan, mine: Account, bands: dict[str, np.ndarray], prices: dict) -> list[dict]:
    full = explain.binds(problem, plan)
    return [{"week": week, "delivered_t": float(mine.delivered[w]), "lo80_t": float(bands["t_lo"][w]), "hi80_t": float(bands["t_hi"][w]), "sugar_t": float(mine.sugar[w]),
             "need_t": float(problem.need_low[w]), "most_t": float(problem.need_high[w]), "short_t": float(mine.short[w]), "off_blend_t": float(mine.off_blend[w]),
             "trips": float(mine.trips[w]), "plots": int(mine.plots[w]), "crew_t": float(problem.crew_t[w]), "trips_most": float(problem.trips[w]), "binds": full[w],
             "worth_mxn": {name: float(prices[name][w]) * 1e3 for name in ("crew", "trips", "high") if name in prices}} for w, week in enumerate(problem.weeks)]


def cut_rows(problem: CuttingProblem, plan: Plan, plants: np.ndarray) -> list[dict]:
    """Rows of the plan by plot and week; ``plants`` [P] standing now."""
    number, clear = passes(plan), clearing(problem, plan)
    return [{"plot": problem.plots[p], "week": problem.weeks[w], "pass": int(number[p, w]), "clearing": int(clear[p, w]), "mass_t": float(problem.keep[p, w] * plan.cut[p, w]),
             "plants": float(plants[p] * plan.cut[p, w] / problem.stand_t[p]), "sugar_t": float(problem.keep[p, w] * plan.cut[p, w] * problem.sugar[p, w])}
            for p, w in zip(*np.nonzero(plan.cut > 0))]


def stored_plan(problem: CuttingProblem, row: dict, cuts: list[dict]) -> Plan:
    """The plan back from its rows, in week-0 tonnes."""
    place, at, cut = {c: i for i, c in enumerate(problem.plots)}, {w: i for i, w in enumerate(problem.weeks)}, np.zeros(problem.shape)
    for item in cuts:
        p, w = place[item["plot"]], at[item["week"]]
        cut[p, w] = item["mass_t"] / problem.keep[p, w]
    return Plan(row["how"], cut, tuple(tuple(w) for w in row["meta"]["windows"]))


def calendar(view: PlanView, names: dict[str, str], language: str) -> bytes:
    """RFC 5545: an all-day event per pass, Monday of its first week to the Monday after its last (DTEND is exclusive)."""
    from icalendar import Calendar, Event

    out = Calendar()
    out.add("prodid", "-//Piñario//plan de jima//ES")
    out.add("version", "2.0")
    spans: dict[tuple[str, int], list[dict]] = {}
    for cut in view.cuts:
        spans.setdefault((cut["plot"], cut["pass"]), []).append(cut)
    for (plot, number), parts in sorted(spans.items(), key=lambda item: (item[1][0]["week"], item[0])):
        first, last = monday_of(min(c["week"] for c in parts)), monday_of(max(c["week"] for c in parts))
        event = Event()
        event.add("uid", str(uuid5(NAMESPACE_URL, f"pinario:{plot}:{number}:{min(c['week'] for c in parts)}")))
        event.add("dtstamp", _stamp(view.made_at))
        event.add("dtstart", first)
        event.add("dtend", last + timedelta(days=7))
        event.add("summary", say("cutting.calendar.pass", language, name=names.get(plot, plot), plot=plot, mass_t=sum(c["mass_t"] for c in parts), pass_number=number))
        out.add_component(event)
    return out.to_ical()


def _stamp(text: str):
    from datetime import datetime, timezone

    return datetime.fromisoformat(text.replace("Z", "+00:00")).astimezone(timezone.utc).replace(microsecond=0)


