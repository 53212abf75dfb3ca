"""The map by week and layer: how ripe each plot is, how likely, how many tonnes, how long unvisited, how sick; with the list that says the same."""

from __future__ import annotations

import gzip
import json
from collections import Counter
from functools import lru_cache
from hashlib import sha256
from typing import Any

import numpy as np
from flask import Blueprint, Response, abort, g, request, url_for
from markupsafe import Markup

from .. import settings
from ..crop import worth_service as worth
from ..crop.visits_worth import WORK
from ..weeks import monday_of
from . import map_packed, map_words, maps, planted_list
from .access import db
from .assets import asset
from .layout import render, words
from .map_figures import Figures, figures
from .picture_weeks import weeks_strip
from .resting import estimates

bp = Blueprint("map", __name__)
PARTS = ("plots", "weeks")
VISITS_UP_TO, VISITS_LISTED = 1000, 5
"""Plots up to which the visits worth most stand beside the map; weighing them takes seconds in a region, and they have a page of their own."""
TO_COME = 70
"""State of a plot that is not planted by a week: the first number beyond tones, conditions and hatching."""
SCRIPTS = ("data", "layers", "marks", "paint", "views", "list", "visits", "weeks")


@lru_cache(maxsize=8)
def _drawn(*addresses: str) -> tuple[str, str]:
    """(element, script) of folium's map; the same addresses give the same text, so it is made once."""
    return maps.parts(maps.plots_map(*addresses))


def _folium() -> tuple[str, str]:
    values = settings.load(db())
    return _drawn(asset("leaflet/leaflet.js"), asset("leaflet/leaflet.css"), url_for("map.data", part="plots"), url_for("map.data", part="weeks"), values["tile_address"], values["tile_credit"])


def _asked() -> tuple[Figures, Any, str, str, int]:
    """(figures, crop answer, what is old, layer, week number) of this request; an unknown layer or week is the first."""
    ripe, _, crop, stale = estimates()
    f = figures(db(), ripe, crop)
    layer, week = request.args.get("layer", ""), request.args.get("week", "")
    return f, crop, stale, layer if layer in map_words.LAYERS else map_words.LAYERS[0], f.weeks.index(week) if week in f.weeks else 0


@bp.get("/map")
def page() -> str:
    f, crop, stale, layer, at = _asked()
    address = lambda week=None, which=None: url_for("map.page", week=week or f.weeks[at], layer=which or layer)  # noqa: E731
    strip = weeks_strip("weeks", f.weeks, [float(v) for v in crop.arrays["ripe_total"][: len(f.weeks)]], f.weeks[at], words("pages.map.strip"), words("pages.map.strip_desc"),
                        lambda w: address(week=w), lambda w, v: words("pages.map.week_label", week=w, mass_t=v))
    visits = _visits(f) if len(f.codes) <= VISITS_UP_TO else None
    years, cells = map_words.by_year(f, layer)
    return render("map.html", title=map_words.title(f, layer, at), strip=strip, map_html=_folium()[0], layer=layer, layers=[(name, address(which=name)) for name in map_words.LAYERS],
                  columns=map_words.columns(layer), years=list(zip(years, cells[at])), week=f.weeks[at], at=at, monday=monday_of(f.weeks[at]), mondays=[monday_of(w) for w in f.weeks],
                  visits=visits and {**visits, "shown": _visit_rows(f, visits, at), "heading": visits["title"].replace("[week]", f.weeks[at])}, visits_said=Markup(_json(visits)), stale=stale, said=Markup(_said(f)), measured=bool(f.read.any()) or not f.codes, doubted=f.doubted, legends={name: map_words.legend(name) for name in map_words.STEPS},
                  unknown_week=_unknown_week(f), scripts=SCRIPTS, parts=PARTS, has_cut=bool(f.cut), has_to_come=bool(f.to_come.any()), tag=f.tag,
                  zones=sorted(Counter(f.zones).items()), hatched=_hatched(f, layer, at), empty=not f.codes and not f.cut)


def _hatched(f: Figures, layer: str, at: int) -> dict[str, Any]:
    """The line that names the plots hatched on the map: the first of them, how many there are, and where all of them stand."""
    these = map_words.hatched(f, layer, at)
    return {"n": len(these), "words": map_words.hatched_words(layer, len(these)) if these else "", "more": words("pages.map.and_more").replace("[n]", f"{len(these) - map_words.NAMED_BELOW:,}"),
            "plots": [(f.codes[i], map_words.named(f, i), url_for("map.page", week=f.weeks[at], layer=layer, plot=f.codes[i])) for i in these[:map_words.NAMED_BELOW]],
            "all": url_for("map.table", week=f.weeks[at], layer=layer, only="hatched")}


def _visits(f: Figures) -> dict[str, Any]:
    """The visits of today that tell most of what is ripe in each week, for the page's own code: rows [plot, work, ± t before, ± t after]."""
    at = {code: i for i, code in enumerate(f.codes)}
    weeks = [[[at[r["code"]], WORK.index(r["work"]), round(r["half_t"]), round(r["half_after_t"])] for r in rows if r["code"] in at] for rows in worth.by_week(db(), VISITS_LISTED)]
    return {"weeks": weeks, "works": [words(f"visits.work.{work}") for work in WORK], "title": words("pages.map.visits_of"), "narrowed": words("pages.map.visit_narrowed")}


def _visit_rows(f: Figures, visits: dict[str, Any], at: int) -> list[tuple[str, str, str, str]]:
    """(code, name, what to do, what it narrows) of one week."""
    return [(f.codes[i], f.names[i], visits["works"][work], visits["narrowed"].replace("[before]", f"{before:,}").replace("[after]", f"{after:,}")) for i, work, before, after in (visits["weeks"][at] if at < len(visits["weeks"]) else [])]


