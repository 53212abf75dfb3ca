"""The map of a region in a real Chromium at a quarter of its speed: bytes, time to the picture, time of a step of the weeks; beside it folium's own layer of the same plots."""

from __future__ import annotations

import gzip
import secrets
from pathlib import Path
from typing import Any, Callable

import numpy as np

from ..database import Database
from ..land import service as land
from ..people import service as people
from ..ripeness import service as ripeness
from . import field_phone, map_region
from .field_office import Office

SCREEN, CPU, OPENED, STEPS, SHOWN = {"width": 1280, "height": 800}, 4, 3, 12, 26
TARGETS = {"kb": 900.0, "draw_s": 3.0, "draw_aim_s": 2.0, "step_ms": 150.0}

DRAWN = """new MutationObserver((_, looking) => {
  if (!document.querySelector('[data-ready]')) return;
  looking.disconnect();
  requestAnimationFrame(() => { const painted = new MessageChannel(); painted.port1.onmessage = () => { window.benchDrawn = performance.now(); }; painted.port2.postMessage(0); });
}).observe(document, { subtree: true, attributes: true, attributeFilter: ['data-ready'] });"""
STEP = """(key) => new Promise((done) => { const from = performance.now(); document.activeElement.dispatchEvent(new KeyboardEvent('keydown', { key, bubbles: true }));
  requestAnimationFrame(() => { const painted = new MessageChannel(); painted.port1.onmessage = () => done(performance.now() - from); painted.port2.postMessage(0); }); })"""
PLAIN = """const tones = ['#eef2f4', '#d0dde1', '#a9c6c6', '#8bac86', '#ac9129', '#a4650f', '#5a2a10'];
let week = 0;
const layer = Object.values(LAYER._layers);
const show = () => LAYER.setStyle((f) => ({ fillColor: tones[f.properties.tone[week]], fillOpacity: 1, weight: 0.8, color: '#6b7d77' }));
show();
document.addEventListener('keydown', (event) => { week += event.key === 'ArrowRight' ? 1 : 0; show(); });
document.body.dataset.ready = layer.length;"""


def measure(folder: Path, told: Callable[[str], Any] = lambda step: None, plots: int = map_region.PLOTS) -> dict[str, Any]:
    """Ours and folium's own GeoJSON layer: KB under gzip, seconds to the picture, ms of a step; ``requests`` our steps made; ``server_ms`` of the page itself."""
    estate = folder / "region.db"
    told("build")
    db = map_region.build(estate, plots)
    password = secrets.token_hex(12)
    people.add_person(db, "Bench", "bench", password, ("head",), by="bench")
    pages = _plain_pages(db)
    db.conn.close()
    office = Office(estate, folder / "region.log").start()
    try:
        with field_phone.driver() as running:
            browser = running.chromium.launch(executable_path=field_phone.chromium(running), args=field_phone.ARGS)
            told("ours")
            ours = _ours(browser, office.address, password)
            told("plain")
            plain = _opened(browser, lambda page: page.route("**/plain/*", lambda route: route.fulfill(body=pages[route.request.url.rsplit("/", 1)[1]][0], content_type=pages[route.request.url.rsplit("/", 1)[1]][1])),
                            f"{office.address}/plain/index.html", None)
            browser.close()
    finally:
        office.stop()
    return {"plots": plots, "corners": 4 * map_region.PIECES, "ours": ours, "plain": plain, "kb_ratio": ours["kb"] / plain["kb"], "draw_ratio": ours["draw_s"] / plain["draw_s"], "step_ratio": ours["step_ms"] / plain["step_ms"],
            "met": {"kb": ours["kb"] <= TARGETS["kb"], "draw": ours["draw_s"] <= TARGETS["draw_s"], "step": ours["step_ms"] <= TARGETS["step_ms"] and not ours["requests"]}}


def _ours(browser, address: str, password: str) -> dict[str, float]:
    def enter(page) -> None:
        """Without the page that follows: it is not what is measured, and takes its time in a region."""
        page.request.post(f"{address}/sign-in", form={"login": "bench", "password": password}, headers={"Origin": address}, max_redirects=0)

    return _opened(browser, enter, f"{address}/map", ".weeks a[tabindex='0']")


