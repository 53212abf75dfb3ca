"""Visits worth making, as pages, phones and the command line tell them: one list, one round, from the stored answers."""

from __future__ import annotations

import re
import threading
from typing import Any

import numpy as np

from .. import settings
from ..database import Database, path_of
from ..problems import Problem
from ..sentences import Sentence
from . import day_round, visits_worth, walking
from .board_service import Board, board, key

MOST_BY_RATE, MOST_BY_GAIN = 100, 40
LITTLE = 0.12
"""Under this part of the better work's gain, a sample or a count is not told as worth the stop."""
_told: dict[Any, tuple[str, dict[tuple, Any]]] = {}
_guard = threading.Lock()
MOST_TOLD = 64


def _kept(db: Database, asked: tuple, make) -> Any:
    """What was told before on the same state: two hundred phones ask for one list."""
    this, where = key(db), path_of(db) or id(db)
    with _guard:
        before, answers_ = _told.get(where, ("", {}))
        if before == this and asked in answers_:
            return answers_[asked]
    made = make()
    with _guard:
        before, answers_ = _told.get(where, ("", {}))
        if before != this or len(answers_) >= MOST_TOLD:
            answers_ = {}
        _told[where] = (this, {**answers_, asked: made})
    return made


def gate(db: Database) -> tuple[float, float] | None:
    """Where the crews start (setting «lat, lon»), or None."""
    found = re.fullmatch(r"\s*(-?\d+(?:\.\d+)?)\s*[,; ]\s*(-?\d+(?:\.\d+)?)\s*", str(settings.load(db)["gate_place"]))
    if not found:
        return None
    lat, lon = map(float, found.groups())
    return (lat, lon) if abs(lat) <= 90 and abs(lon) <= 180 else None


def _start(db: Database, b: Board, start: str | None) -> tuple[float, float] | None:
    """Where the crew sets out: a plot, the gate, or in the middle of the plots."""
    if start is not None and start not in b.plots:
        raise Problem("plot_not_standing", where=start, status=404)
    place = tuple(b.places[b.plots.index(start)]) if start is not None else gate(db)
    if place and np.isfinite(place).all():
        return place
    placed = b.places[np.isfinite(b.places).all(axis=1)]
    return tuple(np.median(placed, axis=0)) if len(placed) else None


def _work_told(gain: np.ndarray) -> int:
    """Sample, count or both: what adds little to the other is left out."""
    if gain[visits_worth.BOTH] <= 0:
        return visits_worth.SAMPLE
    if gain[visits_worth.COUNT] < LITTLE * gain[visits_worth.BOTH]:
        return visits_worth.SAMPLE
    return visits_worth.COUNT if gain[visits_worth.SAMPLE] < LITTLE * gain[visits_worth.BOTH] else visits_worth.BOTH


def _row(b: Board, i: int, work: int, minutes: float) -> dict[str, Any]:
    w = b.worth
    weeks, end = (float(gain[i]) if work != visits_worth.COUNT else 0.0 for gain in (w.weeks_gain, w.end_gain))
    tonnes, others = float(w.tonnes_gain[i, work]), float(b.others_t[i]) if work != visits_worth.COUNT else 0.0
    return {"code": b.plots[i], "work": visits_worth.WORK[work], "minutes": float(minutes), "gain_part": float(b.gain[i, work]), "gain_part_per_hour": float(60 * b.gain[i, work] / minutes) if minutes > 0 else 0.0,
            "window_weeks": float(w.weeks[i]), "window_weeks_after": float(w.weeks[i]) - weeks, "window_end_weeks": float(w.end_weeks[i]), "window_end_weeks_after": float(w.end_weeks[i]) - end, "ripe_mass_width_t": float(w.tonnes[i]), "ripe_mass_width_after_t": float(w.tonnes[i]) - tonnes,
            "others_narrowed_t": others, "last_visit": b.last_visit[i], "doubted": b.doubted[i], "way_open": bool(b.open_way[i]), "why": _why(b, i, work, weeks, end, tonnes)}


WHY = {(True, False, False): "window", (False, True, False): "end", (True, True, False): "window_end", (False, False, True): "tonnes", (True, False, True): "both", (False, True, True): "end_tonnes", (True, True, True): "all"}
"""Sentence by what would read otherwise after the visit: when the window begins, when it ends, the ripe tonnes."""


