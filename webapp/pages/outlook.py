"""How much to plant: the answer first, then how sure, the picture of years, three cases, and what people's rules bring."""

from __future__ import annotations

from flask import Blueprint, Response, g, redirect, url_for

from .. import answers, jobs, settings
from ..config import BY_NAME
from ..outlook import service as outlook
from ..sentences import Sentence
from .access import db, may
from .first import no_land
from .layout import render, words
from .picture_years import years_bars, years_rows

bp = Blueprint("outlook", __name__)


@bp.get("/outlook")
def page() -> str:
    found = answers.latest(db(), "outlook")
    job = next(iter(jobs.pending(db(), "outlook")), None)
    if found is None:
        return render("outlook.html", title=words("pages.outlook.title_none"), meta=None, job=job, can_make=may("make_outlook"), empty=no_land())
    meta = found.meta
    supply, demand, head = meta["supply"], meta["demand"], meta["headline"]
    said = [Sentence(s["code"], s["params"]) for s in meta["said"]]
    drawn = (meta["years"], supply["standing_t"], supply["to_plant_t"], supply["lo80_t"], supply["hi80_t"], demand["mean_t"], demand["lo80_t"], demand["hi80_t"],
             {"title": words("pages.outlook.picture"), "desc": words("pages.outlook.picture_desc"), "need": words("pages.outlook.need")})
    values = settings.load(db())
    assumed = [{"name": name, "value": values[name], "unit": BY_NAME[name].unit, "changed": values.changed(name)} for name in meta["assumptions"] if name in BY_NAME]
    same = next(r for r in meta["rules"] if r["rule"] == "same")
    return render("outlook.html", title=words("pages.outlook.title", area_ha=head["area_ha_rounded"], year=head["year"]), meta=meta, head=head, said=said[1:], pictures=(years_bars("years", *drawn), years_rows("years-lying", *drawn)), job=job,
                  can_make=may("make_outlook"), stale=outlook.stale(db(), found), made_at=found.made_at, assumed=assumed, same=same, cases=[(case, _case_name(case, meta)) for case in (*meta["cases"], *meta["markets"])])


def _case_name(case: dict, meta: dict) -> str:
    if case in meta["markets"]:
        return words("outlook.case.stopped", market=case["case"])
    if case["case"] in ("trend", "grow", "flat", "fall"):
        return words(f"outlook.case.{case['case']}", percent=100 * abs(case["per_year"] or 0))
    return case["case"]


@bp.post("/outlook/make")
def make() -> Response:
    jobs.ask(db(), "outlook", g.person.name)
    return redirect(url_for("outlook.page"), 303)
