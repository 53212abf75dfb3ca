"""What the map says in words: a headline for every layer and week, the rows by planting year, the sentences of one plot."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..ripeness.readiness import WORDS
from .conditions import letter
from .layout import chance, n0, n1, pct, words
from .map_figures import SICK, Figures

LAYERS = ("share", "chance", "mass", "unvisited", "sick")
STEPS: dict[str, tuple[float, ...]] = {"chance": (5, 20, 40, 60, 80), "mass": (20, 40, 60, 80, 100), "unvisited": (4, 8, 13, 26, 52), "sick": (0.1, 1, 2, 5, 10)}
"""Where the class of a layer's colour steps up, in the units its legend names; the ripe share has its own ramp."""
LONG_UNVISITED_WEEKS = 13
MANY_SICK_PERCENT = 2.0
NAMED_ABOVE, NAMED_BELOW = 1, 6
"""How many hatched plots the headline names (it stays one line on the desk, so that the strip of weeks keeps its place), and how many the line under the map; of more their number."""
HATCHED = ("share", "mass", "unvisited", "sick")


def title(f: Figures, layer: str, at: int) -> str:
    """The answer above the map for a layer and the week number ``at``."""
    here = ~f.to_come[:, at]
    week, of = f.weeks[at], int(here.sum())
    if layer == "chance":
        return words("pages.map.title_chance", week=week, n=int(f.likely[:, at].sum()), of=of)
    if layer == "mass":
        mass, low, high = (float(v) for v in f.total_t[:, at])
        return words("pages.map.title_mass", week=week, mass_t=mass, low_t=low, high_t=high)
    if layer == "unvisited":
        weeks = f.unvisited[here, at]
        return words("pages.map.title_unvisited", week=week, n=int((weeks > LONG_UNVISITED_WEEKS).sum()), of=of, weeks=LONG_UNVISITED_WEEKS, never=int((weeks < 0).sum()))
    if layer == "sick":
        counted = [f.sick[i] for i in np.flatnonzero(here) if f.sick[i]]
        return words("pages.map.title_sick", n=sum(s["percent"] >= MANY_SICK_PERCENT for s in counted), counted=len(counted), percent=MANY_SICK_PERCENT, never=of - len(counted))
    maybe, so = int(f.maybe[:, at].sum()), "_doubted" if f.doubted else ""
    if of and not f.read.any():
        return words(f"pages.map.title_unmeasured{so}", week=week, n=maybe, of=of)
    return words(f"pages.map.title_maybe{so}" if maybe else "pages.map.title", week=week, n=int(f.ripe[:, at].sum()), maybe=maybe, of=of) + _little(f, at)


def _little(f: Figures, at: int) -> str:
    """The end of a headline: the plots of which little is known, by name where they are few; the line under the map names more of them."""
    wide = np.flatnonzero(f.wide[:, at])
    if len(wide) > NAMED_ABOVE:
        return words("pages.map.title_little", wide=len(wide))
    return words("pages.map.title_little_named", names=[named(f, i) for i in wide]) if len(wide) else ""


def named(f: Figures, i: int) -> str:
    return f"{f.names[i]}, {f.codes[i]}"


def hatched(f: Figures, layer: str, at: int) -> list[int]:
    """Indices of the plots that the layer hatches in a week, by planting year and code."""
    of = {"share": lambda: f.wide[:, at], "chance": lambda: np.zeros(len(f.codes), bool), "mass": lambda: f.wide_mass[:, at], "unvisited": lambda: f.unvisited_weeks < 0, "sick": lambda: np.array([s is None for s in f.sick], bool)}[layer]()
    return [i for i in by_age(f) if of[i] and not f.to_come[i, at]]


def hatched_words(layer: str, n: int) -> str:
    """What it means that ``n`` plots are hatched."""
    return words(f"pages.map.hatched.{layer}{'_one' if n == 1 else ''}").replace("[n]", n0(n))


def columns(layer: str) -> list[str]:
    """Headings of the rows by planting year, after the year."""
    return [words("pages.map.plots"), *(words(f"pages.map.year.{layer}.{k}") for k in (1, 2))]


def plot_columns(layer: str) -> list[str]:
    """Headings of the plots of one planting year, after the plot's name."""
    return [words(f"pages.map.of_plot.{layer}.{k}") for k in (1, 2)]