def _why(b: Board, i: int, work: int, weeks: float, end: float, tonnes: float) -> Sentence:
    """The reason in one sentence; a figure that would read the same before and after is left out."""
    w = b.worth
    params = {"weeks": float(w.weeks[i]) / 2, "weeks_after": (float(w.weeks[i]) - weeks) / 2, "end": float(w.end_weeks[i]) / 2, "end_after": (float(w.end_weeks[i]) - end) / 2,
              "mass_t": float(w.tonnes[i]) / 2, "mass_after_t": (float(w.tonnes[i]) - tonnes) / 2}
    told = tuple(round(params[before]) != round(params[after]) for before, after in (("weeks", "weeks_after"), ("end", "end_after"), ("mass_t", "mass_after_t")))
    name = "count" if work == visits_worth.COUNT else WHY.get(told, "little")
    return Sentence(f"visits.why.{name}", {**params, "last": b.last_visit[i]})


def per_hour(row: dict[str, Any]) -> Sentence:
    """What a visit takes off the ± in an hour of way and work: weeks of both ends of the window, ripe tonnes of 26 weeks with those of the other plots."""
    hours = max(row["minutes"], 1e-9) / 60
    weeks = (row["window_weeks"] - row["window_weeks_after"] + row["window_end_weeks"] - row["window_end_weeks_after"]) / 2 / hours
    tonnes = (row["ripe_mass_width_t"] - row["ripe_mass_width_after_t"] + row["others_narrowed_t"]) / 2 / hours
    told = round(weeks, 1) > 0, round(tonnes, 1) > 0
    return Sentence("visits.per_hour." + {(True, True): "both", (True, False): "weeks", (False, True): "tonnes", (False, False): "little"}[told], {"weeks": weeks, "mass_t": tonnes})


def visits_worth_making(db: Database, n: int = 10, start: str | None = None) -> list[dict[str, Any]]:
    """Possible visits to planted plots by gain per hour, there and back from the start (gate or plot) counted; ties by code. Problem ``plot_not_standing``."""
    b = board(db)
    if not b.plots:
        return []
    ways, work = walking.from_start(b.places[:, 0], b.places[:, 1], b.pace, _start(db, b, start)), b.pace.work()
    rows = []
    for i in np.flatnonzero(b.planted):
        k = _work_told(b.gain[i])
        rows.append({**_row(b, i, k, float(work[k] + 2 * ways[i])), "way_minutes": float(ways[i]), "work_minutes": float(work[k])})
    return sorted(rows, key=lambda row: (-row["gain_part_per_hour"], row["code"]))[:n]


def by_week(db: Database, n: int) -> list[list[dict[str, Any]]]:
    """For each of the next 26 weeks the visits of today that narrow most, in an hour, the ripe tonnes of that week: {code, work, minutes, half_t, half_after_t}.

    ``half_t`` is half the 80 % width. Left out: plots whose road is closed, and visits after which the figure would read the same.
    """
    return _kept(db, ("by_week", n), lambda: _by_week(db, n))


def _by_week(db: Database, n: int) -> list[list[dict[str, Any]]]:
    b = board(db)
    if not b.plots:
        return [[] for _ in range(visits_worth.TONNES_WEEKS)]
    ways, times = walking.from_start(b.places[:, 0], b.places[:, 1], b.pace, _start(db, b, None)), b.pace.work()
    out = []
    for w in range(b.week_t.shape[1]):
        rows = []
        for i in np.flatnonzero(b.open_way & b.planted & (b.week_gain_t[:, w, visits_worth.BOTH] > 0)):
            k = _work_told(b.week_gain_t[i, w])
            half, after = float(b.week_t[i, w]) / 2, float(b.week_t[i, w] - b.week_gain_t[i, w, k]) / 2
            minutes = float(times[k] + 2 * ways[i])
            if round(half) != round(after):
                rows.append(((half - after) / minutes, {"code": b.plots[i], "work": visits_worth.WORK[k], "minutes": minutes, "half_t": half, "half_after_t": after}))
        out.append([row for _, row in sorted(rows, key=lambda one: (-one[0], one[1]["code"]))[:n]])
    return out


