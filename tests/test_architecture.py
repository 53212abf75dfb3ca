"""The house keeps its arrows: who may import what, in words that say how to mend it."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
WEBAPP = ROOT / "webapp"
ORDER = ("people", "land", "survey", "ripeness", "tonnage", "crop", "cutting", "outlook")
EARLIER = {
    "people": set(), "land": {"people"}, "survey": {"people", "land"},
    "ripeness": {"people", "land", "survey"}, "tonnage": {"people", "land", "survey"},
    "crop": {"people", "land", "survey", "ripeness", "tonnage"},
    "cutting": {"people", "land", "survey", "ripeness", "tonnage", "crop"},
    "outlook": {"people", "land", "survey", "ripeness", "tonnage", "crop", "cutting"},
}
EDGE = ("pages", "commands", "bench")
PURE_OUTSIDE = {"numpy", "scipy", "pandas"}
ONLY_IN = {"shapely": {"land/shapes.py"}, "pyproj": {"land/shapes.py"}, "geopandas": {"land/intake.py"}, "pyogrio": {"land/intake.py"},
           "msgspec": {"survey/batch.py", "survey/ordinary.py", "survey/record.py"}, "argon2": {"people/passwords.py"}, "icalendar": {"cutting/view.py"}}
IMPURE_STDLIB = {"sqlite3", "socket", "urllib", "http", "subprocess", "requests", "os", "time"}
KERNEL_OUTSIDE = {"sqlite_utils", "numpy", "click", "babel"}
STDLIB = set(__import__("sys").stdlib_module_names)


def imports(source: str, package: str) -> set[str]:
    """Absolute names of everything a file imports, also inside functions."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = package.split(".")
                base = ".".join(parts[: len(parts) - node.level + 1] + ([base] if base else []))
            found |= {f"{base}.{alias.name}" for alias in node.names}
    return found


def faults(place: str, source: str) -> list[str]:
    """Every wrong arrow of one file; ``place`` is its path below webapp, e.g. ``land/store.py``."""
    folder, name = (place.rsplit("/", 1) + [""])[:2] if "/" in place else ("", place)
    domain, package = folder.split("/")[0], "webapp" + ("." + folder.replace("/", ".") if folder else "")
    out = []
    for target in sorted(imports(source, package)):
        top = target.split(".")[0]
        inside = target.split(".")[1:] if top == "webapp" else None
        if domain in EDGE or place == "work.py":
            if inside and len(inside) > 1 and inside[0] in ORDER and inside[1] == "store":
                out.append(f"{place} reaches into {target}: the edge calls the domain's service instead")
            if top == "flask" and domain != "pages":
                out.append(f"{place} imports flask: only pages/ and webapp/__init__.py may")
            continue
        if top == "flask" and place != "__init__.py":
            out.append(f"{place} imports flask: only pages/ and webapp/__init__.py may")
        if domain in ORDER:
            out += _domain_faults(place, domain, name, target, top, inside)
        elif domain == "" and place not in ("__init__.py", "cli.py"):
            if inside and inside[0] in ORDER + ("pages",):
                out.append(f"{place} is kernel and imports {target}: the kernel knows no domain")
            if inside is None and top not in STDLIB | KERNEL_OUTSIDE and top != "flask":
                out.append(f"{place} is kernel and imports {top}: it may use the standard library, sqlite_utils and numpy")
    return out


def _domain_faults(place, domain, name, target, top, inside):
    out, role = [], name.removesuffix(".py")
    pure = not role.endswith("service") and role not in ("store", "__init__")
    if inside is not None and inside and inside[0] in ORDER + ("pages", "commands"):
        other = inside[0]
        if other != domain and other not in EARLIER[domain]:
            out.append(f"{place} imports {target}: arrows go only from later to earlier rooms ({domain} may use {sorted(EARLIER[domain])})")
        if other != domain and len(inside) > 1 and inside[1] == "store":
            out.append(f"{place} reaches into {target}: call {other}.service, which keeps its own rules")
        if pure and len(inside) > 1 and inside[1] in ("store", "service"):
            out.append(f"{place} is pure and imports {target}: hand it the data as an argument")
        if role == "store" and other != domain:
            out.append(f"{place} is a store and imports {target}: stores know only their own room")
    if pure and inside is not None and inside and inside[0] in ("database", "clock", "settings", "answers", "jobs"):
        out.append(f"{place} is pure and imports {target}: take values as arguments")
    if pure and (top in ("sqlite_utils", "sqlite3") or top in IMPURE_STDLIB):
        out.append(f"{place} is pure and imports {top}: no database, clock, environment or network there")
    if top in ONLY_IN and place not in ONLY_IN[top]:
        out.append(f"{place} imports {top}: only {sorted(ONLY_IN[top])} may")
    if pure and inside is None and top not in STDLIB | PURE_OUTSIDE | set(ONLY_IN) | {"highspy", "flask", "sqlite_utils"}:
        out.append(f"{place} is pure and imports {top}: numpy, scipy and pandas are what pure files may use")
    if top == "highspy" and role != "model":
        out.append(f"{place} imports highspy: the solver lives in files named model.py")
    return out


FILES = sorted(p.relative_to(WEBAPP).as_posix() for p in WEBAPP.rglob("*.py"))


@pytest.mark.parametrize("place", FILES)
def test_arrows(place):
    found = faults(place, (WEBAPP / place).read_text())
    assert not found, "\n".join(found)


@pytest.mark.parametrize("place, source, says", [
    ("land/plot.py", "from ..survey import record", "only from later to earlier"),
    ("survey/service.py", "from ..land.store import plots", "call land.service"),
    ("ripeness/ripening.py", "from ..tonnage import pina", "only from later to earlier"),
    ("ripeness/ripening.py", "import sqlite3", "no database"),
    ("ripeness/service.py", "import flask", "only pages/"),
    ("cutting/search.py", "import highspy", "files named model.py"),
    ("land/plot.py", "from shapely import Polygon", "land/shapes.py"),
    ("tonnage/pina.py", "import requests", "no database"),
    ("tonnage/pina.py", "import statsmodels.api", "what pure files may use"),
    ("clock.py", "from .land import service", "knows no domain"),
    ("pages/map.py", "from ..land import store", "service instead"),
])
def test_a_wrong_arrow_is_refused(place, source, says):
    assert any(says in fault for fault in faults(place, source)), faults(place, source)


def test_files_stay_readable():
    """Aim near 120 lines; past 300 a room owns too much."""
    long = {p.relative_to(ROOT).as_posix(): n for folder in ("webapp", "static", "demo_fields") for p in (ROOT / folder).rglob("*")
            if p.suffix in (".py", ".js", ".css", ".html") and (n := len(p.read_text().splitlines())) > 300}
    assert not long, f"over 300 lines, ask what the room owns: {long}"


def test_rooms_have_owners():
    vague = [p.as_posix() for p in (ROOT / "webapp").rglob("*") if p.stem in ("utils", "helpers", "common", "misc")]
    assert not vague, vague


def test_top_level_is_the_design_card():
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "webapp", "static", "tests", "demo_fields", "pinario.egg-info"}
    there = {p.name for p in ROOT.iterdir() if not p.name.startswith(".")}
    assert there <= allowed, there - allowed
