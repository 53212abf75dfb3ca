"""The demo estate into an empty file: the same doors that a user's own files go through."""

from __future__ import annotations

from pathlib import Path
from typing import Callable

from .. import STATIC
from ..database import Database
from ..land import service as land
from ..people import service as people_service
from ..survey import service as survey

FOLDER = STATIC.parent / "demo_fields"
NAME, ZONE, TODAY = "Rancho La Garza Dormida", "America/Mexico_City", "2026-11-23"
SIGN_INS = (
    ("Aurelia Montes", "jefa", "jefa-del-rancho", ("head",)),
    ("Tomás Barragán", "planeador", "plan-de-jima", ("planner",)),
    ("Inés Robledo", "agronoma", "madurez-de-tabla", ("agronomist",)),
    ("Chema Tovar", "cabo", "cabo-de-cuadrilla", ("crew_lead",)),
    ("Lalo Pineda", "jimador", "coa-y-sombrero", ("crew",)),
    ("Rosa Ibarra", "sistema", "cuida-el-sistema", ("keeper",)),
)
"""Invented people. These passwords exist only in the demo, which listens on loopback."""


def demo_estate(db: Database, folder: Path = FOLDER, step: Callable[[str], None] = lambda name: None) -> None:
    """Load the demo's land, records, sales and people. ``step`` hears the name of each part."""
    from ..cutting import service as cutting
    from ..outlook import service as outlook

    step("people")
    people_service.setup(db, NAME, ZONE, TODAY)
    for name, login, password, roles in SIGN_INS:
        people_service.add_person(db, name, login, password, roles, by="demo")
    step("plots")
    data = (folder / "plots.geojson").read_bytes()
    land.load(db, land.read(data, "plots.geojson"), who="demo")
    for name in ("round", *sorted(path.stem for path in (folder / "records").glob("*.csv") if path.stem != "round")):
        path = folder / "records" / f"{name}.csv"
        if path.exists():
            step(name)
            survey.load_file(db, path.read_bytes(), path.name, who="demo")
    step("sales")
    outlook.load_sales(db, (folder / "sales.csv").read_bytes(), "sales.csv", who="demo")
    outlook.load_stock(db, (folder / "stock.csv").read_bytes(), "stock.csv", who="demo")
    outlook.load_bought(db, (folder / "purchases.csv").read_bytes(), "purchases.csv", who="demo")
    step("crews")
    cutting.load_crews(db, (folder / "crews.csv").read_bytes(), who="demo")
    closures = folder / "closures.csv"
    if closures.exists():
        land.load_closures(db, closures.read_bytes(), who="demo")


