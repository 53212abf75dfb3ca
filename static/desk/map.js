// The plots on folium's Leaflet map: colour, letter and hatching of one week; another week needs no request.
"use strict";
(() => {
  const frame = document.querySelector(".map-frame");
  if (!frame || !window.pinarioMap) return;
  const { map, data } = window.pinarioMap;
  const css = getComputedStyle(document.documentElement);
  const tones = Array.from({ length: 7 }, (_, i) => css.getPropertyValue(`--r${i}`).trim());
  let at = Number(frame.dataset.at);
  map.attributionControl.setPrefix(false);
  L.control.scale({ imperial: false }).addTo(map);
  const shapes = [];

  const tip = (p) => {
    const box = document.createElement("div");
    const name = document.createElement("b");
    name.textContent = `${p.name}, ${p.code}`;
    const line = document.createElement("div");
    line.textContent = frame.dataset.tip.replace("[share]", p.s[at]).replace("[low]", p.lo[at]).replace("[high]", p.hi[at]);
    box.append(name, line);
    return box;
  };

  const paint = () => {
    for (const { shape, hatch, mark, p } of shapes) {
      shape.setStyle({ fillColor: tones[Number(p.c[at])] });
      hatch.setStyle({ fillOpacity: p.w[at] === "1" ? 0.55 : 0 });
      const label = mark.getElement();
      if (label) {
        label.textContent = p.l[at];
        label.classList.toggle("light", Number(p.c[at]) >= 5);
      }
    }
  };

  // A letter that does not fit its plot is left out until the map is nearer.
  const fitLetters = () => {
    for (const { shape, mark } of shapes) {
      const bounds = shape.getBounds();
      const a = map.latLngToLayerPoint(bounds.getNorthWest());
      const b = map.latLngToLayerPoint(bounds.getSouthEast());
      const label = mark.getElement();
      if (label) label.hidden = Math.min(b.x - a.x, b.y - a.y) < 15;
    }
  };

  fetch(data, { credentials: "same-origin" }).then((reply) => reply.json()).then((plots) => {
    const all = L.featureGroup();
    for (const feature of plots.features) {
      const p = feature.properties;
      const shape = L.geoJSON(feature, { style: { color: css.getPropertyValue("--edge").trim() || "#5c6f68", weight: 0.8, fillOpacity: 1 } });
      const hatch = L.geoJSON(feature, { interactive: false, style: { stroke: false, fillColor: "url(#map-hatch)", fillOpacity: 0 } });
      const mark = L.marker(shape.getBounds().getCenter(), { interactive: false, keyboard: false, icon: L.divIcon({ className: "map-letter", iconSize: [20, 20] }) });
      shape.bindTooltip(() => tip(p), { sticky: true });
      shape.on("click", () => { window.location = p.href; });
      all.addLayer(shape);
      shape.addTo(map); hatch.addTo(map); mark.addTo(map);
      shapes.push({ shape, hatch, mark, p });
    }
    if (shapes.length) map.fitBounds(all.getBounds(), { animate: false, padding: [8, 8] });
    paint();
    fitLetters();
    map.on("zoomend", fitLetters);
    frame.dataset.ready = String(shapes.length);
  });
})();