def _unknown_week(f: Figures) -> str | None:
    """A sentence where the week asked for is not one of the map's."""
    asked = request.args.get("week", "")
    return words("pages.map.unknown_week", week=asked[:12], first=f.weeks[0], last=f.weeks[-1]) if asked and asked not in f.weeks else None


_words: dict[str, tuple[Figures, str]] = {}


def _said(f: Figures) -> str:
    """All words of all weeks and layers in the request's language as JSON, kept as long as the figures are the same."""
    found = _words.get(g.language)
    if found is None or found[0] is not f:
        found = _words[g.language] = (f, _json(map_words.said(f)))
    return found[1]


def _json(told: Any) -> str:
    """As JSON that may stand within a page."""
    return json.dumps(told, ensure_ascii=False, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")


@bp.get("/map/table")
def table() -> str:
    """Every plot and every layer's figures of one week, without a picture; ``only=ripe`` those that are ripe then, the ripest first; ``only=hatched`` those the layer hatches."""
    f, _, stale, layer, at = _asked()
    asked, year = request.args.get("only"), request.args.get("year", "")
    only = asked if asked in ("ripe", "hatched") else ""
    every, planted = map_words.by_age(f), [str(y) if y else "–" for y in f.years]
    enough = sorted((i for i in every if f.ripe[i, at] or f.maybe[i, at]), key=lambda i: (-f.share[i, at], f.codes[i]))
    few = map_words.hatched(f, layer, at)
    shown = planted_list.arranged([i for i in {"": every, "ripe": enough, "hatched": few}[only] if not year or planted[i] == year], planted.__getitem__, bool(only or year) or request.args.get("list") == planted_list.ONE)
    titles = {"": lambda: words("pages.map.table_title", week=f.weeks[at]), "ripe": lambda: map_words.title(f, map_words.LAYERS[0], at), "hatched": lambda: words("pages.map.hatched_in", what=map_words.hatched_words(layer, len(few)) if layer in map_words.HATCHED else words("pages.map.hatched.none"), week=f.weeks[at])}
    return render("map_table.html", title=titles[only](), shown=shown, row=lambda i: map_words.row(f, i, at), sums=lambda members: map_words.sums(f, layer, members, at),
                  every=every, columns=map_words.columns(layer), only=only, year=year, counts=(len(every), len(enough), len(few)), week=f.weeks[at], monday=monday_of(f.weeks[at]), layer=layer, stale=stale)


@bp.get("/map/script.js")
def script() -> Response:
    return Response(_folium()[1], content_type="text/javascript; charset=utf-8")


@bp.get("/map/<part>.bin")
def data(part: str) -> Response:
    """What the map draws at once (``plots``: outlines, names, conditions) or can wait for (``weeks``: the figures), packed as :mod:`map_packed` says."""
    if part not in PARTS:
        abort(404)
    ripe, _, crop, _ = estimates()
    body, packed, tag = _packed(part, figures(db(), ripe, crop))
    small = "gzip" in request.headers.get("Accept-Encoding", "")
    response = Response(packed if small else body, content_type="application/octet-stream", headers={"Vary": "Accept-Encoding", "Cache-Control": "private, no-cache"})
    if small:
        response.headers["Content-Encoding"] = "gzip"
    response.set_etag(f"{tag}{'-gz' if small else ''}")
    return response.make_conditional(request)


_made: dict[str, tuple[Figures, tuple[bytes, bytes, str]]] = {}


def _packed(part: str, f: Figures) -> tuple[bytes, bytes, str]:
    """(bytes, the same under gzip, their tag), kept as long as the figures are the same."""
    found = _made.get(part)
    if found is None or found[0] is not f:
        body = (plots_file if part == "plots" else weeks_file)(f)
        found = _made[part] = (f, (body, gzip.compress(body, 6, mtime=0), sha256(body).hexdigest()[:16]))
    return found[1]


def plots_file(f: Figures) -> bytes:
    """Outlines (none where a plot has none) and conditions: first the plots of the answers, then the cut ones."""
    nowhere = {"type": "MultiPolygon", "coordinates": []}
    counts, steps = map_packed.outlines(f.outlines.get(code, nowhere) for code in [*f.codes, *(code for code, _ in f.cut)])
    zones = sorted(set(f.zones))
    head = {"tag": f.tag, "weeks": f.weeks, "codes": f.codes, "names": f.names, "zones": zones, "zone": [zones.index(z) for z in f.zones], "year": f.years, "unread": np.flatnonzero(~f.read).tolist(),
            "cut": [code for code, _ in f.cut], "cut_names": [name for _, name in f.cut]}
    return map_packed.together(head, {"counts": counts, "steps": steps, "state": map_packed.runs(np.where(f.to_come, TO_COME, f.tone + 7 * f.condition + 35 * f.wide))})


def weeks_file(f: Figures) -> bytes:
    """The figures of every plot in :func:`plots_file`'s order."""
    head = {"tag": f.tag, "unvisited": f.unvisited_weeks.tolist(), "sick": [s and [s["percent"], s["grade"], s["cause"], s["day"].isoformat()] for s in f.sick]}
    tables = {"share": f.share, "low": f.share_lo, "high": f.share_hi, "chance": f.chance, "mass": f.mass_t, "mass_low": f.mass_lo_t, "mass_high": f.mass_hi_t, "mass_ha": f.mass_t_ha}
    return map_packed.together(head, {name: map_packed.series(table) for name, table in tables.items()} | {"mass_wide": map_packed.runs(f.wide_mass)})
