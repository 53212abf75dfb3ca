"""Files of plots: what is sound comes in at once, what is not waits and is told in words."""

import io
import json
import zipfile

import pytest

from webapp.land import service, shapes
from webapp.problems import Problem
from webapp.sentences import say

SQUARE = [[-103.0, 20.6], [-102.997, 20.6], [-102.997, 20.603], [-103.0, 20.603], [-103.0, 20.6]]


def moved(dx, dy=0.0, ring=SQUARE):
    return [[x + dx, y + dy] for x, y in ring]


def feature(code, ring, **more):
    return {"type": "Feature", "properties": {"code": code, "name": f"Tabla {code}", "zone": "Loma", "parcel": "P1", "planted_on": "2020-07-01",
                                               "row_spacing_m": 3.0, "plant_spacing_m": 1.1, **more}, "geometry": {"type": "Polygon", "coordinates": [ring]} if ring else None}


def geojson(*features):
    return json.dumps({"type": "FeatureCollection", "features": list(features)}).encode()


def load(db, data, name="t.geojson"):
    return service.load(db, service.read(data, name), "Ana")


def codes(preview):
    return {(f.code, f.subject.split(", ")[-1]) for f in preview.findings}


def test_faults_of_outlines_have_words_in_both_languages(db):
    """Reasons GEOS gives, one it may yet learn, none, and one kept in a store before it had words."""
    for why, es in (("Self-intersection: 20.60150, -102.98850", "se cruza consigo mismo en 20.60150, -102.98850"), ("Hole lies outside shell: 1.00000, 2.00000", "un hueco queda fuera de él, en 1.00000, 2.00000"),
                    ("Some news: 1.00000, 2.00000", "sus vértices no encierran un área"), ("", "sus vértices no encierran un área")):
        assert say("problem.outline_invalid.what", "es", reason=shapes.fault_told(why)).endswith(es)
        assert es not in say("problem.outline_invalid.what", "en", reason=shapes.fault_told(why))
    load(db, geojson(feature("P", SQUARE) | {"geometry": {"type": "LineString", "coordinates": SQUARE[:3]}}, feature("B", [[-102.99, 20.6], [-102.987, 20.603], [-102.987, 20.6], [-102.99, 20.603], [-102.99, 20.6]])))
    [(number, text)] = db.execute("SELECT id, findings FROM waiting_plot WHERE code = 'B'").fetchall()
    kept = json.loads(text)
    for part in (f[name] for f in kept if f["code"] == "invalid_ring" for name in ("what", "do")):
        part["params"]["reason"] = "Self-intersection: 20.60150, -102.98850"
    db["waiting_plot"].update(number, {"findings": json.dumps(kept)})
    line, crossed = (next(f for f in w["findings"] if f["code"] in ("not_area", "invalid_ring")) for w in service.waiting(db))
    assert say(line["what"]["code"], "es", **line["what"]["params"]).endswith("no es un área sino una línea.")
    assert "se cruza consigo mismo en 20.6" in say(crossed["what"]["code"], "es", **crossed["what"]["params"])


def test_good_plots_come_in_and_bad_ones_wait(db):
    bow_tie = [[-102.99, 20.6], [-102.987, 20.603], [-102.987, 20.6], [-102.99, 20.603], [-102.99, 20.6]]
    data = geojson(feature("A", SQUARE), feature("B", bow_tie), feature("C", moved(0.02)), feature("D", moved(0.021)),
                   feature("A", moved(0.05)), feature("E", moved(0.07)), feature("F", None), feature("", moved(0.09)))
    looked = service.preview(db, service.read(data, "t.geojson"))
    assert len(service.plots(db)) == 0, "a preview changes nothing"
    done = load(db, data)
    assert looked == done
    assert set(done.new) == {"A", "E"} and len(done.waiting) == 6
    assert {("invalid_ring", "B"), ("overlap", "C"), ("overlap", "D"), ("duplicate_code", "A"), ("no_outline", "F")} <= codes(done)
    assert "no_code" in {f.code for f in done.findings}
    for finding in done.findings:
        assert finding.what.text("es") and finding.do.text("en")
    [crossed] = [f for f in done.findings if f.code == "invalid_ring"]
    assert "se cruza consigo mismo en 20.6" in crossed.what.text("es") and "it crosses itself at 20.6" in crossed.what.text("en") and "elf-inter" not in crossed.what.text("es")
    plots = service.plots(db)
    assert list(plots.index) == ["A", "E"] and plots.at["A", "planted_on"].year == 2020
    assert plots.at["A", "planted_plants"] is None or plots.at["A", "planted_plants"] == pytest.approx(plots.at["A", "area_ha"] * 10_000 / 3.3)


