"""Reading and writing files of plots: GeoJSON, GeoPackage, zipped Shapefile, KML, in any CRS, into WGS 84.

``read`` only looks: it returns features and findings and changes nothing. Files are refused as a
whole only when they cannot be read as what they claim to be.
"""

from __future__ import annotations

import io
import tempfile
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..problems import Problem
from ..sentences import Sentence
from . import attributes, naming, shapes
from .findings import Finding

MOST_BYTES, MOST_UNPACKED, MOST_RATIO, MOST_MEMBERS, MOST_FEATURES = 32 * 2**20, 200 * 2**20, 100, 50, 50_000
KINDS = {".geojson": "geojson", ".json": "geojson", ".gpkg": "gpkg", ".zip": "shp", ".kml": "kml"}
DRIVERS = {"geojson": "GeoJSON", "gpkg": "GPKG", "shp": "ESRI Shapefile", "kml": "KML"}
MEDIA = {"geojson": "application/geo+json", "gpkg": "application/geopackage+sqlite3", "shp": "application/zip", "kml": "application/vnd.google-earth.kml+xml"}


@dataclass(frozen=True)
class Feature:
    """One plot of a file: ``number`` from 1, house attributes, outline in WGS 84 (None when there is none)."""

    number: int
    attributes: dict[str, Any]
    geometry: dict | None

    @property
    def code(self) -> str:
        return str(self.attributes.get("code") or "")

    @property
    def subject(self) -> str:
        name = self.attributes.get("name")
        return f"{name}, {self.code}" if name and self.code else self.code or name or f"#{self.number}"


@dataclass(frozen=True)
class Intake:
    file: str
    features: tuple[Feature, ...]
    findings: tuple[Finding, ...]
    crs: str
    notes: tuple[Finding, ...] = field(default=())


