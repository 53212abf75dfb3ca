"""Where the phone is made to stand, and walks round a field with a GPS's errors; metres east and north of the first plot's corner."""

from __future__ import annotations

import random
from contextlib import suppress
from math import cos, pi, sin

from playwright.sync_api import TimeoutError
from pyproj import Geod
from shapely.geometry import shape

GEOD = Geod(ellps="WGS84")
EAST, NORTH = 1 / 104_647, 1 / 110_704
"""Degrees of one metre at 20.7° N."""
CORNER = (-102.4, 20.7)
SIDES = (310.0, 330.0)


def stand(page, x: float, y: float, accuracy: float = 5.0) -> None:
    """Put the phone ``x`` metres east and ``y`` north of the first plot's corner."""
    page.context.set_geolocation({"latitude": CORNER[1] + y * NORTH, "longitude": CORNER[0] + x * EAST, "accuracy": accuracy})


def shown(page, words: str) -> None:
    page.wait_for_function("(words) => document.querySelector('main').innerText.includes(words)", arg=words)


def until(page, expression: str, arg=None) -> None:
    page.wait_for_function(expression, arg=arg)


def take_corner(page, n: int, x: float, y: float) -> None:
    """The ``n``th corner, taken with the phone held nearly still until ten fixes have been averaged."""
    stand(page, x, y)
    page.click("#take")
    taken = "(n) => document.querySelectorAll('ol.corners li').length >= n"
    for k in range(60):  # each place is waited for: set in quick succession, several reach the page as one
        before = page.evaluate("() => document.querySelector('progress').value")
        stand(page, x + 0.4 * (k % 3 - 1), y + 0.3 * (k % 2), 4)
        with suppress(TimeoutError):
            page.wait_for_function("([n, before]) => document.querySelectorAll('ol.corners li').length >= n || document.querySelector('progress').value !== before", arg=[n, before], timeout=1000)
        if page.evaluate(taken, n):
            return
    until(page, taken, n)


def round_the_edge(s: float, width: float, height: float) -> tuple[float, float]:
    if s < width:
        return s, 0
    if s < width + height:
        return width, s - width
    if s < 2 * width + height:
        return width - (s - width - height), height
    return 0, height - (s - 2 * width - height)


def walk_round(seed: int, width=120.0, height=80.0, n=134, bad=True) -> list[dict]:
    """Fixes with correlated error of sd 1.5 m; every 17th is a 60 m fix, and one in twenty-five jumps 45 m claiming to be good."""
    rng, slips, ex, ey, out = random.Random(seed), random.Random(1000 + seed), 0.0, 0.0, []
    for i in range(n):
        x, y = round_the_edge(2 * (width + height) * i / n, width, height)
        ex, ey = (0.7 * e + (1 - 0.7**2) ** 0.5 * rng.gauss(0, 1.5) for e in (ex, ey))
        accuracy, dx, dy, turn = rng.uniform(4, 7), ex, ey, slips.uniform(0, 2 * pi)
        if bad and i % 17 == 16:
            accuracy, dx, dy = 60.0, slips.gauss(0, 40), slips.gauss(0, 40)
        elif bad and slips.random() < 0.04:
            dx, dy = 45 * cos(turn), 45 * sin(turn)
        out.append({"fix": {"lon": CORNER[0] + (x + dx) * EAST, "lat": CORNER[1] + (y + dy) * NORTH, "accuracy_m": accuracy}})
    return out


def hectares(geometry: dict) -> float:
    return abs(GEOD.geometry_area_perimeter(shape(geometry))[0]) / 10_000
