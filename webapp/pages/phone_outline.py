"""Outlines small enough for a phone: the outer ring of the largest part, few points, five decimals."""

from __future__ import annotations

from math import cos, hypot, radians

M_PER_DEG = 111_195.0
TOLERANCE_M = 2.0
"""Far below a phone's GPS error (3–10 m), so "am I in it" is answered as from the full outline."""


def _area(ring: list[list[float]]) -> float:
    return abs(sum(ax * by - bx * ay for (ax, ay), (bx, by) in zip(ring, ring[1:] + ring[:1]))) / 2


def outer_ring(geometry: dict | None) -> list[list[float]]:
    """Outer ring [[lon, lat], …] of a (Multi)Polygon's largest part, not closed; [] without one."""
    if not geometry or not geometry.get("coordinates"):
        return []
    parts = [geometry["coordinates"]] if geometry["type"] == "Polygon" else list(geometry["coordinates"])
    rings = [[list(point[:2]) for point in part[0]] for part in parts if part and part[0]]
    ring = max(rings, key=_area, default=[])
    return ring[:-1] if len(ring) > 1 and ring[0] == ring[-1] else ring


def simplified(ring: list[list[float]], tolerance_m: float = TOLERANCE_M) -> list[list[float]]:
    """The ring with points nearer than ``tolerance_m`` to its chord left out (Douglas & Peucker 1973)."""
    if len(ring) < 5:
        return [[round(x, 5), round(y, 5)] for x, y in ring]
    across = M_PER_DEG * cos(radians(ring[0][1]))
    flat = [((x - ring[0][0]) * across, (y - ring[0][1]) * M_PER_DEG) for x, y in ring]
    far = max(range(len(flat)), key=lambda i: hypot(*flat[i]))
    keep = {0, far}
    spans = [(0, far), (far, len(flat))]
    while spans:
        first, last = spans.pop()
        (ax, ay), (bx, by) = flat[first], flat[last % len(flat)]
        length = hypot(bx - ax, by - ay) or 1e-9
        off = [(abs((bx - ax) * (ay - flat[i][1]) - (ax - flat[i][0]) * (by - ay)) / length, i) for i in range(first + 1, last)]
        if off and max(off)[0] > tolerance_m:
            middle = max(off)[1]
            keep.add(middle)
            spans += [(first, middle), (middle, last)]
    return [[round(ring[i][0], 5), round(ring[i][1], 5)] for i in sorted(keep)] if len(keep) > 2 else [[round(x, 5), round(y, 5)] for x, y in ring]
