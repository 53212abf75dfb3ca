"""Tiny estates through the doors that a user's files go through, and a walk over everything that is said of them."""

from __future__ import annotations

import csv
import io
import json
import math
import re
import tempfile
import uuid
from datetime import date, timedelta

import numpy as np
from jinja2 import FileSystemBytecodeCache

from webapp import create_app
from webapp.crop import service as crop
from webapp.cutting import service as cutting
from webapp.land import service as land
from webapp.people import service as people
from webapp.ripeness import service as ripeness
from webapp.survey import service as survey
from webapp.tonnage import service as tonnage
from webapp.work import estimates

TODAY = date(2026, 11, 23)
HEAD = "id,round,kind,plot,taken_at,brix_raw_deg,juice_temp_c,row,plant"
_KEPT = tempfile.TemporaryDirectory(prefix="templates-")  # gone with the process
COMPILED = FileSystemBytecodeCache(_KEPT.name)
LOGIN, PASSWORD = "ana", "poca-agua-en-el-pozo"


def plots(db, rows):
    """Land of ``rows`` {code: (planted_on or None, zone or None, variety)}."""
    features = []
    for n, (code, (planted, zone, variety)) in enumerate(rows.items()):
        x, y = -103 + 0.01 * n, 20.6
        features.append({"type": "Feature", "properties": {"code": code, "name": f"Tabla {code}", "parcel": "P1", "planted_on": planted, "zone": zone, "variety": variety, "registered_plants": 9000},
                         "geometry": {"type": "Polygon", "coordinates": [[[x, y], [x + 0.003, y], [x + 0.003, y + 0.003], [x, y + 0.003], [x, y]]]}})
    land.load(db, land.read(json.dumps({"type": "FeatureCollection", "features": features}).encode(), "t.geojson"), "Ana")


def round_of(code, days_ago, values_deg, temp_c=20.0, name=""):
    """CSV lines of a round; readings a second apart."""
    day, base = TODAY - timedelta(days=days_ago), f"{code}-{days_ago}-{name}"
    return [f"{uuid.uuid5(uuid.NAMESPACE_OID, f'{base}/{i}')},,reading,{code},{day}T{9 + i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d}-06:00,{float(v):.3f},{'' if temp_c is None else temp_c},{1 + i // 400},{1 + i % 400}"
            for i, v in enumerate(values_deg)]


def load(db, lines, all_kept=True):
    report = survey.load_file(db, "\n".join([HEAD, *lines]).encode(), "reading.csv", "Ana") if lines else None
    assert report is None or not all_kept or report.kept == len(lines), report
    return report


def scattered(mean_deg, n, seed, sd=2.0):
    off = np.random.default_rng(seed).normal(0, sd, n)
    return mean_deg + off - off.mean()


def _finite(value, where):
    """Every number in what JSON, arrays or stored answers hold."""
    if isinstance(value, dict):
        for name, inner in value.items():
            _finite(inner, f"{where}.{name}")
    elif isinstance(value, (list, tuple)):
        for i, inner in enumerate(value):
            _finite(inner, f"{where}[{i}]")
    elif isinstance(value, np.ndarray):
        assert value.dtype.kind not in "fc" or np.isfinite(value).all(), where
    elif isinstance(value, float):
        assert math.isfinite(value), where


def _planned(db, crew):
    if not cutting.crews(db):
        cutting.set_crew(db, "Tordos", crew, who="Ana")
    number = cutting.make_plan(db, seconds=0.3, who="Ana")
    _finite(vars(cutting.plan(db, number)), "plan")
    assert cutting.check_stored(db, number) == []


def walked(db, path, crew=6):
    """Estimates, plan, pages, exports: nothing that is not a number anywhere. Returns the pages' text by (address, language)."""
    estimates(db)
    for stage in (ripeness, tonnage, crop):
        a = stage.answer(db)
        _finite(a.meta, stage.__name__)
        for name, array in a.arrays.items():
            _finite(array, f"{stage.__name__}.{name}")
    ripe = ripeness.answer(db)
    if ripe.meta["plots"]:
        _planned(db, crew)
    if not people.people(db):
        people.add_person(db, "Ana Ruelas", LOGIN, PASSWORD, ["head", "agronomist", "planner"], by="prueba")
    app = create_app(path, testing=True)
    app.jinja_env.bytecode_cache = COMPILED  # a new application per estate would compile every template again
    client = app.test_client()
    assert client.post("/sign-in", data={"login": LOGIN, "password": PASSWORD}).status_code == 303
    said = {}
    both = ["/ripeness", *(f"/plots/{code}" for code in ripe.meta["plots"][:1])]
    for address, language in [(a, "es") for a in ("/today", "/map", "/estate", "/cutting", "/visits", *both, *(f"/plots/{code}" for code in ripe.meta["plots"][-1:]))] + [(a, "en") for a in both]:
        reply = client.get(f"{address}?lang={language}")
        assert reply.status_code == 200, (address, reply.status_code)
        text = reply.get_data(as_text=True)
        for word in ("nan", "NaN", "None", "inf", "undefined", "Infinity"):
            assert not re.search(rf"""[>\s"',(±–]{word}[<\s%"',)]""", text), (address, language, word)
        said[address, language] = text
    _finite(client.get("/export/plots.json").get_json(force=True), "export")
    for row in csv.DictReader(io.StringIO(client.get("/export/plots.csv").get_data(as_text=True))):
        for name, cell in row.items():
            assert cell.lower() not in ("nan", "inf", "-inf", "none"), (name, row)
    features = client.get("/map/plots.json").get_data(as_text=True)
    assert "NaN" not in features and "Infinity" not in features
    return said
