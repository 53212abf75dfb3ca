"""Invented ground: four zones of parcels that border each other with roads between, cut into plots.

Works in metres on a local plane (east, north) and turns to longitude and latitude at the end. Every
piece is convex: cells around scattered points, split across their long side, set back for roads.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from demo_fields.streams import Luck

Point = tuple[float, float]
HOME = (20.60, -103.00)   # latitude, longitude of the plane's origin; nothing real stands there by our doing
METRES_PER_DEGREE = (110_700.0, 104_250.0)
ROAD_M, TRACK_M, SHORTEST_EDGE_M = 7.0, 3.0, 35.0


@dataclass(frozen=True)
class Piece:
    """One plot's ground: zone, parcel number within the zone, corners in metres, anticlockwise."""

    zone: str
    parcel: int
    corners: tuple[Point, ...]


def area_m2(corners) -> float:
    return 0.5 * sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in zip(corners, (*corners[1:], corners[0])))


def middle(corners) -> Point:
    total = area_m2(corners)
    x = y = 0.0
    for (x1, y1), (x2, y2) in zip(corners, (*corners[1:], corners[0])):
        turn = x1 * y2 - x2 * y1
        x, y = x + (x1 + x2) * turn, y + (y1 + y2) * turn
    return x / (6 * total), y / (6 * total)


def keep_side(corners, at: Point, normal: Point) -> list[Point]:
    """The part of a convex piece where (p − at)·normal ≤ 0."""
    kept: list[Point] = []
    side = [(p[0] - at[0]) * normal[0] + (p[1] - at[1]) * normal[1] for p in corners]
    for i, p in enumerate(corners):
        j = (i + 1) % len(corners)
        if side[i] <= 0:
            kept.append(p)
        if (side[i] < 0 < side[j]) or (side[j] < 0 < side[i]):
            share = side[i] / (side[i] - side[j])
            kept.append((p[0] + share * (corners[j][0] - p[0]), p[1] + share * (corners[j][1] - p[1])))
    return kept


def set_back(corners, metres: float) -> list[Point]:
    """Move every edge inwards."""
    inner = list(corners)
    for p, q in zip(corners, (*corners[1:], corners[0])):
        length = math.dist(p, q)
        if length > 0 and inner:
            normal = ((q[1] - p[1]) / length, -(q[0] - p[0]) / length)
            inner = keep_side(inner, (p[0] - normal[0] * metres, p[1] - normal[1] * metres), normal)
    return inner


def plain(corners) -> list[Point]:
    """Drop corners that make very short edges: nobody fences those."""
    kept = list(corners)
    while len(kept) > 4:
        edges = [math.dist(kept[i], kept[(i + 1) % len(kept)]) for i in range(len(kept))]
        shortest = min(range(len(kept)), key=edges.__getitem__)
        if edges[shortest] >= SHORTEST_EDGE_M and len(kept) <= 6:
            break
        del kept[shortest]
    return kept


def cells(centre: Point, radius: float, count: int, luck: Luck) -> list[list[Point]]:
    """Cells around ``count`` scattered points inside an uneven round of land."""
    edge = [(centre[0] + radius * luck.uniform(0.85, 1.15) * math.cos(t), centre[1] + radius * luck.uniform(0.85, 1.15) * math.sin(t))
            for t in (2 * math.pi * i / 14 for i in range(14))]
    points: list[Point] = []
    apart = 1.25 * radius / math.sqrt(count)
    while len(points) < count:
        angle, far = luck.uniform(0, 2 * math.pi), radius * math.sqrt(luck.uniform())
        p = (centre[0] + far * math.cos(angle), centre[1] + far * math.sin(angle))
        if all(math.dist(p, other) > apart for other in points):
            points.append(p)
        apart *= 0.9995
    found = []
    for p in points:
        cell = hull(edge)
        for q in points:
            if q is not p:
                cell = keep_side(cell, ((p[0] + q[0]) / 2, (p[1] + q[1]) / 2), (q[0] - p[0], q[1] - p[1]))
        found.append(cell)
    return found


