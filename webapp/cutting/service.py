"""Cutting for the edges: the problem of today, plans by hand and by search, orders, reasons, changes."""

from __future__ import annotations

import csv
import io
import time
from datetime import timedelta
from typing import Any

from .. import answers, clock, settings
from ..crop import service as crop
from ..database import Database, atomic
from ..land import service as land
from ..people import service as people
from ..problems import Problem
from ..ripeness import service as ripeness
from ..sentences import Sentence
from ..solver import Progress, no_progress
from ..survey import service as survey
from ..tonnage import service as tonnage
from ..weeks import monday_of
from . import store

CAUTIONS = ("heat", "cold", "storm")
CUT_STYLES = ("long", "short", "shaved")


# --- crews and needs -----------------------------------------------------------------------------------

def crews(db: Database) -> list[dict]:
    return store.crews(db)


def set_crew(db: Database, name: str, people_count: int, home_zone: str | None = None, active: bool = True, who: str = "") -> None:
    """Add or change a crew. Problems ``crew_name``, ``crew_people``, ``crew_zone``."""
    name = name.strip()
    if not name or len(name) > 80:
        raise Problem("crew_name", where="name")
    try:
        count = int(people_count)
    except (TypeError, ValueError):
        raise Problem("crew_people", where=name, value=str(people_count)) from None
    if not 1 <= count <= 200:
        raise Problem("crew_people", where=name, value=count)
    if home_zone and home_zone not in set(land.zones(db).index):
        raise Problem("crew_zone", where=name, zone=home_zone)
    with atomic(db):
        store.put_crew(db, name, count, home_zone or None, active)
        answers.bump(db, "crews")
        people.note(db, who, "set_crew", name, after={"people": count, "home_zone": home_zone or None, "active": bool(active)})


def load_crews(db: Database, data: bytes, who: str) -> int:
    """Crews from a CSV with name, people, home_zone, active; all or none."""
    with atomic(db):
        rows = list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
        for row in rows:
            set_crew(db, row.get("name", ""), row.get("people", ""), row.get("home_zone") or None, row.get("active", "1") not in ("0", "no"), who)
    return len(rows)


def set_week_need(db: Database, week: str, need_t: float | None, who: str) -> None:
    """What the factory asks in one week instead of the usual; None goes back to it. Problem ``week_bad``, ``need_bad``."""
    _week(week)
    if need_t is not None and not 0 <= float(need_t) <= 20000:
        raise Problem("need_bad", where=week, value=need_t)
    with atomic(db):
        store.put_need(db, week, need_t, who, clock.of(db).stamp())
        answers.bump(db, "crews")
        people.note(db, who, "set_week_need", week, after=need_t)


def set_week_caution(db: Database, week: str, kind: str, who: str) -> None:
    """The agronomist's caution of the week: heat, cold, storm, or "" for none."""
    _week(week)
    if kind and kind not in CAUTIONS:
        raise Problem("setting_choice", where="caution", value=kind, choices=", ".join(CAUTIONS))
    with atomic(db):
        store.put_caution(db, week, kind, who, clock.of(db).stamp())
        people.note(db, who, "set_week_caution", week, after=kind)


def _week(week: str) -> None:
    try:
        monday_of(week)
    except ValueError:
        raise Problem("week_bad", where="week", value=week) from None


# --- the problem ----------------------------------------------------------------------------------------

def key_now(db: Database) -> str:
    """What a plan made now would rest on."""
    return answers.key_of(crop=crop.answer(db).key, crews=answers.version(db, "crews"), closures=answers.version(db, "closures"),
                          settings=settings.load(db).version, week=clock.of(db).week())


def problem_now(db: Database, hold: bool = True, **what_if: Any):
    """The cutting problem of today. ``what_if`` are settings replaced for this question only.

    Problems ``no_standing_plots``, ``no_crews``.
    """
    from . import assembly, facts

    draws, values, today = crop.draws(db), settings.load(db).with_values(**what_if), clock.of(db).today()
    active = store.crews(db, active_only=True)
    if not len(draws.plots):
        raise Problem("no_standing_plots")
    if not active:
        raise Problem("no_crews")
    loads, ripe, weeks = survey.loads(db), ripeness.answer(db), list(draws.weeks)
    at = [ripe.meta["plots"].index(code) for code in draws.plots]
    return assembly.assemble(
        facts.plot_facts(list(draws.plots), land.plots(db), loads, survey.labors(db), today), facts.zone_facts(land.zones(db)), weeks,
        facts.field_of(draws.share, draws.mass_t, draws.art, ripe.arrays["mean_deg"][at]), [c["people"] for c in active], land.closures(db), values,
        store.needs(db), facts.orders_ahead(store.orders(db), weeks, loads, hold))


