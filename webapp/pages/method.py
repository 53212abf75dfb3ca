"""How every number is made, with its sources and its limits; constants are read from the code itself."""

from __future__ import annotations

from importlib import import_module

from flask import Blueprint

from ..quantity import Constant
from .layout import render, words

bp = Blueprint("method", __name__)
ROOMS = ("survey", "ripeness", "tonnage", "crop", "outlook", "land", "cutting")


def constants() -> list[tuple[str, Constant]]:
    """Every Constant that a room defines, in the order the data travels."""
    found = []
    for room in ROOMS:
        try:
            module = import_module(f"webapp.{room}.constants")
        except ModuleNotFoundError:
            continue
        found += [(room, value) for value in vars(module).values() if isinstance(value, Constant)]
    return found


@bp.get("/method")
def page() -> str:
    return render("method.html", title=words("pages.method.title"), constants=constants())