def morning(db: Database, start: str | None = None, minutes: float | None = None) -> dict[str, Any]:
    """One crew's round: {stops in order with ``way_minutes`` and ``work_minutes``, minutes, back_minutes, gain_part, gain_part_per_hour, start}.

    Plots whose road is closed this week are left out. Problem ``plot_not_standing``.
    """
    return _kept(db, ("morning", start, minutes), lambda: _morning(db, start, minutes))


def _morning(db: Database, start: str | None, minutes: float | None) -> dict[str, Any]:
    b = board(db)
    limit = float(settings.load(db)["visit_morning_minutes"]) if minutes is None else float(minutes)
    empty = {"stops": [], "minutes": 0.0, "limit_minutes": limit, "back_minutes": 0.0, "gain_part": 0.0, "gain_part_per_hour": 0.0, "start": start, "gate_known": gate(db) is not None}
    if not b.plots:
        return empty
    begin, work = _start(db, b, start), b.pace.work()
    gain = _worth_doing(b)
    near = _promising(gain, work, walking.from_start(b.places[:, 0], b.places[:, 1], b.pace, begin), b.open_way)
    of = lambda stops: tuple(day_round.Stop(int(near[s.plot]), s.work) for s in stops)  # noqa: E731
    found = day_round.plan(gain[near], lambda stops: together(b, of(stops)), walking.legs(b.places[near, 0], b.places[near, 1], b.pace, begin), np.tile(work, (len(near), 1)), limit)
    stops = [{**_row(b, s.plot, s.work, way + work[s.work]), "way_minutes": way, "work_minutes": float(work[s.work])} for s, way in zip(of(found.stops), found.ways)]
    return empty | {"stops": stops, "minutes": found.minutes, "back_minutes": found.ways[-1] if found.ways else 0.0, "gain_part": found.gain, "gain_part_per_hour": 60 * found.gain / found.minutes if found.minutes else 0.0}


def _worth_doing(b: Board) -> np.ndarray:
    """Gains with what nobody would be sent for at nothing: a work that adds little to the other."""
    out = b.gain.copy()
    for i in range(len(out)):
        out[i, [k for k in range(3) if k != _work_told(out[i])]] = 0.0
    return out


def _promising(gain: np.ndarray, work: np.ndarray, ways: np.ndarray, able: np.ndarray) -> np.ndarray:
    """Places of the plots a round is sought among, in their order: the best by gain an hour and by gain, if a road leads there."""
    best = np.where(able, gain.max(axis=1), -1.0)
    rate = np.where(able, (gain / (work[None, :] + 2 * ways[:, None])).max(axis=1), -1.0)
    some = {*np.argsort(-rate, kind="stable")[:MOST_BY_RATE], *np.argsort(-best, kind="stable")[:MOST_BY_GAIN]}
    return np.array(sorted(i for i in some if best[i] > 0), int)


def together(b: Board, stops: tuple[day_round.Stop, ...]) -> float:
    """Gain of stops together: what one says of the whole estate the next needn't say again (in the order of the plots, so that it is one number)."""
    total, shared = 0.0, b.shared
    for s in sorted(stops):
        sampled = s.work != visits_worth.COUNT
        others = shared.others(s.plot) if shared is not None and sampled else 0.0
        total += float(b.doubt.part(float(b.worth.both_gain[s.plot]) if sampled else 0.0, float(b.worth.tonnes_gain[s.plot, s.work]) + others))
        if shared is not None and sampled:
            shared = shared.after(s.plot)
    return total


def listed(db: Database, n: int) -> list[dict[str, Any]]:
    """What phones and pages show: the morning's stops in their order (``stop`` 1, 2, …), then what is worth most an hour (``stop`` None)."""
    return _kept(db, ("listed", n), lambda: _listed(db, n))


def _listed(db: Database, n: int) -> list[dict[str, Any]]:
    stops = [{**row, "stop": k} for k, row in enumerate(morning(db)["stops"], 1)]
    there = {row["code"] for row in stops}
    return (stops + [{**row, "stop": None} for row in visits_worth_making(db, n + len(stops)) if row["code"] not in there])[:n]

