// The map page put together: weeks, layers, picture and list always show the same week, layer and plot; a step asks the office for nothing.
"use strict";
(() => {
  const frame = document.querySelector(".map-frame");
  const ours = window.pinarioMap;
  if (!frame || !ours.map) return;
  const { map } = ours;
  const find = (id) => document.getElementById(id);
  const said = JSON.parse(find("said").textContent);
  const mondays = [...find("mondays").children].map((line) => line.textContent);
  const asked = new URLSearchParams(window.location.search);
  const titleEnd = document.title.slice(document.title.lastIndexOf(" · "));
  let week = Number(frame.dataset.at);
  let layer = frame.dataset.layer;
  let chosen = -1;
  let plots = null;
  let layers = null;
  let painter = null;
  let list = null;
  let views = null;
  let visits = null;
  let outline = null;
  let telling = 0;

  // Colours come from the style sheets, so that dark surroundings and print need nothing here.
  const look = { font: (px) => `650 ${px}px ${look.family}`, family: "sans-serif" };
  const dress = () => {
    const css = getComputedStyle(document.documentElement);
    const colour = (name) => css.getPropertyValue(name).trim();
    const name = layer === "share" ? "r" : layer;
    Object.assign(look, { tones: Array.from({ length: 7 }, (_, k) => colour(`--${name}${k}`)), edge: colour("--edge"), ground: colour("--ground"), ink: colour("--ink"), cutLetter: said.cut_letter,
      family: css.getPropertyValue("--font"), light: layers.of(layer).light });
  };
  look.colour = (i) => layers.of(layer).colour(i, week);
  look.hatched = (i) => layers.of(layer).hatched(i, week);
  look.mark = (i) => layers.of(layer).mark(i, week);

  const read = (address) => fetch(address, { credentials: "same-origin" }).then((reply) => {
    if (!reply.ok) throw new Error(String(reply.status));
    return reply.arrayBuffer();
  });

  const current = (tag) => { if (tag !== frame.dataset.tag) throw new Error("tag"); };

  const keep = () => {
    const address = new URL(window.location.href);
    address.searchParams.set("week", plots.weeks[week]);
    address.searchParams.set("layer", layer);
    if (chosen >= 0) address.searchParams.set("plot", layers.code(chosen));
    if (views.zone()) address.searchParams.set("zone", views.zone());
    else address.searchParams.delete("zone");
    window.history.replaceState(null, "", address);
    for (const link of document.querySelectorAll(".layers a, #full, .weeks a, .foot-line a[hreflang]")) {
      const there = new URL(link.getAttribute("href"), address);
      if (!link.dataset.week) there.searchParams.set("week", plots.weeks[week]);
      if (!link.dataset.layer) there.searchParams.set("layer", layer);
      if (link.hasAttribute("hreflang")) for (const name of ["zone", "plot"]) if (address.searchParams.has(name)) there.searchParams.set(name, address.searchParams.get(name));
      link.setAttribute("href", there.pathname + there.search);
    }
  };

  // What is above the picture, and the list; said aloud once the hand has rested.
  const say = () => {
    const title = said.layers[layer].titles[week];
    window.pinarioMap.wholeWeeks(find("answer"), title);
    document.title = title + titleEnd;
    document.querySelector(".week-of").textContent = mondays[week];
    if (list) list.show(layer, week, chosen);
    if (visits) visits(week);
    tellChosen();
    window.clearTimeout(telling);
    telling = window.setTimeout(() => { find("told").textContent = title; keep(); }, 350);
  };

  const tellChosen = () => {
    if (chosen < 0) return;
    const box = find("chosen");
    const name = document.createElement("b");
    name.textContent = layers.name(chosen);
    const where = document.createElement("span");
    where.className = "soft";
    where.textContent = chosen < plots.n && plots.zones[plots.zone[chosen]] ? `, ${plots.zones[plots.zone[chosen]]}` : "";
    const link = document.createElement("a");
    link.href = frame.dataset.plot.replace("CODE", encodeURIComponent(layers.code(chosen)));
    link.textContent = said.open;
    const first = document.createElement("span");
    first.className = "rest";
    first.textContent = chosen < plots.n ? layers.of(layer).tell(chosen, week) : said.tell.cut;
    const others = document.createElement("span");
    others.className = "rest soft";
    others.textContent = chosen < plots.n ? [...new Set(Object.keys(said.layers).filter((other) => other !== layer).map((other) => layers.of(other).tell(chosen, week)))].filter((told) => told !== first.textContent).join("\u00a0· ") : "";
    box.replaceChildren(name, where, link, first, others);
  };

  const choose = (i, from) => {
    if (!layers.known()) return;
    chosen = i;
    if (outline) outline.remove();
    const rings = painter.rings(i);
    outline = L.layerGroup([["chosen-halo", 7], ["chosen-edge", 3]].map(([className, weight]) => L.polygon(rings, { className, weight, fill: false, interactive: false }))).addTo(map);
    const bounds = rings.length ? L.latLngBounds(rings.flat()) : null;
    if (from !== "map" && bounds && !map.getBounds().contains(bounds)) map.panTo(bounds.getCenter(), { animate: from === "list" });
    map.closeTooltip(tip);
    if (i < plots.n && from !== "list") list.reveal(i);
    list.show(layer, week, chosen);
    if (from === "list") list.focusOn(i);
    else if (i < plots.n) list.reveal(i);
    tellChosen();
    keep();
  };

  const tip = L.tooltip({ direction: "top", offset: [0, -4] });
  const point = (event) => {
    const i = painter.plotAt(event.latlng);
    map.getContainer().classList.toggle("over-plot", i >= 0);
    if (i < 0 || !layers.known() || event.originalEvent.pointerType === "touch") {
      map.closeTooltip(tip);
      return;
    }
    const box = document.createElement("div");
    const name = document.createElement("b");
    name.textContent = layers.name(i);
    const line = document.createElement("div");
    line.textContent = i < plots.n ? layers.of(layer).tell(i, week) : said.tell.cut;
    box.append(name, line);
    tip.setLatLng(event.latlng).setContent(box);
    map.openTooltip(tip);
  };

  const pick = (name) => {
    layer = name;
    dress();
    painter.paint();
    for (const link of document.querySelectorAll(".layers a")) {
      if (link.dataset.layer === name) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    }
    for (const key of document.querySelectorAll(".keys")) key.hidden = key.dataset.key !== name;
    say();
  };

  const begin = (buffer) => {
    plots = ours.plotsFrom(buffer);
    current(plots.tag);
    layers = ours.layersOf(plots, said, document.documentElement.lang);
    map.attributionControl.setPrefix(false);
    L.control.scale({ imperial: false, maxWidth: 140 }).addTo(map);
    const box = map.getContainer();
    box.setAttribute("role", "group");
    box.setAttribute("aria-label", frame.dataset.label);
    dress();
    painter = new ours.Plots(plots, look);
    views = ours.viewsOf(map, plots, painter, find("zone"), find("nearer"), (n) => layers.put(n > 1 ? said.nearer : said.nearer_one, { n: layers.whole(n) }));
  };

  const draw = () => {
    if (!map.hasLayer(painter)) {
      views.begin(asked.get("zone"), week);
      painter.addTo(map);
    }
    frame.dataset.ready = String(plots.all);
  };

  const join = (buffer) => {
    const figures = ours.figuresFrom(buffer, plots);
    current(figures.tag);
    layers.learn(figures);
    draw();
    list = ours.listOf(find("years"), plots, layers, said, choose, frame.dataset.table);
    if (find("visits")) visits = ours.visitsOf(find("visits"), JSON.parse(find("visits-said").textContent), plots, layers, frame.dataset.plot);
    const weeks = ours.weeksOf(document.querySelector("#strip .weeks"), (k) => {
      week = k;
      painter.step();
      say();
    });
    weeks.show(week);
    list.show(layer, week, chosen);
    document.querySelector(".layers").addEventListener("click", (event) => {
      const link = event.target.closest("a[data-layer]");
      if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      pick(link.dataset.layer);
    });
    map.on("mousemove", point);
    map.on("mouseout", () => map.closeTooltip(tip));
    map.on("click", (event) => {
      const i = painter.plotAt(event.latlng, 14);
      if (i >= 0) choose(i, "map");
    });
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { dress(); painter.paint(); });
    const wanted = asked.get("plot");
    const i = wanted ? [...plots.codes, ...plots.cut].indexOf(wanted) : -1;
    if (i >= 0) choose(i, "address");
    frame.dataset.figures = String(plots.n);
  };

  // The picture needs outlines and conditions only; the figures come beside them and are joined when they are there.
  const later = read(ours.weeks);
  later.catch(() => {});
  read(ours.plots).then(begin).then(() => { if (layer === "share") draw(); }).then(() => later).then(join).catch(() => {
    find("chosen").textContent = said.failed;
    frame.dataset.ready = "0";
  });
})();
