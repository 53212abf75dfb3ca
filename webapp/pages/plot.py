"""One plot: the curve with its readings, what it rests on and why, its field work, its loads, its outline."""

from __future__ import annotations

from datetime import timedelta

from flask import Blueprint, g

from .. import clock, settings
from ..cutting import service as cutting
from ..land import service as land
from ..ripeness import service as ripeness
from ..sentences import LOCALES
from ..survey import service as survey
from ..tonnage import service as tonnage
from ..weeks import monday_of
from .access import db
from .conditions import letter, word
from .layout import render, words
from .picture_curve import brix_curve
from .resting import estimates

bp = Blueprint("plot", __name__)
PAST_DAYS = 30 * 30


@bp.get("/plots/<code>")
def page(code: str) -> str:
    about = land.plot(db(), code)
    ripe, tonnes, crop, stale = estimates()
    context: dict = {"about": about, "code": code, "stale": stale, "loads": _loads(code), "labors": _labors(code), "outlines": land.outline_versions(db(), code)}
    if about["status"] != "standing":
        return render("plot_cut.html", title=words("pages.plot.title_cut", name=about["name"], code=code), **context)
    if code not in ripe.meta["plots"] or code not in crop.meta["plots"] or code not in tonnes.meta["by_plot"]:
        return render("plot_cut.html", title=words("pages.plot.title_new", name=about["name"], code=code), **context)
    now = ripeness.plot_now(db(), code)
    at = crop.meta["plots"].index(code)  # each answer has its own plots: one may be older than another
    today = clock.of(db()).today()
    values = settings.load(db())
    readings = survey.readings(db())
    mine = readings[readings["plot"] == code]
    mine = mine[mine["day"] >= today - timedelta(days=PAST_DAYS)]
    first = min([*mine["day"], today])
    days = [today + timedelta(days=10 * k) for k in range(-((today - first).days // 10) - 3, 74)]
    drawn = ripeness.plot_curve(db(), code, days)
    window = now["window"]
    context |= {
        "now": now, "condition": letter(now["condition"][0]), "condition_word": word(now["condition"][0]), "window": window,
        "curve": brix_curve(
            "curve", days, drawn["mean_deg"], drawn["lo80"], drawn["hi80"], drawn["lo95"], drawn["hi95"], drawn["share"], [letter(c) for c in drawn["condition"]],
            [(d, float(b)) for d, b in zip(mine["day"], mine["brix20_deg"]) if b == b], values["target_brix_deg"], today,
            {"title": words("pages.plot.curve"), "desc": words("pages.plot.curve_desc", n=len(mine)), "today": words("pages.plot.today"),
             "target": words("pages.plot.target", target=values["target_brix_deg"]), "july": words("pages.plot.july")}),
        "tonnage": tonnes.meta["by_plot"][code], "mass_t": float(crop.arrays["tonnes"][at, 0]),
        "mass_lo": float(crop.arrays["tonnes_lo"][at, 0]), "mass_hi": float(crop.arrays["tonnes_hi"][at, 0]),
        "rounds": _rounds(mine), "help": ripeness.what_one_more_visit(db(), code), "weeks": now["weeks"][:26],
        "why_not": cutting.explain(db(), None, code), "next_cuts": cutting.cuts_of(db(), code), "has_plan": cutting.plan(db()) is not None, "balance": tonnage.balance_sentence(db(), code),
    }
    return render("plot.html", title=_headline(about, now), **context)


def _headline(about: dict, now: dict) -> str:
    """What the window says, in months a person would use."""
    from babel.dates import format_date

    if not now["window"]:
        return words("pages.plot.title_later", name=about["name"], word=word(now["condition"][0]))
    first, last = (monday_of(w) if w else None for w in now["window"])
    soon = first <= clock.of(db()).today()
    month = lambda day: format_date(day, "MMMM 'de' y" if g.language == "es" else "MMMM y", locale=LOCALES[g.language])  # noqa: E731
    if last is None:
        return words("pages.plot.title_from", name=about["name"], word=word(now["condition"][0]), first=month(first))
    if soon:
        return words("pages.plot.title_now", name=about["name"], word=word(now["condition"][0]), last=month(last))
    return words("pages.plot.title", name=about["name"], word=word(now["condition"][0]), first=month(first), last=month(last))


def _rounds(mine) -> list[dict]:
    """Visits, newest first: day, plants, mean at 20 °C, instrument, juice temperature, source of the correction."""
    out = []
    for (day, name), part in mine.groupby(["day", mine["round"].fillna("")]):
        out.append({"day": day, "round": name, "n": len(part), "mean": float(part["brix20_deg"].mean()), "raw": float(part["brix_raw_deg"].mean()),
                    "temp": float(part["juice_temp_c"].mean()) if part["juice_temp_c"].notna().any() else None,
                    "instrument": next((v for v in part["instrument"] if isinstance(v, str)), ""), "tag": part["brix_tag"].iloc[0], "readings": part[["id", "row", "plant", "brix_raw_deg", "juice_temp_c", "brix20_deg"]].to_dict("records")})
    return sorted(out, key=lambda r: r["day"], reverse=True)


def _loads(code: str) -> list[dict]:
    loads = survey.loads(db())
    return loads[loads["plot"] == code].sort_values("day", ascending=False).head(30).to_dict("records")


def _labors(code: str) -> list[dict]:
    out = []
    for frame, kind in ((survey.labors(db()), "labor"), (survey.losses(db()), "loss"), (survey.remarks(db()), "remark")):
        out += [{**row, "kind": kind} for row in frame[frame["plot"] == code].to_dict("records")]
    return sorted(out, key=lambda row: row["day"], reverse=True)