def test_loading_again_changes_nothing_and_a_new_outline_keeps_the_old(db):
    load(db, geojson(feature("A", SQUARE)))
    before = service.version(db)
    assert load(db, geojson(feature("A", SQUARE))).unchanged == ("A",) and service.version(db) == before
    assert load(db, geojson(feature("A", moved(0.0005)))).changed == ("A",)
    assert len(service.outline_versions(db, "A")) == 2 and service.version(db) == before + 1


def test_overlap_with_a_loaded_plot_waits(db):
    load(db, geojson(feature("A", SQUARE)))
    done = load(db, geojson(feature("B", moved(0.001))))
    assert done.new == () and "overlap_existing" in {f.code for f in done.findings}
    waiting = service.waiting(db)
    service.settle_waiting(db, waiting[0]["id"], "Ana", "take")
    assert "B" in service.plots(db).index and service.waiting(db) == []


def test_a_mended_bow_tie_becomes_its_two_triangles(db):
    load(db, geojson(feature("B", [[-102.99, 20.6], [-102.987, 20.603], [-102.987, 20.6], [-102.99, 20.603], [-102.99, 20.6]])))
    service.settle_waiting(db, service.waiting(db)[0]["id"], "Ana", "take")
    assert service.outlines(db)["B"]["type"] == "MultiPolygon"


def test_heights_swapped_axes_slivers_and_parts(db):
    up = [[*p, 1500.0] for p in SQUARE]
    parts = feature("M", SQUARE)
    parts["geometry"] = {"type": "MultiPolygon", "coordinates": [[moved(0.02)], [moved(0.03)]]}
    done = load(db, geojson(feature("Z", up), feature("S", [[y, x] for x, y in moved(0.05)]), feature("T", [[-102.9, 20.6], [-102.8999, 20.6], [-102.8999, 20.600001], [-102.9, 20.600001], [-102.9, 20.6]]), parts))
    assert set(done.new) == {"Z"}
    assert {("three_d", "Z"), ("swapped", "S"), ("sliver", "T"), ("multipart", "M")} <= codes(done)
    assert len(service.outlines(db)["Z"]["coordinates"][0][0]) == 2


@pytest.mark.parametrize("kind, name", [("geojson", "a.geojson"), ("gpkg", "a.gpkg"), ("shp", "a.zip"), ("kml", "a.kml")])
def test_each_format_goes_out_and_comes_back(db, tmp_path, kind, name):
    from webapp.database import open_estate

    load(db, geojson(feature("A", SQUARE, tenure="leased", lease_end="2028-01-31"), feature("B", moved(0.01))))
    data, _, _ = service.export_plots(db, kind)
    other = open_estate(tmp_path / "other.db", create=True)
    done = service.load(other, service.read(data, name), "Eva")
    assert set(done.new) == {"A", "B"}, done.findings
    one, two = service.plots(db), service.plots(other)
    assert two["area_ha"].tolist() == pytest.approx(one["area_ha"].tolist(), rel=1e-9)
    assert two.at["A", "planted_on"] == one.at["A", "planted_on"] and two.at["A", "lease_end"] == one.at["A", "lease_end"]


def test_any_crs_comes_in_as_wgs84(db):
    import geopandas

    frame = geopandas.read_file(io.BytesIO(geojson(feature("A", SQUARE))))
    utm = frame.to_crs("EPSG:32613")
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        utm.to_file(Path(folder) / "a.gpkg", driver="GPKG")
        found = service.read((Path(folder) / "a.gpkg").read_bytes(), "a.gpkg")
    assert "reprojected" in {f.code for f in found.notes}
    assert found.features[0].geometry["coordinates"][0][0][0] == pytest.approx(-103.0, abs=1e-6)


def zipped(**members):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("_", "."), data)
    return buffer.getvalue()


