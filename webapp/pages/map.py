"""The map by week: how ripe each plot is, hatched where little is known, with its table twin."""

from __future__ import annotations

import json
from hashlib import sha256

from flask import Blueprint, Response, request, url_for

from .. import settings
from ..land import service as land
from ..ripeness import service as ripeness
from ..weeks import monday_of
from . import maps
from .access import db
from .assets import asset
from .charts import ramp
from .conditions import letter, little_known
from .layout import render, words
from .picture_weeks import weeks_strip
from .resting import estimates

bp = Blueprint("map", __name__)
SHOWN = 26


def _drawn():
    values = settings.load(db())
    return maps.plots_map(asset("leaflet/leaflet.js"), asset("leaflet/leaflet.css"), url_for("map.data"), values["tile_address"], values["tile_credit"])


@bp.get("/map")
def page() -> str:
    ripe, _, crop, stale = estimates()
    weeks = ripe.meta["weeks"][:SHOWN]
    week = request.args.get("week", weeks[0])
    at = weeks.index(week) if week in weeks else 0
    week = weeks[at]
    plots = land.plots(db()).loc[ripe.meta["plots"]]
    share, chance = ripe.arrays["share"], ripe.arrays["chance"]
    wide = little_known(ripe)
    threshold = settings.load(db())["ripe_share_to_cut"]
    ripe_now = share[:, at] >= threshold
    rows = [
        {"code": code, "name": plots.at[code, "name"], "zone": plots.at[code, "zone"], "letter": letter(ripe.arrays["condition"][i, at]),
         "tone": ramp(float(share[i, at])), "share": float(share[i, at]), "low": float(ripe.arrays["share_lo"][i, at]),
         "high": float(ripe.arrays["share_hi"][i, at]), "chance": float(chance[i, at]), "mass_t": float(crop.arrays["tonnes"][i, at]),
         "wide": bool(wide[i, at]), "year": plots.at[code, "planted_on"].year if plots.at[code, "planted_on"] else None}
        for i, code in enumerate(ripe.meta["plots"])]
    years: dict = {}
    for row, is_ripe in zip(rows, ripe_now):
        entry = years.setdefault(row["year"], {"plots": 0, "ripe": 0, "mass_t": 0.0})
        entry["plots"] += 1
        entry["ripe"] += int(is_ripe)
        entry["mass_t"] += row["mass_t"]
    totals = crop.arrays["ripe_total"][:SHOWN]
    strip = weeks_strip("weeks", weeks, [float(v) for v in totals], week, words("pages.map.strip"), words("pages.map.strip_desc"),
                        lambda w: url_for("map.page", week=w), lambda w, v: words("pages.map.week_label", week=w, mass_t=v))
    html, _ = maps.parts(_drawn())
    return render(
        "map.html", title=words("pages.map.title", week=week, n=int(ripe_now.sum()), of=len(rows), wide=int(wide[:, at].sum())),
        strip=strip, map_html=html, rows=rows, years=sorted(years.items(), key=lambda item: (item[0] is None, item[0])), week=week, at=at,
        monday=monday_of(week), visits=ripeness.visits_worth(db(), 5), names=plots["name"], stale=stale, weeks=weeks)


@bp.get("/map/script.js")
def script() -> Response:
    _, source = maps.parts(_drawn())
    return Response(source, content_type="text/javascript; charset=utf-8")


@bp.get("/map/plots.json")
def data() -> Response:
    """GeoJSON with, per plot, one character a week: ramp class, letter, hatching; shares as whole per cents."""
    ripe, _, _, _ = estimates()
    plots = land.plots(db())
    outlines = land.outlines(db(), ripe.meta["plots"])
    wide = little_known(ripe)
    share = ripe.arrays["share"][:, :SHOWN]
    features = []
    for i, code in enumerate(ripe.meta["plots"]):
        if code not in outlines:
            continue
        features.append({"type": "Feature", "geometry": maps.ring_of(outlines[code]), "properties": {
            "code": code, "name": plots.at[code, "name"], "href": url_for("plot.page", code=code),
            "c": "".join(ramp(float(v))[1] for v in share[i]), "l": "".join(letter(v) for v in ripe.arrays["condition"][i, :SHOWN]),
            "w": "".join("1" if v else "0" for v in wide[i, :SHOWN]), "s": [round(100 * float(v)) for v in share[i]],
            "lo": [round(100 * float(v)) for v in ripe.arrays["share_lo"][i, :SHOWN]], "hi": [round(100 * float(v)) for v in ripe.arrays["share_hi"][i, :SHOWN]]}})
    body = json.dumps({"type": "FeatureCollection", "features": features}, separators=(",", ":"), ensure_ascii=False)
    response = Response(body, content_type="application/geo+json")
    response.set_etag(sha256(body.encode()).hexdigest()[:16])
    return response.make_conditional(request)
