"""One plot: the curve with its readings, why its word is what it is, what a visit or a correction changes, and all that was done in it."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from flask import Blueprint, Response, current_app, g, url_for

from .. import clock, settings
from ..crop import came_service, tie_service, track_service
from ..cutting import plot_service as cutting_of
from ..cutting import service as cutting
from ..land import service as land
from ..ripeness import plot_service, rare, stand_service, why
from ..ripeness.track import LEAST_PAIRS
from ..sentences import format_share
from ..survey import service as survey
from ..tonnage import service as tonnage
from . import plot_changed, plot_head, plot_log, plot_rounds, plot_said
from .access import db, may
from .conditions import LITTLE_KNOWN, letter, word
from .layout import render, words
from .picture_curve import Curve, brix_curve
from .picture_shares import own_bar, share_strip
from .resting import estimates, known_doubts

bp = Blueprint("plot", __name__)
PAST_DAYS, LEAST_PAST_DAYS, SHOWN = 4 * 366, 365, 26


@bp.get("/plots/<path:code>")  # codes kept before slashes were refused in them open too
def page(code: str) -> str:
    about = land.plot(db(), code)
    ripe, tonnes, crop, stale = estimates()
    log, today = plot_log.entries(db(), code, g.language), clock.of(db()).today()
    said, readings = track_service.of_plot(db(), code), survey.readings(db())
    mine = readings[readings["plot"] == code]
    context: dict = {"about": about, "code": code, "stale": stale, "log": [e for e in log if e["day"] <= today], "log_ahead": [e for e in log if e["day"] > today], "log_shown": plot_log.SHOWN, "outlines": land.outline_versions(db(), code), "track": _track(),
                     "said": (told := plot_said.rows(said["brix"])), "leaning": plot_said.leaning(told), "said_kg": plot_said.rows(said["mass"], log=True), "signed": plot_rounds.signed, "doubts": plot_rounds.plot_doubts(known_doubts(), code, set(mine["round"].dropna()), _living)}
    context["came"], context["least_pairs"] = came_service.of_plot(db(), code), LEAST_PAIRS
    context["learned"] = tonnage.learned(db(), code, tonnes)
    if about["status"] != "standing":
        return render("plot_cut.html", title=plot_head.cut_headline(about, code, came_service.last_cut(db(), code)), **context)
    if code not in ripe.meta["plots"] or code not in crop.meta["plots"] or code not in tonnes.meta["by_plot"]:
        return render("plot_cut.html", title=words("pages.plot.title_new", name=about["name"], code=code), **context)
    if plot_head.unplanted(about, today):
        return render("plot_cut.html", title=plot_head.headline(about, {}, None, today), unplanted=tonnage.balance_sentence(db(), code), **context | {"learned": None})  # no piña of it to speak of
    values, heads = settings.load(db()), survey.rounds(db())
    look = plot_service.look(db(), code, _since(about, mine, today))
    now, since = look["now"], look["days"][0]
    left = survey.left_out(db(), code)
    look["held"] = sum(row["why"] == "held" for row in left)
    look["target_deg"], read = values["target_brix_deg"], now["n_visits"] > 0
    rounds = plot_rounds.rounds_of(mine, heads[heads["plot"] == code], left, context["doubts"], look)
    look["states"] = {state: sum(r["state"] == state for r in rounds) for state in ("odd", "doubted")} | {"out": len(plot_rounds.left_points(rounds, since, today))}
    look["lanes"] = plot_log.lanes(log, since, today)
    at = crop.meta["plots"].index(code)  # each answer has its own plots: one may be older than another
    mass, sugar = ({name: [float(v) for v in crop.arrays[f"{what}{end}"][at, :SHOWN]] for name, end in (("t", ""), ("lo", "_lo"), ("hi", "_hi"))} for what in ("tonnes", "sugar_t"))
    look["steps"] = plot_log.steps(stand_service.steps(db(), code, land.plots(db()), today), since, look["days"][-1])
    rest, spans, least = cutting_of.rest(db(), code), cutting_of.spans(db(), code), values["ripe_share_to_cut"]
    limits = (values["near_share"], least)
    context |= {
        "limits": limits, "now": now, "look": look, "measured": bool(ripe.meta.get("n_visits")), "condition": letter(now["condition"][0], read), "condition_word": word(now["condition"][0], read), "window": now["window"], "first_week": plot_head.first_week(now, least), "beside": plot_head.beside(now, look, values, rest, spans, cutting_of.plan_until(db()), mass, sugar, today),
        "window_said": why.window_short(now.get("window_kind"), now["window"], now["weeks"][0]), "letters": [letter(c, read) for c in now["condition"][:SHOWN]],
        "weeks": now["weeks"][:SHOWN], "all_weeks": look["weeks"], "mass": mass, "plants": tonnes.meta["by_plot"][code]["plants"], "rounds": [r for r in rounds if not r["day"] or r["day"] <= today], "rounds_ahead": [r for r in rounds if r["day"] and r["day"] > today], "atc_words": plot_rounds.atc_words,
        "changed": plot_changed.changed(code, now, least, limits), "curves": _curves(code, look, rounds, log, since, today, values["target_brix_deg"], about), "strips": _strips(code, now, mass, limits), "past": _past(look), "brix50": list(zip(*((now["mean_deg"] + side * now["sd_deg"]).tolist() for side in rare.ends(0.5, now["rare_part"])))),
        "own": own_bar("own", 1 - now["borrowed_share"], words("pages.plot.own_title"), words("pages.plot.own_desc", own=1 - now["borrowed_share"], lent=now["borrowed_share"])),
        "why_not": cutting.explain(db(), None, code, dict(zip(now["weeks"], map(float, now["share"])))), "next_cuts": cutting.cuts_of(db(), code), "has_plan": cutting.plan(db()) is not None, "balance": tonnage.balance_sentence(db(), code), "plants_more": [*tonnage.plant_sentences(db(), code), *filter(None, [tie_service.sentence(crop, code)])]}
    return render("plot.html", title=plot_head.headline(about, now, rest, today, look["hangs"], look["more"]["worth"]), **context)


@bp.get("/plots/<code>/photos/<digest>")
def photo(code: str, digest: str) -> Response:
    found = survey.photo(db(), digest)
    return Response(found["bytes"], content_type=found["media"], headers={"Cache-Control": "private, max-age=86400"})


def _living() -> set[str]:
    """Identifiers of all records in force, and of the rounds they belong to."""
    return {name for rows in survey.in_force(db()).values() for row in rows for name in (row.id, row.round)}


def _since(about: dict, mine, today: date) -> date:
    """Where the picture begins: at the first visit within four years, a year ago at the latest, never before planting."""
    first = max(min([*mine["day"], today - timedelta(days=LEAST_PAST_DAYS)]), today - timedelta(days=PAST_DAYS)) - timedelta(days=21)
    return min(max(first, about["planted_on"] or first), today - timedelta(days=7))


def _curves(code: str, look: dict, rounds: list[dict], log: list[dict], since: date, today: date, target_deg: float, about: dict) -> list[str]:
    """The same picture for a desk, where rounds can be pointed at, and for a telephone."""
    c, first, read = look["curve"], look["first"], look["now"]["n_visits"] > 0
    at = np.r_[np.arange(first), np.arange(first, len(look["days"]), 2)]  # every other week ahead is enough for the eye
    curve = Curve([look["days"][i] for i in at], c["mean_deg"][at], c["sd_deg"][at], c["share"][at], [letter(v, read) for v in c["condition"][at]], c["rare_part"][at])
    shown, out = plot_rounds.drawn(rounds, since), plot_rounds.left_points(rounds, since, today)
    said = {"title": words("pages.plot.curve"), "desc": words("pages.plot.curve_desc", name=about["name"], rounds=len(shown), n=sum(len(r.values) for r in shown)), "today": words("pages.plot.today"),
            "target": words("pages.plot.target", target=target_deg), "july": words("pages.plot.july"), "hint": words("pages.plot.hint")}
    marks = plot_log.marks(log, since, today)
    return [brix_curve(f"curve-{width}", curve, shown, out, marks, target_deg, today, said, width, live, look["steps"]) for width, live in ((860, True), (400, False))]


def _strips(code: str, now: dict, mass: dict, limits: tuple[float, float]) -> list[tuple[str, str]]:
    weeks, share = now["weeks"][:SHOWN], [float(v) for v in now["share"][:SHOWN]]
    read = now["n_visits"] > 0
    wide = [float(h - low) > LITTLE_KNOWN for low, h in zip(now["share_lo"][:SHOWN], now["share_hi"][:SHOWN])]

    def label(i: int) -> str:
        return words("pages.plot.week_label", week=weeks[i], word=word(now["condition"][i], read), share=format_share(share[i], limits), low=float(now["share_lo"][i]), high=float(now["share_hi"][i]), chance=float(now["chance"][i]), mass_t=mass["t"][i])

    return [(kind, share_strip(f"shares-{kind}", weeks, share, wide, [letter(c, read) for c in now["condition"][:SHOWN]], words("pages.plot.weeks_strip"), words("pages.plot.weeks_strip_desc"),
                               lambda week: url_for("map.page", week=week), label, width, rows, limits)) for kind, width, rows in (("desk-only", 860, 1), ("phone-only", 400, 3))]


def _past(look: dict) -> list[dict]:
    """What the curve says of the past, about a row a month, oldest first."""
    c, days = look["curve"], look["days"]
    step = max(1, round(30 / max((days[1] - days[0]).days, 1)))
    return [{"day": days[i], "mean": float(c["mean_deg"][i]), "ends": [[float(c["mean_deg"][i] + side * c["sd_deg"][i]) for side in rare.ends(level, c["rare_part"][i])] for level in rare.LEVELS], "share": float(c["share"][i]), "letter": letter(c["condition"][i], bool(look["now"]["n_visits"]))} for i in range(0, look["first"], step)]


def _track() -> str | None:
    """Address of the estate's track record, where there is one and the person may see it."""
    from ..people import permissions

    need = permissions.ROUTES.get("track.page")
    return url_for("track.page") if "track.page" in current_app.view_functions and need and may(need) else None