def without_prj():
    import tempfile
    from pathlib import Path

    import geopandas

    frame = geopandas.read_file(io.BytesIO(geojson(feature("A", SQUARE))))[["code", "geometry"]]
    with tempfile.TemporaryDirectory() as folder:
        frame.to_file(Path(folder) / "a.shp")
        return zipped(**{f"a_{p.suffix[1:]}": p.read_bytes() for p in Path(folder).glob("a.*") if p.suffix != ".prj"})


@pytest.mark.parametrize("data, name, code", [
    (b"", "a.geojson", "file_empty"), (b"hola", "a.geojson", "file_not_as_named"), (b"{", "a.geojson", "file_unreadable"), (b"{}", "a.txt", "file_kind"),
    (geojson(), "a.geojson", "no_features"), (b"PK\x03\x04basura", "a.zip", "file_unreadable"), (geojson(feature("A", SQUARE)), "a.gpkg", "file_not_as_named"),
    (zipped(a_txt=b"x"), "a.zip", "zip_members"), (zipped(a_shp=b"\0" * 60_000_000), "a.zip", "zip_bomb"), (b"<kml/>", "a.kml", "file_unreadable"),
])
def test_unreadable_files_are_refused_and_change_nothing(db, data, name, code):
    with pytest.raises(Problem) as refused:
        load(db, data, name)
    assert refused.value.code == code or (code == "file_unreadable" and refused.value.code == "no_features"), refused.value
    assert refused.value.text("es") and len(service.plots(db)) == 0


def test_shapefile_without_prj_is_not_guessed(db):
    with pytest.raises(Problem) as refused:
        load(db, without_prj(), "a.zip")
    assert refused.value.code == "no_prj"


def test_spanish_headings_and_dates(db):
    one = {"type": "Feature", "properties": {"Clave": "VS-04", "Nombre": "El Tapia", "Zona": "Vado Seco", "Plantado": "01/07/2019", "Entre surcos": "3,0", "Tenencia": "Rentado"},
           "geometry": {"type": "Polygon", "coordinates": [SQUARE]}}
    load(db, geojson(one))
    found = service.plot(db, "VS-04")
    assert found["name"] == "El Tapia" and found["planted_on"].isoformat() == "2019-07-01" and found["row_spacing_m"] == 3.0


def test_closures_are_whole_weeks_of_known_places(db):
    load(db, geojson(feature("A", SQUARE)))
    made = service.add_closure(db, "zone", "Loma", "2026-W49", "2026-W50", "puente", "Ana")
    for bad in (("zone", "Nada", "2026-W49", "2026-W50"), ("plot", "A", "2026-W60", "2026-W61"), ("plot", "A", "2026-W50", "2026-W49")):
        with pytest.raises(Problem):
            service.add_closure(db, *bad, "", "Ana")
    assert [c["id"] for c in service.closures(db)] == [made]
    service.remove_closure(db, made, "Ana")
    assert service.closures(db) == []


def test_a_decision_on_an_outline_is_remembered_when_the_file_comes_again(db):
    bow_tie = [[-102.99, 20.6], [-102.987, 20.603], [-102.987, 20.6], [-102.99, 20.603], [-102.99, 20.6]]
    data = geojson(feature("A", SQUARE), feature("A", moved(0.05)), feature("B", bow_tie))
    assert len(load(db, data).waiting) == 2
    assert len(load(db, data).waiting) == 2 and len(service.waiting(db)) == 2, "what waits already is not doubled"
    second, twisted = service.waiting(db)
    with pytest.raises(Problem) as taken:
        service.settle_waiting(db, second["id"], "Ana", "take")
    assert taken.value.code == "plot_code_taken" and service.outlines(db)["A"]["coordinates"][0][0][0] == pytest.approx(-103.0, abs=1e-6)
    service.settle_waiting(db, second["id"], "Ana", "take", code="A2")
    service.settle_waiting(db, twisted["id"], "Ana", "drop")
    assert load(db, data).waiting == () and service.waiting(db) == [] and set(service.plots(db).index) == {"A", "A2"}


def test_replacing_an_outline_by_one_that_waited_keeps_the_old_one(db):
    load(db, geojson(feature("A", SQUARE), feature("A", moved(0.05))))
    service.settle_waiting(db, service.waiting(db)[0]["id"], "Ana", "replace")
    assert len(service.outline_versions(db, "A")) == 2


