"""What a page says of an estate without any plot: that there is none, and what a person does next, as far as that person may."""

from __future__ import annotations

from ..land import service as land
from .access import db
from .layout import render, words


def no_land() -> bool:
    """Whether the estate has never had a plot (one that was cut or retired is one)."""
    return not len(land.plots(db()))


def first_page() -> str | None:
    """The page in place of one that has nothing to show yet; None where there are plots."""
    return render("first.html", title=words("pages.first.none")) if no_land() else None