def read(data: bytes, filename: str) -> Intake:
    """Features and findings of a file. Problems: file_empty, file_too_big, file_kind, file_not_as_named,
    zip_bomb, zip_members, no_prj, file_unreadable, no_features."""
    kind = KINDS.get(Path(filename).suffix.lower())
    if not data:
        raise Problem("file_empty", where=filename)
    if len(data) > MOST_BYTES:
        raise Problem("file_too_big", where=filename, status=413, limit_mb=MOST_BYTES // 2**20)
    if kind is None:
        raise Problem("file_kind", where=filename)
    _as_named(kind, data, filename)
    frame = _frame(kind, data, filename)
    if len(frame) == 0:
        raise Problem("no_features", where=filename)
    if len(frame) > MOST_FEATURES:
        raise Problem("file_too_big", where=filename, status=413, limit_mb=MOST_BYTES // 2**20)
    notes, crs = [], "OGC:CRS84"
    if frame.crs is not None and not frame.crs.equals("EPSG:4326") and not frame.crs.equals("OGC:CRS84"):
        crs = frame.crs.to_string()
        frame = frame.to_crs("EPSG:4326")
        notes.append(Finding("reprojected", 0, filename, {"crs": frame.crs.name if len(crs) > 60 else crs}))
    elif frame.crs is None:
        notes.append(Finding("no_crs", 0, filename, {}))
    features, findings = _features(frame)
    return Intake(filename, tuple(features), tuple(findings + judge(features)), crs, tuple(notes))


def _as_named(kind: str, data: bytes, filename: str) -> None:
    head = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n")
    right = {"geojson": head[:1] in (b"{", b"["), "gpkg": head.startswith(b"SQLite format 3\0"), "shp": head.startswith(b"PK"), "kml": head.startswith(b"<")}[kind]
    if not right:
        raise Problem("file_not_as_named", where=filename, kind=kind)


def _unpack(data: bytes, folder: Path, filename: str) -> Path:
    """The .shp of a zip, unpacked under hard limits: declared sizes are not believed, bytes are counted."""
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
        members = [m for m in archive.infolist() if not m.is_dir()]
    except zipfile.BadZipFile as error:
        raise Problem("file_unreadable", where=filename, reason="zip") from error
    if len(members) > MOST_MEMBERS or sum(m.file_size for m in members) > MOST_UNPACKED or sum(m.file_size for m in members) > MOST_RATIO * max(len(data), 10_000):
        raise Problem("zip_bomb", where=filename)
    left = MOST_UNPACKED
    for member in members:
        target = folder / Path(member.filename).name  # the name alone: no member may climb out of the folder
        with archive.open(member) as source, target.open("wb") as out:
            while chunk := source.read(1 << 16):
                left -= len(chunk)
                if left < 0:
                    raise Problem("zip_bomb", where=filename)
                out.write(chunk)
    found = sorted(folder.glob("*.shp")) + sorted(folder.glob("*.SHP"))
    if len(found) != 1:
        raise Problem("zip_members", where=filename, n=len(found))
    if not list(folder.glob(found[0].stem + ".[pP][rR][jJ]")):
        raise Problem("no_prj", where=filename)
    return found[0]


def _frame(kind: str, data: bytes, filename: str):
    import geopandas

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if kind == "shp":
            path = _unpack(data, folder, filename)
        else:
            path = folder / f"file.{kind}"
            path.write_bytes(data)
        try:
            frame = geopandas.read_file(path, engine="pyogrio", driver=DRIVERS[kind]) if kind == "kml" else geopandas.read_file(path, engine="pyogrio")
        except Exception as error:  # GDAL's many ways to say "not such a file"
            raise Problem("file_unreadable", where=filename, reason=str(error).splitlines()[0][:160]) from error
    if not hasattr(frame, "crs") or "geometry" not in frame:
        raise Problem("no_features", where=filename)
    return frame


def _features(frame) -> tuple[list[Feature], list[Finding]]:
    where = attributes.columns([c for c in frame.columns if c != "geometry"])
    features, findings = [], []
    rows = frame.drop(columns="geometry").to_dict("records")
    for number, (row, geometry) in enumerate(zip(rows, frame.geometry), 1):
        tidy: dict[str, Any] = {}
        bad = []
        for house, column in where.items():
            tidy[house], wrong = attributes.tidy(house, row[column])
            if wrong:
                bad.append((column, wrong))
        has_z = geometry is not None and getattr(geometry, "has_z", False)
        outline = None if geometry is None or geometry.is_empty else shapes.as_plain(geometry)
        feature = Feature(number, tidy, outline)
        features.append(feature)
        findings += [Finding("bad_value", number, feature.subject, {"column": column, "value": wrong[:60]}) for column, wrong in bad]
        if has_z:
            findings.append(Finding("three_d", number, feature.subject, {}))
    return features, findings


def judge(features: list[Feature]) -> list[Finding]:
    """Findings on outlines and codes within one file."""
    out, sound = [], []
    seen: dict[str, int] = {}
    for f in features:
        add = lambda code, **params: out.append(Finding(code, f.number, f.subject, params))  # noqa: E731
        if not f.code:
            add("no_code")
        elif unfit := naming.unfit(f.code):
            add("code_unfit", why=Sentence(f"land.code.{unfit}", {"longest": naming.LONGEST_CODE}).as_dict(), longest=naming.LONGEST_CODE)
        elif f.code in seen:
            add("duplicate_code", first=seen[f.code])
        seen.setdefault(f.code, f.number)
        geometry = shapes.parse(f.geometry)
        if geometry is None:
            add("no_outline")
        elif geometry.geom_type not in ("Polygon", "MultiPolygon"):
            add("not_area", kind={"code": f"land.shape.{geometry.geom_type.lower()}", "params": {}})
        elif not shapes.within_degrees(geometry):
            add("swapped" if shapes.within_degrees(shapes.swapped(geometry)) else "outside_world")
        elif reason := shapes.why_invalid(geometry):
            add("invalid_ring", reason=shapes.fault_told(reason), area_ha=shapes.measure(shapes.mended(geometry)).area_ha)
        elif geometry.geom_type == "MultiPolygon" and len(geometry.geoms) > 1:
            add("multipart", parts=len(geometry.geoms))
        elif shapes.is_sliver(geometry):
            add("sliver", area_ha=shapes.measure(geometry).area_ha)
        else:
            sound.append((f, geometry))
    for i, j, area in shapes.overlaps([g for _, g in sound]):
        for one, other in ((sound[i][0], sound[j][0]), (sound[j][0], sound[i][0])):
            if one.code != other.code:  # a repeated code is told once, as such
                out.append(Finding("overlap", one.number, one.subject, {"other": other.subject, "area_ha": area}))
    return out


def write(features: list[dict], kind: str) -> bytes:
    """House features ``{geometry, **attributes}`` as a file of the kind (geojson, gpkg, shp, kml)."""
    import geopandas

    geometry = [shapes.parse(f["geometry"]) for f in features]
    frame = geopandas.GeoDataFrame([{k: v for k, v in f.items() if k != "geometry"} for f in features], geometry=geometry, crs="EPSG:4326")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = folder / {"shp": "plots.shp"}.get(kind, f"plots.{kind}")
        if kind == "shp":  # ten letters a column in that format: our short forms are read back by attributes.NAMES
            frame = frame.rename(columns={c: c[:10] for c in frame.columns if c != "geometry"})
        frame.to_file(path, driver=DRIVERS[kind], engine="pyogrio", **({"RFC7946": "YES"} if kind == "geojson" else {}))
        if kind != "shp":
            return path.read_bytes()
        buffer = io.BytesIO()
        with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
            for part in sorted(folder.glob("plots.*")):
                archive.write(part, part.name)
        return buffer.getvalue()
