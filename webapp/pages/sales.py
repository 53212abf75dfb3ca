"""What was sold by market, category, class and year; stock in wood; agave bought; and loading them."""

from __future__ import annotations

from flask import Blueprint, Response, g, redirect, request, url_for

from ..outlook import service as outlook
from ..problems import Problem
from .access import db, may
from .layout import render, words

bp = Blueprint("sales", __name__)


@bp.get("/sales")
def page(problem: Problem | None = None) -> str:
    table = outlook.sales(db())
    years: list[str] = sorted({m[:4] for m in table["month"]}) if len(table) else []
    lines: list[dict] = []
    if len(table):
        table = table.assign(year=table["month"].str[:4])
        for (market, category, kind), part in table.groupby(["market", "category", "class"], sort=True):
            by_year = part.groupby("year")["litres"].sum().to_dict()
            lines.append({"market": market, "category": category, "class": kind, "litres": [float(by_year.get(y, 0.0)) for y in years]})
    months = {y: table[table["month"].str[:4] == y]["month"].nunique() for y in years} if len(table) else {}
    last = years[-1] if years else ""
    total = sum(line["litres"][-1] for line in lines) if lines else 0.0
    return render("sales.html", title=words("pages.sales.title", year=last, litres=total, n=months.get(last, 0)) if years else words("pages.sales.title_none"), years=years, months=months,
                  lines=lines, stock=outlook.stock(db()).to_dict("records"), bought=outlook.bought(db()).to_dict("records"), problem=problem, can_load=may("load_sales"))


@bp.post("/sales/load")
def load() -> Response | tuple[str, int]:
    sent = request.files.get("file")
    try:
        if sent is None or not sent.filename:
            raise Problem("no_file", where="file")
        take = {"stock": outlook.load_stock, "bought": outlook.load_bought}.get(request.form.get("what", ""), outlook.load_sales)
        take(db(), sent.read(), sent.filename, g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return redirect(url_for("sales.page"), 303)
