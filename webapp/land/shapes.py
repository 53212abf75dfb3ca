"""Outlines on the ellipsoid: area, perimeter, validity, overlap, and which plot a point lies in.

Areas are geodesic (Karney 2013, "Algorithms for geodesics", J. Geodesy 87:43–55, through PROJ); a
web-Mercator area near Tequila would be 15 % too large.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from pyproj import Geod
from shapely import STRtree, force_2d, get_coordinates, is_valid_reason, make_valid, orient_polygons
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, mapping, shape
from shapely.geometry.base import BaseGeometry

from ..sentences import known

GEOD = Geod(ellps="WGS84")
SLIVER_WIDTH_M = 4.0
"""Area over half the perimeter below which an outline is narrower than one row: a sliver."""


@dataclass(frozen=True)
class Measure:
    area_ha: float
    perimeter_m: float
    lat: float
    lon: float


def measure(geometry: BaseGeometry) -> Measure:
    """Geodesic area (ha) and perimeter (m) of a polygon in lon/lat degrees, and a point inside it."""
    area, perimeter = GEOD.geometry_area_perimeter(orient_polygons(geometry))
    inside = geometry.representative_point() if not geometry.is_empty else Point(0, 0)
    return Measure(abs(area) / 10_000, perimeter, inside.y, inside.x)


def parse(geometry: dict | None) -> BaseGeometry | None:
    """A GeoJSON geometry as a shape, or None for null, empty or unreadable ones."""
    if not geometry:
        return None
    try:
        found = shape(geometry)
    except Exception:  # shapely raises many kinds on broken coordinates; all mean "no outline here"
        return None
    return None if found.is_empty else found


def as_geojson(geometry: BaseGeometry) -> dict:
    """RFC 7946: counter-clockwise shell, two coordinates, plain lists."""
    def plain(value):
        return [plain(v) for v in value] if isinstance(value, (tuple, list)) else float(value)

    made = mapping(orient_polygons(force_2d(geometry)))
    return {"type": made["type"], "coordinates": plain(made["coordinates"])}


def why_invalid(geometry: BaseGeometry) -> str:
    """GEOS's reason with the place to a metre (latitude, longitude), or "" for a valid outline."""
    reason = is_valid_reason(geometry)
    what, _, place = reason.partition("[")
    try:
        lon, lat = (float(part) for part in place.rstrip("]").split()[:2])
    except ValueError:
        return "" if reason == "Valid Geometry" else reason
    return f"{what}: {lat:.5f}, {lon:.5f}"


def fault_told(why: str) -> dict:
    """What :func:`why_invalid` says, as a stored sentence ``{code, params}`` with the place; GEOS speaks English only."""
    what, _, place = why.partition(": ")
    name = "_".join(what.lower().replace("-", " ").split())
    return {"code": f"land.fault.{name}" if known(f"land.fault.{name}") else "land.fault.other", "params": {"place": place or None}}


def mended(geometry: BaseGeometry) -> BaseGeometry:
    """The polygonal part of GEOS make_valid: what a bow-tie would become if someone accepts it."""
    made = make_valid(geometry)
    parts = [g for g in getattr(made, "geoms", [made]) if isinstance(g, (Polygon, MultiPolygon))]
    flat = [p for g in parts for p in (g.geoms if isinstance(g, MultiPolygon) else [g])]
    return flat[0] if len(flat) == 1 else MultiPolygon(flat)


def is_sliver(geometry: BaseGeometry) -> bool:
    m = measure(geometry)
    return m.perimeter_m <= 0 or 2 * m.area_ha * 10_000 / m.perimeter_m < SLIVER_WIDTH_M


def within_degrees(geometry: BaseGeometry) -> bool:
    coordinates = get_coordinates(geometry)
    return bool(len(coordinates)) and all(isfinite(x) and isfinite(y) and abs(x) <= 180 and abs(y) <= 90 for x, y in coordinates)


def swapped(geometry: BaseGeometry) -> BaseGeometry:
    """The same outline with latitude and longitude exchanged."""
    from shapely import transform

    return transform(geometry, lambda c: c[:, ::-1])


