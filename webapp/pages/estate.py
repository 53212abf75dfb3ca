"""The whole estate on one page: what stands by planting year and zone, what is ripe and waits, what is passing, whom nobody has visited."""

from __future__ import annotations

from datetime import date
from typing import Any

from flask import Blueprint, request

from .. import clock
from ..crop import holding_service as holding
from ..crop.holding_service import ALL
from ..land import service as land
from .access import db
from .charts import ramp
from .conditions import CODES, doubted, letter, read_plots, word
from .first import first_page
from .layout import render, words
from .picture_planted import planted_bars, planted_rows
from .resting import estimates

bp = Blueprint("estate", __name__)
SHOWN = {"tonnes": "mass_t", "plants": "plants", "ripe": "ripe_t", "passing": "passing_t", "area": "area_ha"}
MOST_UNVISITED = 12


@bp.get("/estate")
def page() -> str:
    if (first := first_page()) is not None:
        return first
    ripe, tonnes, crop, stale = estimates()
    if not crop.meta["plots"]:
        return render("estate.html", title=words("pages.estate.title_none"), found=None, stale=stale)
    found = holding.now(db(), crop, ripe, tonnes)
    if not found["n"]:
        return render("estate.html", title=words("pages.estate.title_to_come", n=found["to_come"]), found=None, stale=stale)
    show = request.args.get("show", "tonnes")
    show = show if show in SHOWN else "tonnes"
    whole, measured = found["cells"][(ALL, ALL)], bool(read_plots(ripe).any())
    frame = land.plots(db())
    return render(
        "estate.html", measured=measured, doubted=doubted(ripe), title=words("pages.estate.title" if measured else "pages.estate.title_unmeasured", mass_t=whole["mass_t"].value, n=found["n"], ripe_t=whole["ripe_t"].value), found=found, whole=whole, stale=stale, show=show, choices=list(SHOWN),
        rows=[(year, [found["cells"].get((year, zone)) for zone in found["zones"]] + [found["cells"][(year, ALL)]]) for year in found["years"]],
        foot=[found["cells"][(ALL, zone)] for zone in found["zones"]] + [whole], measure=SHOWN[show], scale=1000 if show == "plants" else 1, pictures=_pictures(found),
        passing=_passing(found, ripe, crop, frame), unvisited=_unvisited(ripe, frame), never_young=_never_young(ripe), passing_n=len(found["passing"]))


def _pictures(found: dict) -> tuple[str, str]:
    """The strip of planting years for a desk, and lying for a phone."""
    names = {year: str(year) if year else words("pages.map.unknown_year") for year in found["years"]}
    bars = []
    for year in found["years"]:
        cell = found["cells"][(year, ALL)]
        share = cell["ripe_t"].value / max(cell["mass_t"].value, 1e-9)
        bars.append({"name": names[year], "mass_t": cell["mass_t"].value, "low": cell["mass_t"].low, "high": cell["mass_t"].high, "tone": ramp(share), "share": words("pages.estate.ripe_percent", percent=100 * share),
                     "about": (words("pages.estate.plots", n=cell["n"]), words("pages.estate.ha", area_ha=cell["area_ha"].value))})
    said = {"title": words("pages.estate.picture"), "desc": words("pages.estate.picture_desc")}
    return planted_bars("planted", bars, said), planted_rows("planted-lying", bars, said)


def _passing(found: dict, ripe: Any, crop: Any, frame: Any) -> list[dict]:
    """Plots past their peak, most tonnes first, with what is lost already."""
    out = []
    for code in found["passing"][:MOST_UNVISITED]:
        i, j = ripe.meta["plots"].index(code), crop.meta["plots"].index(code)
        out.append({"code": code, "name": frame.at[code, "name"], "planted_on": frame.at[code, "planted_on"], "read": ripe.meta["by_plot"][code]["n_visits"] > 0, "doubted": ripe.meta["by_plot"][code].get("n_doubted", 0), "mass_t": float(crop.arrays["tonnes"][j, 0]),
                    "low": float(crop.arrays["tonnes_lo"][j, 0]), "high": float(crop.arrays["tonnes_hi"][j, 0]), "lost": 1 - float(ripe.arrays["keep_share"][i, 0])})
    return out


def _unvisited(ripe: Any, frame: Any) -> list[dict]:
    """Plots past young by weeks since their last round; those never sampled first, those still to be planted left out."""
    today, out = clock.of(db()).today(), []
    for i, code in enumerate(ripe.meta["plots"]):
        kind = CODES[int(ripe.arrays["condition"][i, 0])]
        if kind == "T" or ripe.meta["by_plot"][code]["age_months"] < 0:
            continue
        last = ripe.meta["by_plot"][code]["last_visit"]
        out.append({"code": code, "name": frame.at[code, "name"], "planted_on": frame.at[code, "planted_on"], "last": last, "doubted": ripe.meta["by_plot"][code].get("n_doubted", 0), "weeks": (today - date.fromisoformat(last)).days // 7 if last else None, "letter": letter(ripe.arrays["condition"][i, 0], bool(last)), "word": word(ripe.arrays["condition"][i, 0], bool(last)),
                    "tone": ramp(float(ripe.arrays["share"][i, 0])), "share": float(ripe.arrays["share"][i, 0]), "low": float(ripe.arrays["share_lo"][i, 0]), "high": float(ripe.arrays["share_hi"][i, 0])})
    return sorted(out, key=lambda row: (row["weeks"] is not None, -(row["weeks"] or 0), row["code"]))[:MOST_UNVISITED]


def _never_young(ripe: Any) -> int:
    """Young plots that nobody has sampled: no hurry, but counted (those still to be planted have nothing to sample)."""
    return sum(CODES[int(c)] == "T" and ripe.meta["by_plot"][code]["age_months"] >= 0 and not ripe.meta["by_plot"][code]["last_visit"] for code, c in zip(ripe.meta["plots"], ripe.arrays["condition"][:, 0]))

