"""Walked outlines wait for a person: compared with the present one, replaced or set aside, new land taken in."""

import pytest
from pyproj import Geod
from shapely import box
from shapely.geometry import mapping

from webapp.land import service as land
from webapp.land import shapes
from webapp.problems import Problem
from webapp.survey import service

from .conftest import batch, record
from .test_receive import receive

GEOD = Geod(ellps="WGS84")


def ring(*corners):
    return {"type": "Polygon", "coordinates": [[list(c) for c in (*corners, corners[0])]]}


WIDER = ring((-103.0, 20.6), (-102.9965, 20.6), (-102.9965, 20.603), (-103.0, 20.603))
CROSSED = ring((-103.0, 20.6), (-102.997, 20.603), (-102.997, 20.6), (-103.0, 20.603))


def walked(number=1, geometry=WIDER, plot="VS-04", **more):
    return record(number, "outline", plot, geometry=geometry, walk_minutes=14.5, walk_mode="walking", gps_accuracy_m=4.2, **more)


def told(walk):
    return [finding.code.rpartition(".")[2] for finding in walk.findings]


def test_a_walk_waits_and_tells_areas_and_what_is_shared(field):
    receive(field, batch(walked()))
    (walk,) = service.walks_waiting(field)
    area = lambda g: abs(GEOD.geometry_area_perimeter(shapes.parse(g))[0]) / 10_000  # noqa: E731
    old = land.outlines(field)["VS-04"]
    assert walk.comparison.old_ha == pytest.approx(area(old)) and walk.comparison.new_ha == pytest.approx(area(WIDER)) == pytest.approx(walk.area_ha)
    assert walk.comparison.share_kept == pytest.approx(1) and walk.comparison.change_ha == pytest.approx(area(WIDER) - area(old)) and walk.comparison.change_ha > 1
    assert (walk.name, walk.minutes, walk.mode, walk.accuracy_m) == ("El Tapia", 14.5, "walking", 4.2)
    assert told(walk) == [] and not walk.crossings
    assert land.outlines(field)["VS-04"] == old, "nothing is replaced unasked"


def test_replacing_keeps_the_old_version_and_settles_the_walk(field):
    before = service.data_version(field)
    receive(field, batch(walked()))
    service.replace_by_walk(field, walked()["id"], "Ana")
    versions = land.outline_versions(field, "VS-04")
    assert len(versions) == 2 and versions[0]["source"] == f"walk:{walked()['id']}" and versions[0]["by"] == "Ana"
    assert land.plots(field).at["VS-04", "area_ha"] == pytest.approx(versions[0]["area_ha"]) and versions[0]["area_ha"] > versions[1]["area_ha"]
    assert service.walks_waiting(field) == [] and service.data_version(field) != before
    with pytest.raises(Problem) as refused:
        service.replace_by_walk(field, walked()["id"], "Ana")
    assert refused.value.code == "walk_not_waiting" and len(land.outline_versions(field, "VS-04")) == 2


def test_setting_aside_needs_a_reason_and_changes_nothing(field):
    receive(field, batch(walked()))
    with pytest.raises(Problem):
        service.set_walk_aside(field, walked()["id"], "  ", "Ana")
    assert len(service.walks_waiting(field)) == 1
    service.set_walk_aside(field, walked()["id"], "caminó el predio de junto", "Ana")
    assert service.walks_waiting(field) == [] and len(land.outline_versions(field, "VS-04")) == 1
    assert len(service.outlines_walked(field)) == 1, "the record stays"


def test_a_crossed_walk_shows_where_and_is_used_without_its_knot(field):
    receive(field, batch(walked(geometry=CROSSED, confirmed=True)))
    (walk,) = service.walks_waiting(field)
    assert "crossing" in told(walk) and walk.crossings == [pytest.approx((-102.9985, 20.6015))]
    assert "unlike" in told(walk) and walk.area_ha == pytest.approx(walk.comparison.old_ha / 2, rel=0.01)
    service.replace_by_walk(field, walk.record, "Ana")
    assert shapes.why_invalid(shapes.parse(land.outlines(field)["VS-04"])) == ""


