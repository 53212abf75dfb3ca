"""Track record: what was said, held against what came; and an honest count where there is too little to judge by."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, g, redirect, request, url_for

from .. import jobs
from ..crop import track_service as track
from ..land import service as land
from ..tonnage import service as tonnage
from .access import db, may
from .first import first_page
from .layout import render, words
from .picture_chance import chance_dots
from .picture_track import calibration_bars
from .resting import must_be_reckoned

bp = Blueprint("track", __name__)


@bp.get("/track")
def page() -> str:
    if (first := first_page()) is not None:
        return first
    must_be_reckoned()
    only = request.args.get("from") == "said"
    found = track.record(db(), only_said=only)
    whole, job = found["brix"]["all"], next(iter(jobs.pending(db(), "replay")), None)
    title = words("pages.track.title", share=100 * whole["cover80"]["value"]) if whole["enough"] else words("pages.track.title_few", n=whole["outcomes"], needed=whole["needed"])
    return render("track.html", title=title, found=found, taught=tonnage.learned(db()), whole=whole, verdicts={"brix": _verdict(whole, found["brix"]["calibration"]), "mass": _verdict(found["mass"]["all"], found["mass"]["calibration"]), "art": _verdict(found["art"], found["art"]["calibration"])}, best=_best(whole), only=only, job=job, names=land.plots(db())["name"].to_dict(),
                  brix_rows=_rows(found["brix"]), mass_rows=_rows(found["mass"]), lately=track.lately(whole, found["brix"]["latest"]), pictures=_pictures(found["brix"]["calibration"]), chance_picture=_chances(found["chance"]), chance_rows=_chance_rows(found["chance"]),
                  can_replay=may("change_settings") and not job, n_replayable=len(track.replay_days(db())), replayed_days=sum(d["said_from"] == "replayed" for d in found["days"]),
                  mass_percent=_percent(found["mass"]["all"]), tonnes_rows=_tonnes_rows(found["tonnes"]), tonnes_verdict=_verdict(found["tonnes"]["all"]))


@bp.post("/track/replay")
def replay() -> Response:
    jobs.ask(db(), "replay", g.person.name)
    return redirect(url_for("track.page"), 303)


def _rows(part: dict) -> list[tuple[str, dict]]:
    """Horizons, then all together, each with its name."""
    return [(words("pages.track.weeks", n=int(w)), judged) for w, judged in part["by_weeks"].items()] + [(words("pages.track.together"), part["all"])]


def _chance_rows(part: dict) -> list[tuple[str, dict]]:
    return [(words("pages.track.weeks", n=int(w)), told) for w, told in part["by_weeks"].items()] + [(words("pages.track.together"), part["all"])]


def _tonnes_rows(part: dict) -> list[tuple[str, dict, dict, dict | None]]:
    """Horizons, then all together: (name, judged, sums, bias in per cent where there are enough)."""
    rows = [(words("pages.track.weeks", n=int(w)), judged, part["sums"][w], _percent(judged)) for w, judged in part["by_weeks"].items()]
    return [*rows, (words("pages.track.together"), part["all"], part["sums"]["all"], _percent(part["all"]))]


def _chances(found: dict) -> str | None:
    if not found["enough"]:
        return None
    return chance_dots("chance", found, {"title": words("pages.track.chance_picture"), "desc": words("pages.track.chance_desc", n=found["n"], held=found["held"], judged=found["judged"]),
                                         "up": words("pages.track.chance_up"), "along": words("pages.track.chance_along")})


def _verdict(judged: dict, calibration: dict | None = None) -> str:
    """In words: whether the 80 % intervals tell the truth as far as can be seen; where their coverage alone does not decide, the picture of where outcomes fell does."""
    if not judged["enough"]:
        return ""
    cover = judged["cover80"]
    kind = "wide" if cover["low"] > 0.8 else "narrow" if cover["high"] < 0.8 else "true"
    if kind == "true" and calibration and calibration["shape"] in ("wide", "narrow"):
        kind = calibration["shape"]
    return words(f"pages.track.verdict_{kind}") + (" " + words("pages.track.few_days", n=judged["days"]) if judged["few_days"] else "")


def _best(judged: dict) -> tuple[str, dict] | None:
    """The plain rule hardest to beat."""
    return min(judged["rules"].items(), key=lambda item: item[1]["crps"]) if judged["enough"] and judged["rules"] else None


def _percent(judged: dict) -> dict[str, float] | None:
    """Bias of a log as per cent."""
    from math import exp

    return {name: 100 * (exp(value) - 1) for name, value in judged["bias"].items()} if judged["enough"] else None


def _pictures(found: dict | None) -> tuple[str, str] | None:
    """For a desk, and narrow for a phone."""
    if found is None:
        return None
    said: dict[str, Any] = {"title": words("pages.track.picture"), "desc": words("pages.track.picture_desc", n=found["n"], low=found["low"], high=found["high"]),
                            "low": words("pages.track.picture_low"), "high": words("pages.track.picture_high"), "expected": words("pages.track.picture_expected")}
    return calibration_bars("even", found, said), calibration_bars("even-narrow", found, said, width=340)
