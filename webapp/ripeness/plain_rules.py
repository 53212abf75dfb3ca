"""What people do instead of a model, as fairly as it can be done: the last mean as it stands, or moved along a curve.

A rule is a curve B: the plot's next value is B there plus how far its last value lay from B. Its sd is what the same rule's
errors were inside the records it had: from each visit to the plot's later ones, by like numbers of weeks between.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

LEAST_ERRORS = 30
CLASSES_WEEKS = ((0, 8), (8, 19), (19, 40))
"""Weeks between, for horizons of 4, 12 and 26."""
MOST_PLOTS = 1500
"""Errors are taken from this many plots at the most (a fixed random choice): they tell it well enough."""


@dataclass(frozen=True)
class Earlier:
    """[V] what had been seen, sorted by plot and day: plot index, day (ordinal), value, and the rule's curve there."""

    plot: np.ndarray
    day: np.ndarray
    value: np.ndarray
    curve: np.ndarray


def carried(e: Earlier, plot: np.ndarray, curve: np.ndarray, kind: np.ndarray, plots: int, classes: tuple = CLASSES_WEEKS, among: tuple[np.ndarray, np.ndarray] | None = None) -> tuple[np.ndarray, np.ndarray]:
    """(mean, sd) [N] of the wanted plots, where the rule's curve is ``curve`` [N] and the weeks between fall in class ``kind`` [N].

    A plot never seen gets the curve at the estate's mean distance from it, with all plots' sd about it. ``among`` saves
    finding the ``pairs`` of ``e`` again.
    """
    off = e.value - e.curve
    last = np.full(plots, -1)
    last[e.plot] = np.arange(len(e.plot))
    common, spread = (float(off.mean()), float(off.std())) if len(off) else (0.0, float("nan"))
    first, second = pairs(e.plot) if among is None else among
    gap, error = (e.day[second] - e.day[first]) / 7.0, off[second] - off[first]
    sds = np.full(len(classes), spread)
    for h, (low, high) in enumerate(classes):
        inside = (gap >= low) & (gap <= high)
        if len(error):
            sds[h] = np.sqrt(np.mean((error[inside] if inside.sum() >= LEAST_ERRORS else error) ** 2))
    known = last[plot] >= 0
    return curve + np.where(known, off[last[plot]] if len(off) else 0.0, common), np.where(known, sds[kind], spread)


def pairs_before(among: tuple[np.ndarray, np.ndarray], early: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of the ``pairs`` of all visits those of the ``early`` ones [V], as places among these."""
    first, second = among
    place, kept = np.cumsum(early) - 1, early[first] & early[second]
    return place[first[kept]], place[second[kept]]


def pairs(plot: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places (first, second) of every visit with every later one of its plot; ``plot`` is sorted."""
    names, start, count = np.unique(plot, return_index=True, return_counts=True)
    chosen = np.arange(len(names)) if len(names) <= MOST_PLOTS else np.sort(np.random.default_rng(7).choice(len(names), MOST_PLOTS, replace=False))
    first, second = [np.zeros(0, int)], [np.zeros(0, int)]
    for i in chosen:
        a, b = np.triu_indices(count[i], 1)
        first.append(start[i] + a)
        second.append(start[i] + b)
    return np.concatenate(first), np.concatenate(second)


def age_and_season(age_months: np.ndarray, day: np.ndarray) -> np.ndarray:
    """[..., 8] age to the third power and two harmonics of the year: the pooled curve anyone can fit."""
    turn = 2 * np.pi * (day % 365.2425) / 365.2425
    return np.stack([np.ones_like(age_months), age_months, age_months**2, age_months**3, np.sin(turn), np.cos(turn), np.sin(2 * turn), np.cos(2 * turn)], axis=-1)


def pooled_curve(age_months: np.ndarray, day: np.ndarray, value: np.ndarray) -> np.ndarray:
    """[8] coefficients of ``age_and_season`` by least squares over all visits."""
    return np.linalg.lstsq(age_and_season(age_months, np.asarray(day, float)), value, rcond=None)[0]