def test_overlap_with_a_neighbour_and_a_walk_elsewhere_are_told(field):
    over = mapping(box(-103.0, 20.6, -102.979, 20.603))
    receive(field, batch(walked(1, {"type": "Polygon", "coordinates": [[list(p) for p in over["coordinates"][0]]]}), walked(2, ring((-103.1, 20.7), (-103.098, 20.7), (-103.098, 20.702)))))
    wide, far = service.walks_waiting(field)
    overlap = next(f for f in wide.findings if f.code.endswith("overlap"))
    assert overlap.params["other"] == "Encinal, LA-07" and overlap.params["area_ha"] == pytest.approx(3.46, rel=0.02) and set(wide.neighbours) == {"LA-07"}
    assert told(far) == ["elsewhere"] and far.findings[0].params["metres"] > 10_000


def test_a_voided_or_corrected_walk_no_longer_waits(field):
    first, second = walked(1), walked(2, replaces=walked(1)["id"])
    waiting = lambda: [w.record for w in service.walks_waiting(field)]  # noqa: E731
    receive(field, batch(first))
    receive(field, batch(second))
    assert waiting() == [second["id"]]
    receive(field, batch(record(3, "void", replaces=second["id"])))
    assert waiting() == [first["id"]], "the first counts again"
    receive(field, batch(record(4, "void", replaces=first["id"])))
    assert waiting() == []


NEW = ring((-103.2, 20.5), (-103.197, 20.5), (-103.197, 20.503), (-103.2, 20.503))


def test_new_land_becomes_a_plot_and_its_record_comes_into_use(field):
    receive(field, batch(walked(1, NEW, "NUEVA-1"), record(2, plot="NUEVA-1")))
    (walk,) = service.walks_waiting(field)
    assert not walk.known and walk.comparison is None and len(service.held(field)) == 2
    service.take_new_land(field, walk.record, "NUEVA-1", "Ana")
    assert land.plots(field).at["NUEVA-1", "area_ha"] == pytest.approx(walk.area_ha)
    assert service.walks_waiting(field) == [] and service.held(field) == [], "what was noted on the new land is used too"
    assert set(service.readings(field)["plot"]) == {"NUEVA-1"}


def test_new_land_under_another_code_mends_its_record(field):
    receive(field, batch(walked(1, NEW, "junto al arroyo")))
    with pytest.raises(Problem):
        service.take_new_land(field, walked(1)["id"], "VS-04", "Ana")
    assert len(land.outline_versions(field, "VS-04")) == 1 and len(service.walks_waiting(field)) == 1
    service.take_new_land(field, walked(1)["id"], "AR-01", "Ana")
    assert service.walks_waiting(field) == [] and service.held(field) == []
    assert list(service.outlines_walked(field)["plot"]) == ["AR-01"] and "AR-01" in land.plots(field).index


def test_new_land_set_aside_is_set_aside_as_a_record_too(field):
    receive(field, batch(walked(1, NEW, "NUEVA-1")))
    service.set_walk_aside(field, walked(1)["id"], "no es nuestra", "Ana")
    assert service.held(field) == [] and service.walks_waiting(field) == [] and "NUEVA-1" not in land.plots(field).index


@pytest.mark.parametrize("geometry", [ring((-103.0, 20.6), (-103.0, 20.6), (-103.0, 20.6)), ring((-103.0, 20.6), (-102.99, 20.61), (-102.98, 20.62))])
def test_a_line_without_land_can_only_be_set_aside(field, geometry):
    receive(field, batch(walked(1, geometry)))
    (walk,) = service.walks_waiting(field)
    assert walk.outline is None and told(walk) == ["unusable"]
    with pytest.raises(Problem) as refused:
        service.replace_by_walk(field, walk.record, "Ana")
    assert refused.value.code == "outline_invalid"
    service.set_walk_aside(field, walk.record, "no se caminó", "Ana")
