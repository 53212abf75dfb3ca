"""Outlines walked in the field, against the plot's present one; a person replaces or sets aside, nothing happens unasked.

A walk waits while its record is in force and undecided. New land is a held record (its plot is not
known) and waits with the rest. A correction of a decided walk is another record and waits afresh.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field

from .. import answers, clock
from ..database import Database, atomic
from ..land import service as land
from ..land import shapes
from ..people import service as people
from ..problems import Problem
from ..sentences import Sentence
from . import office_service, store
from .tables_service import in_force
from .taking_service import settle_with_land

LEAST_OVERLAP_HA = 0.01
UNLIKE_SHARE = 0.2
"""A change of area worth a word: beyond what a phone's GPS explains on a plot of a hectare."""
NEIGHBOUR_M = 60


@dataclass(frozen=True)
class Walk:
    """One walked outline and what it would change. ``drawn`` is the ring as it came, ``outline`` what would be stored."""

    record: str
    plot: str
    name: str
    known: bool
    sender: str
    taken_at: str
    minutes: float | None
    mode: str | None
    accuracy_m: float | None
    drawn: dict
    outline: dict | None
    old: dict | None
    area_ha: float
    comparison: shapes.Comparison | None
    crossings: list[tuple[float, float]]
    neighbours: dict[str, dict]
    names_at: dict[str, tuple[float, float]]
    findings: list[Sentence] = field(default_factory=list)


def walks_waiting(db: Database) -> list[Walk]:
    """All that wait, oldest first."""
    settle_with_land(db)
    done = store.decided_walks(db)
    names = [row.id for row in in_force(db).get("outline", []) if row.id not in done]
    names += [row["id"] for row in store.held(db) if row["kind"] == "outline" and row["code"] == "unknown_plot" and row["id"] not in done]
    if not names:
        return []
    outlines = {code: shapes.parse(geometry) for code, geometry in land.outlines(db).items()}
    called = land.plots(db)["name"].to_dict()
    return [_look(store.record(db, name), outlines, called) for name in names]


def walk(db: Database, record: str) -> Walk:
    """One that waits. Problem ``walk_not_waiting``."""
    found = next((w for w in walks_waiting(db) if w.record == record), None)
    if found is None:
        raise Problem("walk_not_waiting", where=record, status=404)
    return found


def _look(row: dict, outlines: dict, called: dict[str, str]) -> Walk:
    own = json.loads(row["fields"])
    came, code = shapes.parse(own["geometry"]), row["plot"] or ""
    sound = shapes.mended(came) if came is not None and shapes.why_invalid(came) else came
    usable = sound is not None and not sound.is_empty and shapes.within_degrees(sound) and not shapes.is_sliver(sound)
    old = outlines.get(code)
    crossings = shapes.self_crossings(came) if came is not None and shapes.why_invalid(came) else []
    comparison = shapes.compared(old, sound) if usable and old is not None else None
    neighbours = {other: geometry for other, geometry in outlines.items() if other != code and usable and shapes.within_m(geometry, sound, NEIGHBOUR_M)}
    findings = [*([Sentence("survey.walk.crossing", {"n": len(crossings)})] if crossings else []), *_sizes(sound if usable else None, comparison),
                *_overlaps(sound if usable else None, neighbours, called)]
    return Walk(row["id"], code, called.get(code) or code, code in called, row["sender"], row["taken_fixed"] or row["received_at"], own.get("walk_minutes"), own.get("walk_mode"),
                own.get("gps_accuracy_m", row["accuracy_m"]), own["geometry"], shapes.as_geojson(sound) if usable else None, shapes.as_geojson(old) if old is not None else None,
                shapes.measure(sound).area_ha if usable else 0.0, comparison, crossings, {other: shapes.as_geojson(g) for other, g in neighbours.items()},
                {other: at for other, g in neighbours.items() if (at := shapes.place_in_view(g, [s for s in (sound, old) if s is not None]))}, findings)


def _sizes(outline, comparison: shapes.Comparison | None) -> list[Sentence]:
    if outline is None:
        return [Sentence("survey.walk.unusable")]
    if comparison is None:
        return []
    if not comparison.common_ha:
        return [Sentence("survey.walk.elsewhere", {"metres": comparison.apart_m})]
    if abs(comparison.change_ha) > UNLIKE_SHARE * comparison.old_ha:
        return [Sentence("survey.walk.unlike", {"share": comparison.change_ha / comparison.old_ha})]
    return []


def _overlaps(outline, neighbours: dict, called: dict[str, str]) -> list[Sentence]:
    names = sorted(neighbours)
    pairs = shapes.overlaps([outline, *(neighbours[name] for name in names)], LEAST_OVERLAP_HA) if outline is not None else []
    return [Sentence("survey.walk.overlap", {"other": ", ".join(dict.fromkeys((called.get(names[j - 1]) or names[j - 1], names[j - 1]))), "area_ha": area}) for i, j, area in pairs if i == 0]


def replace_by_walk(db: Database, record: str, who: str) -> None:
    """A new version of the plot's outline; the old ones stay. Problems ``walk_not_waiting``, ``plot_unknown``, ``outline_invalid``."""
    found = _usable(walk(db, record))
    with atomic(db):
        land.replace_outline(db, found.plot, found.outline, f"walk:{record}", who)
        _decide(db, found, "replaced", found.plot, "", who)


def take_new_land(db: Database, record: str, code: str, who: str) -> None:
    """A plot made of a walk on unknown land, under the walk's own code or another; its record comes into use.

    Problems ``walk_not_waiting``, ``plot_code_missing``, ``plot_code_taken``, ``outline_invalid``.
    """
    found, code = _usable(walk(db, record)), code.strip()
    if found.known:
        raise Problem("plot_code_taken", where=found.plot, status=409)
    with atomic(db):
        land.add_plot(db, code, found.outline, f"walk:{record}", who)
        _decide(db, found, "new_plot", code, "", who)
        if code != found.plot:
            _decide(db, found, "new_plot", code, "", who, office_service.mend(db, record, {"plot": code}, who))
    settle_with_land(db)


def set_walk_aside(db: Database, record: str, why: str, who: str) -> None:
    """The plot keeps its outline; the record stays in the log. Problems ``walk_not_waiting``, ``why_missing``."""
    found = walk(db, record)
    if not why.strip():
        raise Problem("why_missing", where=record)
    with atomic(db):
        if not found.known:
            office_service.set_aside(db, record, who, why)
        _decide(db, found, "set_aside", found.plot, why.strip()[:500], who)


def _usable(found: Walk) -> Walk:
    if found.outline is None:
        raise Problem("outline_invalid", where=found.plot, reason="–")
    return found


def _decide(db: Database, found: Walk, action: str, plot: str, why: str, who: str, record: str = "") -> None:
    store.decide_walk(db, record or found.record, action, plot, why, clock.of(db).stamp(), who)
    answers.bump(db, "survey")
    people.note(db, who, f"walk_{action}", plot, after={"record": found.record, **({"why": why} if why else {})})
