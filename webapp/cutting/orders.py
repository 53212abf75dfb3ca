"""One week of a plan split into orders: by crew, day and truck, in whole truckloads."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, timedelta

from ..sentences import Sentence
from ..weeks import monday_of
from .constants import DRY_MONTHS, HALVE_FROM_KG, LIFT_LIMIT_KG, RAIN_MONTHS, SHIFT_HOURS, SHIFT_START_H

CREW_WEEK_OVER = 1.10
"""A crew is given at most a tenth more than its week: a truck begun is filled."""


@dataclass(frozen=True)
class Crew:
    name: str
    people: int
    home_zone: str | None


@dataclass(frozen=True)
class Cut:
    """What the plan takes from one plot in the week; masses delivered, ``truck_t`` the most a truck may carry there."""

    plot: str
    zone: str
    number: int
    clearing: bool
    mass_t: float
    plants: float
    truck_t: float


@dataclass(frozen=True)
class Order:
    """One crew, one day, one plot. ``trucks`` = (hour "HH:MM", t) each."""

    id: str
    crew: str
    day: date
    plot: str
    number: int
    clearing: bool
    mass_t: float
    plants: float
    trucks: tuple[tuple[str, float], ...]

    @property
    def pina_kg(self) -> float:
        return 1000 * self.mass_t / max(self.plants, 1e-9)


def split(week: str, cuts: list[Cut], crews: list[Crew], day_mass_t: float, days: int) -> list[Order]:
    """Orders of the week, sorted by crew, day, plot.

    Each plot's tonnes become equal truckloads within the truck's limit. A load goes to a crew at home
    in the zone while it has room in its week, else to the one with most room; a crew's loads are laid
    evenly over its days, plot after plot. ``day_mass_t`` is what one person cuts a day.
    """
    room = {c.name: c.people * day_mass_t * days for c in crews}
    most, people = dict(room), {c.name: c.people for c in crews}
    given: dict[str, list[tuple[Cut, float]]] = {c.name: [] for c in crews}
    for cut in sorted(cuts, key=lambda c: (c.zone, -c.mass_t, c.plot)):
        count = max(1, -int(-(cut.mass_t - 1e-6) // cut.truck_t))
        for _ in range(count):
            load = cut.mass_t / count
            at_home = [c for c in crews if c.home_zone == cut.zone and room[c.name] >= load - (CREW_WEEK_OVER - 1) * most[c.name]]
            staying = [c for c in (at_home or crews) if any(g[0] is cut for g in given[c.name]) and room[c.name] >= load - (CREW_WEEK_OVER - 1) * most[c.name]]
            crew = max(staying or at_home or crews, key=lambda c: (room[c.name] / max(most[c.name], 1e-9), c.name))
            room[crew.name] -= load
            given[crew.name].append((cut, load))
    return sorted((order for k, c in enumerate(sorted(crews, key=lambda c: c.name), 1) for order in _days(week, c.name, k, people[c.name], given[c.name], day_mass_t, days)),
                  key=lambda o: (o.crew, o.day, o.plot))


def _days(week: str, crew: str, number: int, people: int, loads: list[tuple[Cut, float]], day_mass_t: float, days: int) -> list[Order]:
    """A crew's truckloads over Monday to Saturday; a truck leaves when the crew has filled it."""
    by_day: dict[int, list[tuple[Cut, float]]] = {}
    for i, load in enumerate(loads):
        by_day.setdefault(i * days // max(len(loads), 1) if len(loads) >= days else i, []).append(load)
    out, rate = [], people * day_mass_t / float(SHIFT_HOURS)
    for at, todays in sorted(by_day.items()):
        plots: dict[str, list[tuple[Cut, float, str]]] = {}
        hours = 0.0
        for cut, mass in todays:
            hours += mass / rate
            plots.setdefault(cut.plot, []).append((cut, mass, _hour(float(SHIFT_START_H) + min(hours, 10.0))))
        for plot, parts in plots.items():
            cut, mass = parts[0][0], sum(p[1] for p in parts)
            out.append(Order(f"{week}-{plot}-{number}", crew, monday_of(week) + timedelta(days=at), plot, cut.number, cut.clearing, mass,
                             cut.plants * mass / cut.mass_t, tuple((hour, part) for _, part, hour in parts)))
    return out


def _hour(hour: float) -> str:
    quarters = round(hour * 4)
    return f"{quarters // 4:02d}:{quarters % 4 * 15:02d}"


def how_to_tell(number: int, clearing: bool, marked_plants: int | None, target_deg: float) -> Sentence:
    """How a cutter knows which plants: all of them, those marked for this pass, or the signs."""
    if clearing:
        return Sentence("cutting.tell.all")
    if marked_plants:
        return Sentence("cutting.tell.marked", {"n": int(marked_plants), "pass_number": number})
    return Sentence("cutting.tell.signs", {"target_deg": target_deg})


def cautions(week: str, pina_kg: float, sick: bool = False, set_by_agronomist: str = "") -> list[Sentence]:
    """What to beware of, the week's own first; local codes and licensed practice come first, always last said."""
    month = (monday_of(week) + timedelta(days=3)).month
    out = [Sentence(f"caution.week.{set_by_agronomist}")] if set_by_agronomist else []
    out += [Sentence("caution.coa"), Sentence("caution.sap")]
    if pina_kg > float(LIFT_LIMIT_KG):
        out.append(Sentence("caution.load", {"pina_kg": pina_kg, "limit_kg": float(LIFT_LIMIT_KG), "halve_kg": float(HALVE_FROM_KG)}))
    if sick:
        out.append(Sentence("caution.rot"))
    out += [Sentence("caution.heat")]
    if month in RAIN_MONTHS:
        out.append(Sentence("caution.lightning"))
    if month in DRY_MONTHS:
        out.append(Sentence("caution.fire"))
    return out + [Sentence(f"caution.{name}") for name in ("drill", "spines", "rolling", "trucks", "interval", "who_not", "alone", "animals", "thieves", "codes")]


def as_row(order: Order, plan: int, week: str, at: str, style: str, tell: Sentence, beware: list[Sentence]) -> dict:
    """The order as it is stored."""
    return {"id": order.id, "day": order.day.isoformat(), "plan": plan, "crew": order.crew, "week": week, "plot": order.plot, "pass": order.number, "clearing": int(order.clearing),
            "mass_t": order.mass_t, "plants": order.plants, "pina_kg": order.pina_kg, "cut_style": style, "published_at": at,
            "trucks": json.dumps([{"hour": hour, "mass_t": mass} for hour, mass in order.trucks]), "how_to_tell": json.dumps(tell.as_dict()),
            "cautions": json.dumps([c.as_dict() for c in beware])}


def by_order(rows: list[dict]) -> list[dict]:
    """Rows of order and day gathered to one per order, as a crew's phone shows them: days, trucks with day and hour, totals."""
    out: dict[str, dict] = {}
    for row in rows:
        one = out.setdefault(row["id"], {**row, "days": [], "trucks": [], "mass_t": 0.0, "plants": 0.0})
        one["days"].append(row["day"])
        one["trucks"] += [{"day": row["day"], **truck} for truck in row["trucks"]]
        one["mass_t"] += row["mass_t"]
        one["plants"] += row["plants"]
    for one in out.values():
        del one["day"]
    return list(out.values())