def by_year(f: Figures, layer: str) -> tuple[list[str], list[list[list[str]]]]:
    """(years as they are shown, cells [week][year][column]) of a layer."""
    years = np.array(f.years, int)
    order = sorted(set(f.years), key=lambda y: (y == 0, y))
    members = [np.flatnonzero(years == year) for year in order]
    weeks = 1 if layer == "sick" and not f.to_come.any() else len(f.weeks)  # the last counts are the same in every week
    cells = [[sums(f, layer, m, at) for m in members] for at in range(weeks)]
    return [str(y) if y else words("pages.map.unknown_year") for y in order], cells * (len(f.weeks) // weeks)


def sums(f: Figures, layer: str, m: Any, at: int) -> list[str]:
    """What :func:`columns` heads, of the plots ``m`` (indices) in week number ``at``."""
    return [n0(len(m)), *_cells(f, layer, m, at)]


def _cells(f: Figures, layer: str, m: np.ndarray, at: int) -> list[str]:
    m = np.asarray(m, int)
    m = m[~f.to_come[m, at]]
    if not len(m):  # none of them is planted by then
        return ["–", "–"]
    if layer == "chance":
        return [n0(f.likely[m, at].sum()), chance(float(f.chance[m, at].mean()) / 100)]
    if layer == "mass":
        mass = float(f.exact_mass_t[m, at].sum())
        return [n0(mass), n0(mass / max(float(f.area_ha[m].sum()), 1e-3))]
    if layer == "unvisited":
        weeks = f.unvisited[m, at]
        return [n0(np.median(weeks[weeks >= 0])) if (weeks >= 0).any() else "–", n0((weeks < 0).sum())]
    if layer == "sick":
        counted = [s for i in m if (s := f.sick[i])]
        standing = sum(s["standing"] for s in counted)
        return [n0(len(counted)), f"{n1(100 * sum(s['sick'] for s in counted) / standing)} %" if standing else "–"]
    return [ripe_cell(f.ripe[m, at].sum(), f.maybe[m, at].sum()), n0(float(f.exact_mass_t[m, at].sum()))]


def ripe_cell(ripe: int, maybe: int) -> str:
    """Plots that are ripe and, with a question mark, those that nobody has read."""
    return f"{n0(ripe)} + {n0(maybe)}?" if ripe and maybe else f"{n0(maybe)}?" if maybe else n0(ripe)


def legend(layer: str) -> list[str]:
    """The figures from which each class of colour counts, smallest first."""
    return [f"{step:g}" for step in (0, *STEPS[layer])]


def said(f: Figures) -> dict[str, Any]:
    """Everything the page's own code may have to say, for all weeks and layers, so that a step asks for nothing."""
    layers = {}
    for layer in LAYERS:
        years, cells = by_year(f, layer)
        layers[layer] = {"titles": [title(f, layer, at) for at in range(len(f.weeks))], "columns": columns(layer), "plot_columns": plot_columns(layer), "cells": cells, "steps": STEPS.get(layer, ())}
    codes = ("share", "chance", "mass", "unvisited", "unvisited_one", "unvisited_none", "unvisited_never", "sick", "sick_sound", "sick_never", "cut")
    return {"layers": layers, "years": sorted(set(f.years), key=lambda y: (y == 0, y)), "letters": [words(f"condition.{c}.letter") for c in WORDS], "conditions": [words(f"condition.{c}.word") for c in WORDS],
            "cut_letter": words("condition.J.letter"), "to_come": [words("condition.S.letter"), words("condition.S.word")], "causes": [words(f"pages.map.cause.{name}") for name in SICK], "cause_letters": [words(f"pages.map.cause.{name}.letter") for name in SICK],
            "tell": {code: words(f"pages.map.tell.{code}") for code in codes}, "open": words("pages.map.open"), "see": words("pages.map.see"), "more": words("pages.map.more"),
            "little": words("pages.map.little"), "never": words("pages.map.never"), "grade": words("pages.map.grade"), "failed": words("pages.map.failed"),
            "of_year": words("pages.map.of_year"), "hatched": {layer: [words(f"pages.map.hatched.{layer}_one"), words(f"pages.map.hatched.{layer}")] for layer in HATCHED}, "named": NAMED_BELOW,
            "hatched_word": {"share": words("pages.map.little"), "mass": words("pages.map.little"), "unvisited": words("pages.map.tell.unvisited_never"), "sick": words("pages.map.tell.sick_never")},
             "and_more": words("pages.map.and_more"), "nearer": words("pages.map.nearer"), "nearer_one": words("pages.map.nearer_one")}


def by_age(f: Figures) -> list[int]:
    """Indices of the standing plots by planting year and code."""
    return sorted(range(len(f.codes)), key=lambda i: (f.years[i] == 0, f.years[i], f.codes[i]))


def row(f: Figures, i: int, at: int) -> dict[str, Any]:
    """One line of the flat table: a plot with all layers' figures of one week."""
    weeks = int(f.unvisited[i, at])
    return {"code": f.codes[i], "name": f.names[i], "zone": f.zones[i], "year": f.years[i], "to_come": bool(f.to_come[i, at]), "letter": letter(f.condition[i, at], f.read[i]), "tone": f"c{f.tone[i, at]}", "wide": bool(f.wide[i, at]),
            "share": int(f.share[i, at]), "low": int(f.share_lo[i, at]), "high": int(f.share_hi[i, at]), "chance": int(f.chance[i, at]), "mass_t": int(f.mass_t[i, at]), "mass_lo_t": int(f.mass_lo_t[i, at]),
            "mass_hi_t": int(f.mass_hi_t[i, at]), "mass_t_ha": int(f.mass_t_ha[i, at]), "unvisited": None if weeks < 0 else weeks, "sick": f.sick[i]}
