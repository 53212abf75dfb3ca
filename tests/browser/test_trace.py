"""An outline out of a walk's fixes: filtered, begun again where it must be, closed, measured; pure, each in a real page."""

from __future__ import annotations

import random
from math import cos, pi, radians, sin

import pytest
from shapely.geometry import Polygon, shape

from .hand import run
from .walker import CORNER, EAST, GEOD, NORTH, hectares, walk_round

pytestmark = pytest.mark.browser
RING = "(m, events) => { const walk = m.replay(events), ring = m.closed(walk); return {geometry: m.geometryOf(walk, ring), problems: m.problemsOf(ring), stand: m.standOf(walk), doubt_m2: m.areaDoubt(ring, m.accuracyOf(walk), false), kept: walk.points.length, starts: walk.starts, told: walk.told}; }"


@pytest.mark.parametrize("seed", range(1, 11))
def test_a_walk_with_bad_fixes_gives_a_valid_outline_of_the_right_size(modules, seed):
    found = run(modules, "trace.js", RING, walk_round(seed))
    outline = shape(found["geometry"])
    assert outline.is_valid and found["problems"] == [] and outline.exterior.is_ccw
    assert abs(hectares(found["geometry"]) / 0.96 - 1) <= 0.03
    assert abs(hectares(found["geometry"]) - 0.96) * 10_000 <= found["doubt_m2"], "the interval holds the truth"
    assert len(outline.exterior.coords) < 60, "far fewer than the 134 fixes"
    without = run(modules, "trace.js", RING, walk_round(seed, bad=False))
    assert abs(hectares(found["geometry"]) / hectares(without["geometry"]) - 1) <= 0.02, "the filter adds little of its own"


def test_a_bad_first_fix_is_left_behind_when_five_agree(modules):
    good = walk_round(3, bad=False)
    slip = {"fix": {"lon": CORNER[0] - 300 * EAST, "lat": CORNER[1] - 200 * NORTH, "accuracy_m": 5}}
    stuck = run(modules, "trace.js", RING, [slip, *good[:4]])
    assert stuck["kept"] == 1 and stuck["told"] == "jump"
    freed = run(modules, "trace.js", RING, [slip, *good[:5]])
    assert freed["told"] == "restart" and freed["kept"] >= 3
    whole = run(modules, "trace.js", RING, [slip, *good])
    assert whole["starts"] == [0] and abs(hectares(whole["geometry"]) / 0.96 - 1) <= 0.03


def test_a_long_stretch_before_a_gap_stays(modules):
    good = walk_round(4, bad=False)
    asleep = run(modules, "trace.js", RING, good[:60] + good[70:])
    assert len(asleep["starts"]) == 2 and asleep["starts"][1] > 30, "what was walked before the phone slept is kept"
    assert abs(hectares(asleep["geometry"]) / 0.96 - 1) <= 0.05


def test_a_phone_that_tells_its_place_every_quarter_minute_is_believed(modules):
    slow = [{"fix": {**event["fix"], "t_ms": 1_000_000 + 2_500 * i}} for i, event in enumerate(walk_round(5, bad=False))][::6]
    found = run(modules, "trace.js", RING, slow)
    assert found["kept"] == len(slow) and abs(hectares(found["geometry"]) / 0.96 - 1) <= 0.05
    slipped = [dict(event) for event in slow]
    slipped[8] = {"fix": {**slow[8]["fix"], "lon": slow[8]["fix"]["lon"] + 80 * EAST}}
    assert run(modules, "trace.js", RING, slipped)["kept"] >= len(slow) - 2


def test_a_pause_joins_on_and_the_last_stretch_is_taken_back(modules):
    good = walk_round(6, bad=False)
    detour = [{"fix": {"lon": CORNER[0] + (120 + 3 * k) * EAST, "lat": CORNER[1] + 30 * NORTH, "accuracy_m": 5}} for k in range(1, 7)]
    at = next(i for i, e in enumerate(good) if (e["fix"]["lat"] - CORNER[1]) / NORTH > 30)
    mended = run(modules, "trace.js", RING, good[:at] + detour + [{"undo": True}] + good[at:])
    left = run(modules, "trace.js", RING, good[:at] + detour + good[at:])
    clean = run(modules, "trace.js", RING, good)
    assert abs(hectares(mended["geometry"]) / hectares(clean["geometry"]) - 1) < 0.02
    assert left["kept"] > mended["kept"]
    paused = run(modules, "trace.js", RING, good[:at] + [{"gap": True}] + good[at + 12:])
    assert paused["told"] in ("kept", "still") and len(paused["starts"]) == 2


@pytest.mark.parametrize("ha", [0.5, 1, 3, 10, 50])
@pytest.mark.parametrize("lat", [19.6, 20.0, 20.9])
def test_areas_agree_with_the_ellipsoid(modules, ha, lat):
    rng, metres = random.Random(int(ha * 10)), (ha * 10_000) ** 0.5
    outline = [[-102.4 + metres * 0.56 * rng.uniform(0.8, 1.2) * cos(2 * pi * i / 40) / (111_320 * cos(radians(lat))), lat + metres * 0.56 * rng.uniform(0.8, 1.2) * sin(2 * pi * i / 40) / 110_700] for i in range(40)]
    found = run(modules, "plane.js", "(m, outline) => m.area(outline.map(m.plane(...outline[0]).to)) / 10000", outline)
    assert found == pytest.approx(abs(GEOD.geometry_area_perimeter(Polygon(outline))[0]) / 10_000, rel=0.003 / 10)


def test_a_figure_of_eight_is_told_where_it_crosses(modules):
    corners = [{"corner": {"lon": CORNER[0] + x * EAST, "lat": CORNER[1] + y * NORTH, "accuracy_m": 4}} for x, y in ((0, 0), (100, 0), (0, 100), (100, 100))]
    found = run(modules, "trace.js", "(m, e) => { const walk = m.replay(e, true), ring = m.closed(walk, true); return [m.problemsOf(ring), m.geometryOf(walk, ring)]; }", corners)
    assert found[0][0] == ["crossing", {"n": 1}] and not shape(found[1]).is_valid
    few = run(modules, "trace.js", "(m, e) => m.problemsOf(m.closed(m.replay(e, true), true))", corners[:2])
    assert few == [["corners", {}]]
    tiny = run(modules, "trace.js", "(m, e) => m.problemsOf([[0, 0], [5, 0], [5, 5]], [[900, 900], [1000, 900], [1000, 1000]])", None)
    assert [code for code, _ in tiny] == ["small", "far"]