# --- plans ------------------------------------------------------------------------------------------------

def by_hand(db: Database, **what_if: Any) -> list[dict]:
    """What people's rules would bring today: how, incremental_mxn, delivered_t, sugar_t, short_t each; ``what_if`` as in :func:`problem_now`."""
    from . import by_hand as rules
    from .plan import account

    problem = problem_now(db, **what_if)
    found = [(plan, account(problem, plan)) for plan in rules.all_plans(problem)]
    return [{"how": p.how, "incremental_mxn": a.incremental * 1e3, "delivered_t": float(a.delivered.sum()), "sugar_t": float(a.sugar.sum()), "short_t": float(a.short.sum())} for p, a in found]


def make_plan(db: Database, seconds: float | None = None, seed: int = 1, progress: Progress = no_progress, who: str = "") -> int:
    """Make and store a plan; returns its number. Always a plan: the search's, or the best by hand named as such.

    ``progress`` returning False stops the search with the best plan so far.
    """
    from . import forecast, making, view

    began = time.monotonic()
    progress(0.01, "cutting.progress.inputs")
    key, problem = key_now(db), problem_now(db)
    limit = float(seconds if seconds is not None else settings.load(db)["plan_seconds"])
    solving = time.monotonic()
    found, hand = making.make(problem, lambda: limit - (time.monotonic() - solving), seed, progress)
    outcome = view.outcome_of(found, time.monotonic() - solving)
    draws = crop.draws(db)
    bands = forecast.weekly(problem, found.plan, draws.share, draws.mass_t, draws.art)
    stand = tonnage.answer(db)
    plants = stand.arrays["plants"][[stand.meta["plots"].index(code) for code in problem.plots]]
    meta = view.meta_of(problem, found, hand, bands, outcome)
    row = {"made_at": clock.of(db).stamp(), "made_by": who, "how": found.plan.how, "key": key, "first_week": problem.weeks[0], "weeks": len(problem.weeks),
           "outcome": outcome.word, "value": found.value * 1e3, "bound": None if found.bound is None else found.bound * 1e3, "meta": {**meta, "took_seconds": time.monotonic() - began}}
    with atomic(db):
        made = store.add_plan(db, row, problem, view.cut_rows(problem, found.plan, plants))
        people.note(db, who, "make_plan", str(made), after={"outcome": outcome.word, "value_mxn": round(row["value"])})
    progress(1.0, "cutting.progress.done")
    return made


def plan(db: Database, number: int | None = None):
    """A PlanView, the latest by default; None when there is none yet. Problem ``plan_unknown`` for a number that isn't there."""
    from . import view

    row = store.plan_row(db, number)
    if row is None:
        if number is not None:
            raise Problem("plan_unknown", where=str(number), status=404)
        return None
    return view.view(row, store.cuts(db, row["id"]), row["key"] != key_now(db))


def plans(db: Database) -> list[dict]:
    return store.plan_rows(db)


def cuts_of(db: Database, plot: str) -> list[dict]:
    """What the latest plan cuts of one plot: week, pass, clearing, mass_t, plants."""
    row = store.plan_row(db)
    return store.cuts(db, row["id"], plot) if row else []


def _stored(db: Database, number: int | None):
    from . import view

    row = store.plan_row(db, number)
    if row is None:
        raise Problem("plan_unknown", where=str(number or ""), status=404)
    problem = store.inputs(db, row["id"], row["meta"]["inputs"])
    return row, problem, view.stored_plan(problem, row, store.cuts(db, row["id"]))


def explain(db: Database, number: int | None, plot: str, shown: dict[str, float] | None = None) -> list[Sentence]:
    """Why the plan cuts a plot when it does, or not; nothing when there is no plan or the plot isn't in it. ``shown``: its ripe share by week as pages tell it."""
    from .explain import why

    row = store.plan_row(db, number)
    if row is None or plot not in row["meta"]["inputs"]["plots"]:
        return []
    row, problem, made = _stored(db, row["id"])
    return why(problem, made, row["meta"]["prices_kmxn"], problem.plots.index(plot), shown)


def check(problem, made, value_kmxn: float | None = None) -> list:
    """Broken rules of a plan, verified apart from the model."""
    from .check import check as verify

    return verify(problem, made, value_kmxn)


def check_stored(db: Database, number: int | None = None, now: Any = None) -> list[dict]:
    """Broken rules of a stored plan against the inputs stored with it, or against another problem of the same plots and weeks (``now``)."""
    row, problem, made = _stored(db, number)
    return [broken.as_dict() for broken in (check(now, made) if now is not None else check(problem, made, row["value"] / 1e3))]