def overlaps(shapes: list[BaseGeometry], least_ha: float = 0.01) -> list[tuple[int, int, float]]:
    """Pairs (i < j) whose interiors share more than ``least_ha`` hectares, with that area."""
    tree, out = STRtree(shapes), []
    for i, one in enumerate(shapes):
        for j in sorted(tree.query(one)):
            if i < j and one.intersects(shapes[j]):
                common = one.intersection(shapes[j])
                area = abs(GEOD.geometry_area_perimeter(common)[0]) / 10_000 if not common.is_empty and common.area > 0 else 0.0
                if area > least_ha:
                    out.append((i, int(j), area))
    return out


@dataclass(frozen=True)
class Comparison:
    """Two outlines of one plot: areas (ha), what both share, and how far apart their edges come nearest (m)."""

    old_ha: float
    new_ha: float
    common_ha: float
    apart_m: float

    @property
    def change_ha(self) -> float:
        return self.new_ha - self.old_ha

    @property
    def share_kept(self) -> float:
        """Share of the old outline that lies in the new one, 0 to 1."""
        return min(self.common_ha / self.old_ha, 1.0) if self.old_ha else 0.0


def compared(old: BaseGeometry, new: BaseGeometry) -> Comparison:
    """Both must be valid; areas geodesic."""
    from shapely.ops import nearest_points

    common = new.intersection(old)
    a, b = nearest_points(old, new)
    return Comparison(measure(old).area_ha, measure(new).area_ha, measure(common).area_ha if common.area > 0 else 0.0, GEOD.inv(a.x, a.y, b.x, b.y)[2])


def self_crossings(geometry: BaseGeometry) -> list[tuple[float, float]]:
    """Places (lon, lat) where the outer rings cross themselves; empty for a sound outline."""
    out: list[tuple[float, float]] = []
    for part in getattr(geometry, "geoms", [geometry]):
        corners = list(part.exterior.coords)
        pieces = [LineString(pair) for pair in zip(corners, corners[1:]) if pair[0] != pair[1]]
        tree = STRtree(pieces)
        for i, piece in enumerate(pieces):
            for j in sorted(tree.query(piece, predicate="crosses")):
                if i < j:
                    at = piece.intersection(pieces[j])
                    out.append((at.x, at.y))
    return out


def containing(lat: float, lon: float, shapes: dict[str, BaseGeometry]) -> str | None:
    """Code of the plot a point lies in."""
    point = Point(lon, lat)
    return next((code for code in sorted(shapes) if shapes[code].contains(point)), None)


def distance_m(lat: float, lon: float, geometry: BaseGeometry) -> float:
    """Metres from a point to an outline (0 inside), geodesic to its nearest point."""
    from shapely.ops import nearest_points

    point = Point(lon, lat)
    if geometry.contains(point):
        return 0.0
    near = nearest_points(geometry, point)[0]
    return GEOD.inv(lon, lat, near.x, near.y)[2]


def within_m(one: BaseGeometry, other: BaseGeometry, metres: float) -> bool:
    """Whether two outlines come nearer than ``metres`` (a degree taken as 111 km north, less east: never too few)."""
    from shapely import box

    west, south, east, north = other.bounds
    reach = metres / 104_000
    return one.intersects(box(west - reach, south - reach, east + reach, north + reach))


def place_in_view(geometry: BaseGeometry, view: list[BaseGeometry], room: float = 0.04) -> tuple[float, float] | None:
    """A point (lon, lat) of an outline inside the box round others, for its name; None where less than ``room`` of the box shows it."""
    from shapely import box, union_all

    frame = box(*union_all(view).bounds)
    seen = geometry.intersection(frame.buffer(0.04 * frame.length / 4))
    if seen.is_empty or seen.area < room * frame.area:
        return None
    largest = max(getattr(seen, "geoms", [seen]), key=lambda part: part.area)
    point = largest.representative_point()
    return point.x, point.y


def as_plain(geometry: BaseGeometry) -> dict:
    """GeoJSON without judging: as :func:`as_geojson` but for any geometry, valid or not, rings as they came."""
    def plain(value):
        return [plain(v) for v in value] if isinstance(value, (tuple, list)) else float(value)

    made = mapping(force_2d(geometry))
    return {"type": made["type"], "coordinates": plain(made["coordinates"])} if "coordinates" in made else {"type": made["type"], "geometries": []}
