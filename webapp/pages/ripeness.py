"""Every plot in one list: how ripe, how sure, when to cut."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, request

from .. import settings
from ..answers import Answer
from ..land import service as land
from ..ripeness import first_ripe, readiness, thin_service, why
from ..ripeness import service as ripeness
from ..sentences import Sentence
from . import planted_list
from .access import db
from .charts import ramp
from .conditions import CODES, doubted, letters, little_known, read_plots, to_come, word
from .first import first_page
from .layout import n0, render, words
from .map_words import ripe_cell
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
    if (first := first_page()) is not None:
        return first
    ripe, _, crop, stale = estimates()
    plots = land.plots(db()).loc[ripe.meta["plots"]]
    zone, condition, year = (request.args.get(name, "") for name in ("zone", "condition", "year"))
    planted = {code: str(d.year) if d else "–" for code, d in plots["planted_on"].items()}
    wide, read, a = little_known(ripe), read_plots(ripe), ripe.arrays
    coming, codes = to_come(ripe), ripe.meta["plots"]
    kinds = ["" if later else CODES[int(c)] for c, later in zip(a["condition"][:, 0], coming)]
    names, zones, days = ([value for value in plots[column].tolist()] for column in ("name", "zone", "planted_on"))
    matching = [i for i, code in enumerate(codes) if (not zone or zones[i] == zone) and (not condition or kinds[i] == condition) and (not year or planted[code] == year)]
    order = request.args.get("by", "share")
    last = [ripe.meta["by_plot"][code]["last_visit"] for code in codes]
    keys = {"share": lambda i: -float(a["share"][i, 0]), "name": lambda i: names[i].lower(), "age": lambda i: (not days[i], days[i] or 0), "visit": lambda i: (last[i] is not None, last[i] or "")}
    matching.sort(key=keys.get(order, keys["share"]))
    one = request.args.get("list") == planted_list.ONE
    shown = planted_list.arranged(matching, lambda i: planted[codes[i]], one or bool(year))
    letter, values = letters(), settings.load(db())
    threshold = values["ripe_share_to_cut"]
    early, late = first_ripe.interval(a["share_lo"], a["share_hi"], threshold)

    def row(i: int) -> dict[str, Any]:
        about, known, kind = ripe.meta["by_plot"][codes[i]], int(read[i]), a["condition"][i, 0]
        return {"code": codes[i], "name": names[i], "zone": zones[i], "planted_on": days[i], "letter": letter[known][kind], "word": word(kind, read[i]), "tone": ramp(float(a["share"][i, 0])), "wide": bool(wide[i, 0]),
                "mean": float(a["mean_deg"][i, 0]), "lo": float(a["lo80"][i, 0]), "hi": float(a["hi80"][i, 0]), "share": float(a["share"][i, 0]),
                "share_lo": float(a["share_lo"][i, 0]), "share_hi": float(a["share_hi"][i, 0]), "chance": float(a["chance"][i, 0]),
                "window": about["window"], "window_said": why.window_short(about.get("window_kind"), about["window"], ripe.meta["weeks"][0]), "first": first_ripe.short(int(early[i]), int(late[i]), ripe.meta["weeks"]) if early[i] != first_ripe.NEVER else None, "last": last[i], **{name: float(crop.arrays[f"tonnes{end}"][i, 0]) for name, end in (("mass_t", ""), ("mass_lo", "_lo"), ("mass_hi", "_hi"))},
                "coming": bool(coming[i]), "strip": [(ramp(s), letter[known][c]) for s, c in zip(a["share"][i, :SHOWN:2].tolist(), a["condition"][i, :SHOWN:2].tolist())]}

    today, maybe = readiness.ripe_and_maybe(a["share"][:, 0], read, threshold)
    soon = (a["share"][:, :14] >= threshold).any(axis=1) & ~today & ~maybe

    def sums(members: list[int]) -> list[str]:
        """Plots, ripe (and maybe), ripe before the quarter ends, tonnes, never sampled: a year's line while it is closed."""
        return [n0(len(members)), ripe_cell(today[members].sum(), maybe[members].sum()), n0(soon[members].sum()), n0(float(crop.arrays["tonnes"][members, 0].sum())), n0((~read & ~coming)[members].sum())]

    return render("ripeness.html", limits=(values["near_share"], threshold), shown=shown, row=row, sums=sums, matching=matching, stale=stale, zones=sorted({z for z in zones if isinstance(z, str)}), zone=zone, condition=condition, order=order, year=year, one=one, years=sorted(set(planted.values())),
                  weeks=ripe.meta["weeks"][:SHOWN:2], by=ripe.meta["weeks"][13],
                  title=_title(int(today.sum()), int(maybe.sum()), int(soon.sum()), read.any(), ripe, int((~coming).sum())))


def _title(n: int, maybe: int, soon: int, measured: bool, ripe: Answer, of: int) -> str:
    """What is ripe ``of`` the plots that stand; apart, what may be and nobody has read."""
    so = "_doubted" if doubted(ripe) else ""
    if not measured and of:
        return words(f"pages.ripeness.title_unmeasured{so}", n=maybe, of=of)
    return words(f"pages.ripeness.title_maybe{so}" if maybe else "pages.ripeness.title", n=n, of=of, maybe=maybe, soon=soon, week=ripe.meta["weeks"][13])

