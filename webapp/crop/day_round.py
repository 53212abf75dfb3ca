"""A morning's round: which plots, what to do in each and in which order, inside the crew's minutes.

A heuristic, deterministic: greedy insertion by gain per added minute and greedy by gain alone, the better of both (for a
submodular gain under a budget that is at worst (1 − 1/e)/2 of the best; Leskovec et al. 2007, KDD, 420–429), then
swaps and a shorter order while they help. Small cases are held against brute force in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable

import numpy as np

MOST_CANDIDATES, MOST_PASSES = 60, 4
GainOf = Callable[[tuple["Stop", ...]], float]
"""Gain of a set of stops together: may be less than the sum of its parts."""


@dataclass(frozen=True, order=True)
class Stop:
    """A plot's place in the list and what is done there (``visits_worth.WORK``)."""

    plot: int
    work: int


@dataclass(frozen=True)
class Round:
    """Stops in walking order, their gain, minutes in all, and the minutes of each way (to each stop, then back)."""

    stops: tuple[Stop, ...]
    gain: float
    minutes: float
    ways: tuple[float, ...]


def minutes_of(stops: tuple[Stop, ...], legs: np.ndarray, work: np.ndarray, start: int) -> float:
    """From the start through the stops and back; ``work`` [P, 3] minutes."""
    at = [start, *(s.plot for s in stops), start]
    return float(sum(legs[a, b] for a, b in zip(at, at[1:])) + sum(work[s.plot, s.work] for s in stops))


def inserted(stops: tuple[Stop, ...], new: Stop, legs: np.ndarray, work: np.ndarray, start: int) -> tuple[float, tuple[Stop, ...]]:
    """(minutes, stops) with ``new`` where it costs least."""
    at = [start, *(s.plot for s in stops), start]
    cost, place = min((legs[at[i], new.plot] + legs[new.plot, at[i + 1]] - legs[at[i], at[i + 1]], i) for i in range(len(at) - 1))
    made = (*stops[:place], new, *stops[place:])
    return minutes_of(made, legs, work, start), made


def _greedy(begin: tuple[Stop, ...], candidates: list[Stop], gain_of: GainOf, legs: np.ndarray, work: np.ndarray, start: int, limit: float, per_minute: bool) -> tuple[Stop, ...]:
    stops = begin
    while True:
        now, used = gain_of(stops), minutes_of(stops, legs, work, start)
        there = {s.plot for s in stops}
        best = None
        for c in candidates:
            if c.plot in there:
                continue
            minutes, made = inserted(stops, c, legs, work, start)
            if minutes > limit + 1e-9:
                continue
            more = gain_of(made) - now
            score = more / max(minutes - used, 1e-6) if per_minute else more
            if more > 1e-12 and (best is None or score > best[0] * (1 + 1e-12)):
                best = (score, made)
        if best is None:
            return stops
        stops = best[1]


def _shorter(stops: tuple[Stop, ...], legs: np.ndarray, work: np.ndarray, start: int) -> tuple[Stop, ...]:
    """2-opt: turn stretches round while that saves minutes."""
    best, better = stops, True
    while better:
        better = False
        for i in range(len(best)):
            for j in range(i + 1, len(best)):
                made = (*best[:i], *reversed(best[i: j + 1]), *best[j + 1:])
                if minutes_of(made, legs, work, start) < minutes_of(best, legs, work, start) - 1e-9:
                    best, better = made, True
    return best


def _swapped(stops: tuple[Stop, ...], candidates: list[Stop], gain_of: GainOf, legs: np.ndarray, work: np.ndarray, start: int, limit: float) -> tuple[Stop, ...]:
    """One stop out for another where all together tell more and it still fits; filled up again."""
    for _ in range(MOST_PASSES):
        now, found = gain_of(stops), None
        for out in range(len(stops)):
            rest = (*stops[:out], *stops[out + 1:])
            there = {s.plot for s in rest}
            for c in candidates:
                if c.plot in there or c == stops[out]:
                    continue
                minutes, made = inserted(rest, c, legs, work, start)
                if minutes <= limit + 1e-9 and (value := gain_of(made)) > (found[0] if found else now) * (1 + 1e-9):
                    found = (value, made)
        if found is None:
            break
        stops = _greedy(_shorter(found[1], legs, work, start), candidates, gain_of, legs, work, start, limit, True)
    return stops


def plan(gain: np.ndarray, gain_of: GainOf, legs: np.ndarray, work: np.ndarray, limit_minutes: float, allowed: np.ndarray | None = None) -> Round:
    """``gain`` [P, 3] of each stop alone; ``legs`` [P + 1, P + 1] minutes, the start last; ``work`` [P, 3] minutes in the plot.

    Ties go to the plot that comes first. An empty round when nothing fits or nothing is worth it.
    """
    P, start = len(gain), len(gain)
    able = np.ones(P, bool) if allowed is None else allowed
    stops = [(gain[i, k] / (work[i, k] + legs[start, i] + legs[i, start] + 1e-6), Stop(i, k)) for i in range(P) if able[i] for k in range(3)
             if gain[i, k] > 1e-12 and work[i, k] + legs[start, i] + legs[i, start] <= limit_minutes]
    by_rate = [s for _, s in sorted(stops, key=lambda pair: (-pair[0], pair[1]))]
    by_gain = sorted((s for _, s in stops), key=lambda s: (-gain[s.plot, s.work], s))
    candidates = sorted({*by_rate[:MOST_CANDIDATES], *by_gain[:MOST_CANDIDATES // 3]})
    made = [_greedy((), candidates, gain_of, legs, work, start, limit_minutes, how) for how in (True, False)]
    made = [_greedy(_shorter(one, legs, work, start), candidates, gain_of, legs, work, start, limit_minutes, True) for one in made]
    made = [_swapped(one, candidates, gain_of, legs, work, start, limit_minutes) for one in made]
    best = max(made, key=lambda one: (gain_of(one), -minutes_of(one, legs, work, start)))
    at = [start, *(s.plot for s in best), start]
    return Round(best, gain_of(best), minutes_of(best, legs, work, start), tuple(float(legs[a, b]) for a, b in zip(at, at[1:])) if best else ())
