"""Every plot in one list: how ripe, how sure, when to cut."""

from __future__ import annotations

from flask import Blueprint, request

from .. import settings
from ..answers import Answer
from ..land import service as land
from ..ripeness import readiness, thin_service, why
from ..ripeness import service as ripeness
from ..sentences import Sentence
from .access import db
from .charts import ramp
from .conditions import CODES, letters, little_known, read_plots, word
from .layout import render, words
from .resting import estimates

bp = Blueprint("ripeness", __name__)
SHOWN = 26


@bp.app_context_processor
def _thin() -> dict:
    """``thin_said()`` for templates: what the answer's data are too thin for (asked only where a page shows it)."""
    def thin_said(code: str | None = None) -> list[Sentence]:
        return thin_service.told(db(), ripeness.answer(db()), code)

    return {"thin_said": thin_said}


@bp.get("/ripeness")
def page() -> str:
    ripe, _, crop, stale = estimates()
    plots = land.plots(db()).loc[ripe.meta["plots"]]
    zone, condition, year = (request.args.get(name, "") for name in ("zone", "condition", "year"))
    planted = {code: str(d.year) if d else "–" for code, d in plots["planted_on"].items()}
    wide, read, a = little_known(ripe), read_plots(ripe), ripe.arrays
    rows, letter = [], letters()
    told = zip(*(plots[name].tolist() for name in ("name", "zone", "planted_on")))
    for i, (code, (name, of_zone, planted_on)) in enumerate(zip(ripe.meta["plots"], told)):
        kind = CODES[int(a["condition"][i, 0])]
        if (zone and of_zone != zone) or (condition and kind != condition) or (year and planted[code] != year):
            continue
        about = ripe.meta["by_plot"][code]
        rows.append({
            "code": code, "name": name, "zone": of_zone, "planted_on": planted_on, "kind": kind,
            "letter": letter[int(read[i])][a["condition"][i, 0]], "word": word(a["condition"][i, 0], read[i]), "tone": ramp(float(a["share"][i, 0])), "wide": bool(wide[i, 0]),
            "mean": float(a["mean_deg"][i, 0]), "lo": float(a["lo80"][i, 0]), "hi": float(a["hi80"][i, 0]), "share": float(a["share"][i, 0]),
            "share_lo": float(a["share_lo"][i, 0]), "share_hi": float(a["share_hi"][i, 0]), "chance": float(a["chance"][i, 0]),
            "window": about["window"], "window_said": why.window_short(about.get("window_kind"), about["window"], ripe.meta["weeks"][0]), "visits": about["n_visits"], "last": about["last_visit"], "mass_t": float(crop.arrays["tonnes"][i, 0]),
            "strip": [(ramp(s), letter[int(read[i])][c]) for s, c in zip(a["share"][i, :SHOWN:2].tolist(), a["condition"][i, :SHOWN:2].tolist())]})
    order = request.args.get("by", "share")
    keys = {"share": lambda r: -r["share"], "name": lambda r: r["name"].lower(), "age": lambda r: (r["planted_on"] is None, r["planted_on"] or 0),
            "visit": lambda r: (r["last"] is not None, r["last"] or "")}
    rows.sort(key=keys.get(order, keys["share"]))
    threshold = settings.load(db())["ripe_share_to_cut"]
    today, maybe = readiness.ripe_and_maybe(a["share"][:, 0], read, threshold)
    soon = (a["share"][:, :14] >= threshold).any(axis=1) & ~today & ~maybe
    return render("ripeness.html", rows=rows, stale=stale, zones=sorted({z for z in plots["zone"].dropna()}), zone=zone, condition=condition, order=order, year=year, years=sorted(set(planted.values())),
                  weeks=ripe.meta["weeks"][:SHOWN:2],
                  title=_title(int(today.sum()), int(maybe.sum()), int(soon.sum()), read.any(), ripe))


def _title(n: int, maybe: int, soon: int, measured: bool, ripe: Answer) -> str:
    """What is ripe; apart, what may be and nobody has read."""
    of = len(ripe.meta["plots"])
    if not measured and of:
        return words("pages.ripeness.title_unmeasured", n=maybe, of=of)
    return words("pages.ripeness.title_maybe" if maybe else "pages.ripeness.title", n=n, of=of, maybe=maybe, soon=soon, week=ripe.meta["weeks"][13])

