"""folium without a CDN: Leaflet from the installed package, our own layer, no inline script, no tiles needed.

folium's tooltips put raw text into the page (a plot's name could carry markup), so names are set
as text by our own module instead; and its jQuery, Bootstrap and icon fonts are not needed at all.
"""

from __future__ import annotations

from typing import Any


def plots_map(leaflet_js: str, leaflet_css: str, plots_address: str, weeks_address: str, tile_address: str = "", tile_credit: str = ""):
    """A folium map whose script hands the Leaflet map and the addresses of its data to ``desk/map.js``; links only to our own files."""
    import folium
    from branca.element import MacroElement
    from jinja2 import Template

    class LocalMap(folium.Map):
        default_js = [("leaflet", leaflet_js)]
        default_css = [("leaflet_css", leaflet_css)]

    class PlotsLayer(MacroElement):
        _template = Template(
            "{% macro script(this, kwargs) %}window.pinarioMap = {map: {{ this._parent.get_name() }}, plots: {{ this.plots|tojson }}, weeks: {{ this.weeks|tojson }}};{% endmacro %}")

        def __init__(self, plots: str, weeks: str) -> None:
            super().__init__()
            self._name, self.plots, self.weeks = "PlotsLayer", plots, weeks

    drawn = LocalMap(tiles=None, zoom_control=True, control_scale=False, location=(20.6, -103.0), zoom_start=12, zoomSnap=0.05)
    drawn._id = "plots"  # the same address gives the same script byte for byte
    if tile_address:
        folium.TileLayer(tile_address, attr=tile_credit or " ").add_to(drawn)
    PlotsLayer(plots_address, weeks_address).add_to(drawn)
    return drawn


def parts(drawn: Any) -> tuple[str, str]:
    """The map's element and its script, apart, so that a strict CSP needs no exception."""
    root = drawn.get_root()
    for child in list(root._children.values()):
        child.render()
    return root.html.render(), root.script.render()