def compare(db: Database, plan_a: int, plan_b: int) -> list[dict]:
    """What changes from one plan to another, plot by plot (kind new, dropped, moved, amount)."""
    from .explain import changes

    cuts = []
    for number in (plan_a, plan_b):
        if store.plan_row(db, number) is None:
            raise Problem("plan_unknown", where=str(number), status=404)
        cuts.append({(c["plot"], c["week"]): c["mass_t"] for c in store.cuts(db, number)})
    return changes(*cuts, land.plots(db)["name"].to_dict())


def calendar(db: Database, number: int | None = None, language: str = "es") -> bytes:
    from . import view

    found = plan(db, number)
    if found is None:
        raise Problem("plan_unknown", where="", status=404)
    return view.calendar(found, land.plots(db)["name"].to_dict(), language)


# --- orders -----------------------------------------------------------------------------------------------

def publish(db: Database, number: int, who: str, weeks: int = 1) -> list[str]:
    """Make the orders of the plan's first weeks; those weeks' older orders give way to them. Returns the orders' names.

    A published plan keeps its inputs. Problems ``plan_unknown``, ``plan_old`` (its first week is over), ``no_crews``, ``weeks_to_publish``.
    """
    from . import facts
    from . import orders as splitting
    from .assembly import rainy

    row, problem, _ = _stored(db, number)
    crews_now = [splitting.Crew(c["name"], c["people"], c["home_zone"]) for c in store.crews(db, active_only=True)]
    if not crews_now:
        raise Problem("no_crews")
    if not 1 <= weeks <= 8:
        raise Problem("weeks_to_publish", where="weeks", value=weeks)
    if row["first_week"] != clock.of(db).week():
        raise Problem("plan_old", where=str(number), week=row["first_week"], status=409)
    values, loads, markings, counts = settings.load(db), survey.loads(db), survey.markings(db), survey.row_counts(db)
    cuts, at, names = store.cuts(db, row["id"]), clock.of(db).stamp(), []
    with atomic(db):
        for week in problem.weeks[:weeks]:
            rain = values["rain_work_factor"] if rainy(week) else 1.0
            mine = [_cut_of(problem, c) for c in cuts if c["week"] == week]
            parts = splitting.split(week, mine, crews_now, values["day_mass_per_person_t"] * rain, int(values["cutting_days_week"]))
            rows = []
            for o in parts:
                days = loads[loads["plot"] == o.plot]["day"]
                tell = splitting.how_to_tell(o.number, o.clearing, facts.marked(markings, o.plot, max(days) if len(days) else None), values["target_brix_deg"])
                beware = splitting.cautions(week, o.pina_kg, facts.is_sick(counts, o.plot, monday_of(week) - timedelta(days=540)), store.caution(db, week))
                rows.append(splitting.as_row(o, row["id"], week, at, facts.usual_style(loads, o.plot), tell, beware))
            store.put_orders(db, week, rows)
            names += sorted({r["id"] for r in rows})
        store.mark_published(db, row["id"], at, who)
        people.note(db, who, "publish_orders", str(row["id"]), after={"weeks": list(problem.weeks[:weeks]), "orders": len(names)})
    return names


def _cut_of(problem, cut: dict):
    from .orders import Cut

    p = problem.plots.index(cut["plot"])
    return Cut(cut["plot"], problem.zones[problem.zone_of[p]], cut["pass"], bool(cut["clearing"]), cut["mass_t"], cut["plants"], 1.0 / float(problem.trips_per_t[p]))


def orders_mark(db: Database) -> str:
    """A text that is another one after orders were published or withdrawn."""
    return store.orders_mark(db)


def orders(db: Database, week: str | None = None, crew: str | None = None) -> list[dict]:
    """Published orders, one row per order and day: id, day (ISO), crew, week, plot, name, zone, gate, pass, clearing, kind
    ("selective" or "clearing"), mass_t, plants, pina_kg, cut_style, trucks [{hour, mass_t}], how_to_tell and cautions (Sentence dicts)."""
    found = store.orders(db, week, crew)
    if not found:
        return []
    plots = land.plots(db)
    for order in found:
        row = plots.loc[order["plot"]] if order["plot"] in plots.index else None
        order |= {"name": row["name"] if row is not None else order["plot"], "zone": (row["zone"] or "") if row is not None else "", "gate": (row["gate"] or "") if row is not None else "",
                  "kind": "clearing" if order["clearing"] else "selective"}
    return found