def test_a_code_that_no_page_could_be_opened_by_waits_and_says_what_to_do(db):
    done = load(db, geojson(feature("A/1", SQUARE), feature("b c%20?#", moved(0.02)), feature("Ñ" * 60, moved(0.04)), feature("A-1", moved(0.06)), feature(" A-2 ", moved(0.08))))
    assert done.new == ("A-1", "A-2") and [f.code for f in done.findings] == ["code_unfit"] * 3 and len(done.waiting) == 3
    for finding, es, en in zip(done.findings, ("/, \\, ? o #", "/, \\, ? o #", "40 letras"), ("/, \\, ? or #", "/, \\, ? or #", "40 letters")):
        assert es in finding.what.text("es") and en in finding.what.text("en") and "VS-04" in finding.do.text("es") and "40" in finding.do.text("en")
    first = service.waiting(db)[0]
    assert es and "/, \\, ? o #" in say(first["findings"][0]["what"]["code"], "es", **first["findings"][0]["what"]["params"])  # as it is stored
    with pytest.raises(Problem) as refused:
        service.settle_waiting(db, first["id"], "Ana", "take")
    assert refused.value.code == "plot_code_unfit"
    service.settle_waiting(db, first["id"], "Ana", "take", code="A-3")
    assert set(service.plots(db).index) == {"A-1", "A-2", "A-3"}
    with pytest.raises(Problem) as refused:
        service.add_plot(db, "A/4", {"type": "Polygon", "coordinates": [moved(0.1)]}, "walk", "Ana")
    assert refused.value.code == "plot_code_unfit" and "A/4" not in service.plots(db).index


def test_a_plot_that_has_long_had_such_a_code_keeps_it_and_opens(db, estate_path):
    from webapp import create_app
    from webapp.land import store
    from webapp.people import service as people
    from webapp.work import estimates

    store.put_plot(db, "A/1", {"name": "El Tapia", "planted_on": "2020-07-01"})
    again = load(db, geojson(feature("A/1", SQUARE)))
    assert again.changed == ("A/1",) and again.findings == ()
    estimates(db)
    people.add_person(db, "Ana", "ana", "cuatro palabras bien largas", ["head"], by="prueba")
    client = create_app(estate_path, testing=True).test_client()
    client.post("/sign-in", data={"login": "ana", "password": "cuatro palabras bien largas"})
    assert '<a href="/plots/A/1">' in client.get("/ripeness").get_data(as_text=True)
    reply = client.get("/plots/A/1")
    assert reply.status_code == 200 and "A/1" in reply.get_data(as_text=True) and client.get("/plots/A/2").status_code == 404


@pytest.mark.parametrize("day, status, waits", [("1930-07-01", None, True), ("1930-07-01", "cut", False), ("1996-11-24", None, False), ("1996-11-01", "en pie", True), (None, None, False)])
def test_a_planting_date_of_another_century_waits(db, day, status, waits):
    db["estate"].update(1, {"frozen_today": "2026-11-23"})
    done = load(db, geojson(feature("A", SQUARE, planted_on=day, status=status)))
    assert [f.code for f in done.findings] == ["long_ago"] * waits and bool(done.waiting) is waits
    for finding in done.findings:
        assert day[:4] in finding.what.text("es") and f"{2026 - int(day[:4])} years" in finding.what.text("en") and "Corrige la fecha" in finding.do.text("es") and finding.do.text("en")
        assert finding.what.text("es") == say(service.waiting(db)[0]["findings"][0]["what"]["code"], "es", **service.waiting(db)[0]["findings"][0]["what"]["params"])


@pytest.mark.parametrize("kind", ["geojson", "gpkg", "shp", "kml"])
def test_taking_out_the_plots_of_an_empty_estate_says_that_there_are_none(db, kind):
    with pytest.raises(Problem) as none:
        service.export_plots(db, kind)
    assert "El rancho todavía no tiene tablas" in none.value.text("es") and "The estate has no plots yet" in none.value.text("en") and "capa" not in none.value.text("es")
    assert service.export_plots(db, "csv")[0].startswith(b"code")
