"""Areas on the ellipsoid against published values; validity against the OGC's rules."""

import pytest
from shapely import from_wkt
from shapely.geometry import Polygon

from webapp.land import shapes

# Source: GeographicLib's own test set (Karney), reproduced with geographiclib 2.1 and pyproj 3.7.2. (lat, lon) order.
PUBLISHED = [
    ("Antarctica", [(-63.1, -58), (-72.9, -74), (-71.9, -102), (-74.9, -102), (-74.3, -131), (-77.5, -163), (-77.4, 163), (-71.7, 172), (-65.9, 140),
                    (-65.7, 113), (-66.6, 88), (-66.9, 59), (-69.8, 25), (-70, -4), (-71, -14), (-77.3, -33), (-77.9, -46), (-74.7, -61)],
     16_831_067.893, 13_662_703_680_020.1, 2e-9),
    ("ring round the equator's origin", [(0, -1), (-1, 0), (0, 1), (1, 0)], 627_598.2731, 24_619_419_146, 1e-9),
    ("cell near Tequila", [(20.88, -103.84), (20.88, -103.83), (20.89, -103.83), (20.89, -103.84)], 4_295.3073, 1_151_993.2755, 1e-8),
]


@pytest.mark.parametrize("name, corners, perimeter_m, area_m2, tolerance", PUBLISHED)
def test_published_areas(name, corners, perimeter_m, area_m2, tolerance):
    m = shapes.measure(Polygon([(lon, lat) for lat, lon in corners]))
    assert m.area_ha * 10_000 == pytest.approx(area_m2, rel=tolerance)
    assert m.perimeter_m == pytest.approx(perimeter_m, rel=1e-8)


def test_agrees_with_geographiclib():
    """General-purpose reference: geographiclib (Karney 2013), computed here."""
    from geographiclib.geodesic import Geodesic

    corners = [(-103.02, 20.61), (-103.0171, 20.6104), (-103.0166, 20.6135), (-103.0199, 20.6141)]
    polygon = Geodesic.WGS84.Polygon()
    for lon, lat in corners:
        polygon.AddPoint(lat, lon)
    _, perimeter, area = polygon.Compute()
    m = shapes.measure(Polygon(corners))
    assert m.area_ha * 10_000 == pytest.approx(abs(area), rel=1e-9) and m.perimeter_m == pytest.approx(perimeter, rel=1e-9)


def test_a_mercator_area_would_be_far_off():
    """check: planar EPSG:3857 gives +15.1 % for the cell near Tequila; ours must not."""
    m = shapes.measure(Polygon([(-103.84, 20.88), (-103.83, 20.88), (-103.83, 20.89), (-103.84, 20.89)]))
    assert abs(m.area_ha - 115.1993) < 0.0001


# Source: OGC Simple Features validity as given by GEOS 3.14 (shapely 2.2).
@pytest.mark.parametrize("wkt, valid", [
    ("POLYGON((0 0,2 2,2 0,0 2,0 0))", False), ("POLYGON((0 0,10 0,10 10,0 10,0 0),(2 2,4 2,4 4,2 4,2 2))", True),
    ("POLYGON((0 0,4 0,4 4,2 0,0 4,0 0))", False), ("POLYGON((0 0,0 1,1 1,1 0,0 0))", True)])
def test_validity(wkt, valid):
    assert (shapes.why_invalid(from_wkt(wkt)) == "") is valid


def test_winding_does_not_change_the_area():
    ring = [(-103.84, 20.88), (-103.83, 20.88), (-103.83, 20.89), (-103.84, 20.89)]
    assert shapes.measure(Polygon(ring)).area_ha == pytest.approx(shapes.measure(Polygon(ring[::-1])).area_ha)


def test_point_in_plot_and_distance():
    square = Polygon([(0, 0), (0, 0.01), (0.01, 0.01), (0.01, 0)])
    assert shapes.containing(0.005, 0.005, {"A": square}) == "A" and shapes.containing(0.02, 0.005, {"A": square}) is None
    assert shapes.distance_m(0.005, 0.005, square) == 0
    assert shapes.distance_m(0.005, 0.02, square) == pytest.approx(1113.19, rel=1e-3)  # 0.01° along the equator