def _opened(browser, before: Callable, address: str, focus: str | None) -> dict[str, float]:
    """Opened some times with an empty cache, then stepped through the weeks on the last."""
    drawn, served = [], []
    for k in range(OPENED):
        context = browser.new_context(viewport=SCREEN, locale="es-MX")
        context.set_default_timeout(120_000)
        page = context.new_page()
        before(page)
        if focus and k == 0:
            page.request.get(address, timeout=300_000)  # what the office reckons once is not the picture's time
        bodies: list[int] = []
        page.on("response", lambda reply: bodies.append(_small(reply)))
        page.add_init_script(DRAWN)
        field_phone.slow(page, CPU)
        page.goto(address, wait_until="commit")
        page.wait_for_function("() => window.benchDrawn > 0")
        drawn.append(page.evaluate("() => window.benchDrawn") / 1000)
        served.append(page.evaluate("() => performance.getEntriesByType('navigation')[0].responseEnd"))
        if k + 1 < OPENED:
            context.close()
    if focus:
        page.wait_for_selector(".map-frame[data-figures]", state="attached")
        page.focus(focus)
    page.wait_for_timeout(1000)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    steps = [page.evaluate(STEP, "ArrowRight") for _ in range(STEPS)]
    page.wait_for_timeout(600)
    out = {"kb": sum(bodies) / 1024, "files": float(len(bodies)), "draw_s": float(np.median(drawn)), "draw_best_s": min(drawn), "served_ms": float(np.median(served)), "step_ms": float(np.median(steps)), "step_best_ms": min(steps), "step_worst_ms": max(steps), "requests": float(len(asked))}
    context.close()
    return out


def _small(reply) -> int:
    """Bytes of a reply under gzip, level 6, as a proxy sends it."""
    try:
        return len(gzip.compress(reply.body(), 6, mtime=0))
    except Exception:  # a reply without a body (a redirect, one answered from the cache)
        return 0


def _plain_pages(db: Database) -> dict[str, tuple[bytes, str]]:
    """What folium makes by itself: all plots as GeoJSON within the page, drawn as SVG; each plot's classes of 26 weeks and three figures a week as plain lists."""
    import folium
    import xstatic.pkg.leaflet

    from ..pages.charts import RAMP

    class Local(folium.Map):
        default_js = [("leaflet", "leaflet.js")]
        default_css = [("leaflet_css", "leaflet.css")]

    a = ripeness.answer(db)
    outlines, names = land.outlines(db), land.plots(db)["name"]
    whole = {name: np.rint(100 * np.asarray(a.arrays[name][:, :SHOWN], float)).astype(int) for name in ("share", "share_lo", "share_hi", "chance")}
    tone = np.searchsorted(RAMP, np.asarray(a.arrays["share"][:, :SHOWN], float), side="right")
    features = [{"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [[[round(x, 5), round(y, 5)] for x, y in ring] for ring in outlines[code]["coordinates"]]},
                 "properties": {"code": code, "name": names[code], "tone": tone[i].tolist(), **{name: table[i].tolist() for name, table in whole.items()}}} for i, code in enumerate(a.meta["plots"])]
    drawn = Local(tiles=None)
    layer = folium.GeoJson({"type": "FeatureCollection", "features": features}, name="plots").add_to(drawn)
    drawn.fit_bounds(layer.get_bounds())
    root = drawn.get_root()
    html = root.render().replace("</html>", '<script src="plain.js"></script></html>')
    files = Path(xstatic.pkg.leaflet.BASE_DIR)
    return {"index.html": (html.encode(), "text/html; charset=utf-8"), "plain.js": (PLAIN.replace("LAYER", layer.get_name()).encode(), "text/javascript"),
            "leaflet.js": ((files / "leaflet.js").read_bytes(), "text/javascript"), "leaflet.css": ((files / "leaflet.css").read_bytes(), "text/css")}
