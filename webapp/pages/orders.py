"""What each crew cuts this week, by day and truck, with the cautions; one printed page a crew."""

from __future__ import annotations

from itertools import groupby
from typing import Iterator

from flask import Blueprint, request

from .. import clock
from ..cutting import service as cutting
from ..weeks import monday_of, weeks_from
from .access import db
from .layout import render, words

bp = Blueprint("orders", __name__)
WEEKS_AHEAD = 8


def _said_once(orders: list[dict]) -> Iterator[dict]:
    """The orders with how many days in a row tell of the same plants (``days``; 0 where the line above has said it)."""
    for _, run in groupby(orders, key=lambda o: (o["plot"], o["kind"], o["pass"], o["cut_style"], o["how_to_tell"])):
        same = list(run)
        yield from ({**order, "days": len(same) if i == 0 else 0} for i, order in enumerate(same))


@bp.get("/orders")
def page() -> str:
    weeks = weeks_from(clock.of(db()).today(), WEEKS_AHEAD)
    week = request.args.get("week", weeks[0])
    try:
        monday = monday_of(week)
    except ValueError:  # an address typed wrong: this week's
        week, monday = weeks[0], monday_of(weeks[0])
    crew = request.args.get("crew") or None
    found = cutting.orders(db(), week=week, crew=crew)
    sheets: dict[str, list[dict]] = {}
    for order in found:
        sheets.setdefault(order["crew"], []).append(order)
    sheets = {name: list(_said_once(mine)) for name, mine in sheets.items()}
    beware: dict[str, list[dict]] = {}
    for name, mine in sheets.items():
        seen: list[dict] = []
        for order in mine:
            seen += [c for c in order["cautions"] if c not in seen]
        beware[name] = seen
    return render("orders.html", title=words("pages.orders.title", week=week, n=len(sheets), mass_t=sum(o["mass_t"] for o in found)), sheets=sheets, beware=beware, week=week, monday=monday,
                  weeks=weeks, crews=[c["name"] for c in cutting.crews(db())], crew=crew or "")