def hull(points) -> list[Point]:
    ordered = sorted(points)

    def half(run):
        line: list[Point] = []
        for p in run:
            while len(line) > 1 and (line[-1][0] - line[-2][0]) * (p[1] - line[-2][1]) <= (line[-1][1] - line[-2][1]) * (p[0] - line[-2][0]):
                line.pop()
            line.append(p)
        return line[:-1]
    return half(ordered) + half(ordered[::-1])


def split(corners, luck: Luck) -> tuple[list[Point], list[Point]]:
    """Cut a piece across its longest way, not quite square and not quite in the middle."""
    far = max(((p, q) for i, p in enumerate(corners) for q in corners[i + 1:]), key=lambda pair: math.dist(*pair))
    angle = math.atan2(far[1][1] - far[0][1], far[1][0] - far[0][0]) + luck.normal(0, 0.16)
    at = middle(corners)
    shift = luck.uniform(-0.09, 0.09) * math.dist(*far)
    normal = (math.cos(angle), math.sin(angle))
    at = (at[0] + shift * normal[0], at[1] + shift * normal[1])
    return keep_side(corners, at, normal), keep_side(corners, at, (-normal[0], -normal[1]))


def estate(zones: dict[str, tuple[Point, int]], plots: int, area_ha: float, spare: int = 2) -> tuple[list[Piece], dict[str, list[list[Point]]]]:
    """Plots of all zones and, by zone, neighbours' cells that stay free.

    ``zones`` maps a name to its centre (m) and number of parcels. The whole is scaled so that the plots
    sum to ``area_ha``.
    """
    owned: list[tuple[str, int, list[Point]]] = []
    free: dict[str, list[list[Point]]] = {}
    for zone, (centre, count) in zones.items():
        luck = Luck(f"ground {zone}")
        total = round(count * 1.55) + spare
        made = cells(centre, 640.0 * math.sqrt(count * 0.45), total, luck)
        made.sort(key=lambda c: math.dist(middle(c), centre) * luck.uniform(0.45, 1.55))
        owned += [(zone, i, cell) for i, cell in enumerate(made[:count])]
        free[zone] = made[count:]
    parts = [[cell] for _, _, cell in owned]
    luck = Luck("splits")
    weight = [luck.uniform(0.75, 1.35) for _ in parts]
    while sum(map(len, parts)) < plots:
        i = max(range(len(parts)), key=lambda k: weight[k] * area_m2(owned[k][2]) / len(parts[k]))
        largest = max(range(len(parts[i])), key=lambda k: area_m2(parts[i][k]))
        parts[i] += split(parts[i].pop(largest), luck)
    scale = math.sqrt(area_ha * 1e4 / sum(area_m2(c) for group in parts for c in group))
    for _ in range(4):   # set-backs take ground, so settle the scale
        pieces = [Piece(zone, i, tuple(finish(corner_set, zones[zone][0], scale))) for (zone, i, _), group in zip(owned, parts) for corner_set in group]
        scale *= math.sqrt(area_ha * 1e4 / sum(area_m2(p.corners) for p in pieces))
    return pieces, {zone: [finish(c, zones[zone][0], scale) for c in group] for zone, group in free.items()}


def finish(corners, centre: Point, scale: float) -> list[Point]:
    grown = [(centre[0] + scale * (x - centre[0]), centre[1] + scale * (y - centre[1])) for x, y in corners]
    return plain(set_back(grown, ROAD_M / 2 + TRACK_M / 2))


def lonlat(p: Point) -> list[float]:
    """Longitude and latitude, to about a decimetre."""
    return [round(HOME[1] + p[0] / METRES_PER_DEGREE[1], 6), round(HOME[0] + p[1] / METRES_PER_DEGREE[0], 6)]


def ring(corners) -> list[list[float]]:
    closed = [lonlat(p) for p in corners]
    return closed + [closed[0]]
