// The plots as they lie, drawn by the phone from its own outlines: no tiles, no signal. A finger moves
// the map and chooses the plot nearest to it; a big button opens it, so a glove never opens the wrong one.

import { announce } from "../app.js";
import { furniture, ownPlace, pathOf } from "../drawing.js";
import { h, line, s } from "../elements.js";
import { byDistance, listen, metresTo, standing, trust } from "../ground.js";
import { pack } from "../pack.js";
import { box, plane, roomIn } from "../plane.js";
import { figure, say } from "../words.js";
import { away, called, groundWords } from "./plots.js";

const WIDTH = 380, HEIGHT = 400, EDGE = 30, CLOSEST_M = 0.15, LETTER_PX = 8.4, CHOOSE_PX = 36, DRAG_PX = 8, LISTED = 12, HIT_PX = 31, OWN_PX = 30, LETTERED_PX = 18, AROUND_M = 1_500;
/** Where the map was left: middle in metres, metres of one unit, the chosen plot. Kept while the app is open. */
const view = { x: null, y: 0, metres: 1, chosen: null, for: null };

const sure = () => ["good", "coarse", "old"].includes(trust());

/** Plots with their rings in metres on one plane; those without an outline are only in the list. */
function ground(plots) {
  const drawn = plots.filter((plot) => plot.outline?.length > 2), all = drawn.flatMap((plot) => plot.outline);
  if (!all.length) return { flat: null, drawn: [] };
  const middle = box(all), flat = plane(middle.x, middle.y);
  return { flat, drawn: drawn.map((plot) => { const ring = plot.outline.map(flat.to); return { plot, ring, box: box(ring), room: roomIn(ring) }; }) };
}

function fit(boxes) {
  const [left, right] = [Math.min(...boxes.map((b) => b.left)), Math.max(...boxes.map((b) => b.right))], [low, high] = [Math.min(...boxes.map((b) => b.low)), Math.max(...boxes.map((b) => b.high))];
  Object.assign(view, { x: (left + right) / 2, y: (low + high) / 2, metres: Math.max((right - left) / (WIDTH - 2 * EDGE), (high - low) / (HEIGHT - 2 * EDGE), CLOSEST_M) });
}

/** The land about a place: the plots that can be walked to, large enough to read their names. */
const around = ([x, y]) => Object.assign(view, { x, y, metres: Math.min(view.metres, AROUND_M / WIDTH) });

export async function map() {
  listen();
  const { flat, drawn } = ground(pack().plots);
  if (!drawn.length) return { title: say("map.title"), back: "#/plots", body: [h("h1", null, say("map.none")), h("p", null, say("map.none.do")), h("a", { class: "act first", href: "#/plots" }, say("map.list"))] };
  const boxes = drawn.map((one) => one.box), ordered = new Set(pack().orders.map((order) => order.plot));
  if (view.x === null || view.for !== drawn.length) {
    fit(boxes);
    if (trust() === "good" && byDistance(pack().plots)[0].metres < AROUND_M) around(flat.to([standing.lon, standing.lat]));
    Object.assign(view, { for: drawn.length, chosen: null });
  }

  const links = drawn.map((one) => {
    const { code } = one.plot;
    const shape = s("path", { class: ordered.has(code) ? "land ordered" : "land" }), hit = s("circle", { class: "hit", r: HIT_PX }), label = s("text", { class: "halo", "text-anchor": "middle" });
    const link = s("a", { href: `#/plot/${encodeURIComponent(code)}`, "aria-label": called(one.plot), onfocus: () => reveal(one) }, hit, shape, label);
    return Object.assign(one, { link, shape, label, hit });
  });
  const own = s("g"), scale = s("g"), world = s("g", null, links.map(({ link }) => link), own);
  const svg = s("svg", { class: "ground map", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "group", "aria-label": say("map.label", { n: drawn.length }) },
    s("defs", null, s("pattern", { id: "rows", width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, s("path", { class: "hatch", d: "M0 0V8" }))),
    world, scale);
  const chosen = h("div", { "aria-live": "polite" }, h("p", null, say("map.tap"))), list = h("ul", { class: "list" }), place = h("p", { class: "soft" });

  /** From metres to the drawing's units, before the world is shifted. */
  const at = ([x, y]) => [x / view.metres, -y / view.metres];
  const visible = ({ box: b }) => Math.abs(b.x - view.x) < (WIDTH / 2) * view.metres + (b.right - b.left) / 2 && Math.abs(b.y - view.y) < (HEIGHT / 2) * view.metres + (b.high - b.low) / 2;

  function shift() {
    const [x, y] = at([view.x, view.y]);
    world.setAttribute("transform", `translate(${(WIDTH / 2 - x).toFixed(1)} ${(HEIGHT / 2 - y).toFixed(1)})`);
  }

  function drawOwn() {
    own.replaceChildren(sure() ? ownPlace(at(flat.to([standing.lon, standing.lat])), standing.accuracy_m / view.metres) : "");
    place.textContent = groundWords();
  }

  function drawPlaces() {
    const here = sure() ? at(flat.to([standing.lon, standing.lat])) : null;
    for (const one of links) {
      const [cx, cy] = at([one.room.x, one.room.y]).map((value) => value.toFixed(1));
      one.shape.setAttribute("d", pathOf(one.ring, at));
      one.hit.setAttribute("cx", cx);
      one.hit.setAttribute("cy", cy);
      one.label.setAttribute("x", cx);
      one.label.setAttribute("y", Number(cy) + (here && Math.hypot(cx - here[0], cy - here[1]) < OWN_PX ? OWN_PX : 5));
    }
    scale.replaceChildren(furniture(view.metres, WIDTH, HEIGHT));
    drawOwn();
    shift();
  }

  /** Names where they fit; the others that are in view get a letter, and the list says whose it is. */
  function name() {
    const seen = links.filter(visible).sort((a, b) => Math.hypot(a.box.x - view.x, a.box.y - view.y) - Math.hypot(b.box.x - view.x, b.box.y - view.y));
    let letters = 0;
    for (const one of links) one.label.textContent = "";
    const lines = seen.slice(0, LISTED).map((one) => {
      const wide = one.room.wide / view.metres, high = (one.box.high - one.box.low) / view.metres, fits = [one.plot.name, one.plot.code].find((words) => words && words.length * LETTER_PX < wide);
      const letter = fits || Math.min(wide, high) < LETTERED_PX ? "" : String.fromCharCode(65 + (letters += 1) - 1);
      one.label.textContent = fits || letter;
      return line(`#/plot/${encodeURIComponent(one.plot.code)}`, `${letter ? `${letter} · ` : ""}${called(one.plot)}`, [away(metresTo(one.plot.outline)), ordered.has(one.plot.code) ? say("map.ordered") : ""].filter(Boolean).join(" · "));
    });
    for (const one of seen.slice(LISTED)) if (one.plot.name.length * LETTER_PX < one.room.wide / view.metres) one.label.textContent = one.plot.name;
    list.replaceChildren(...lines);
  }

  const draw = () => { drawPlaces(); name(); };
  const clamp = (metres) => { const all = Math.max(...boxes.map((b) => Math.max(b.right, -b.left, b.high, -b.low))); return Math.min(Math.max(metres, CLOSEST_M), (4 * all) / WIDTH + 1); };
  const zoom = (times) => { view.metres = clamp(view.metres / times); draw(); };

  function choose(one) {
    view.chosen = one.plot.code;
    for (const each of links) each.shape.classList.toggle("is-chosen", each === one);
    const metres = metresTo(one.plot.outline);
    chosen.replaceChildren(h("a", { class: "act first", href: `#/plot/${encodeURIComponent(one.plot.code)}`, id: "open" }, say("map.open", { plot: called(one.plot) })), metres === null ? "" : h("p", { class: "soft" }, away(metres)));
  }

  /** A plot that the keyboard reaches comes into view. */
  function reveal(one) {
    if (!visible(one)) { Object.assign(view, { x: one.box.x, y: one.box.y }); draw(); }
    choose(one);
  }

  function here() {
    if (!sure()) { place.textContent = groundWords(); announce(groundWords()); return; }
    const [x, y] = flat.to([standing.lon, standing.lat]);
    Object.assign(view, { x, y, metres: clamp(Math.max(Math.min(view.metres, 2), (3 * standing.accuracy_m) / WIDTH)) });
    draw();
    announce(groundWords());
  }

  fingers(svg, {
    drag: (dx, dy) => { view.x -= dx * view.metres; view.y += dy * view.metres; shift(); },
    pinch: (times) => { view.metres = clamp(view.metres / times); drawPlaces(); },
    tap: (px, py) => {
      const [lon, lat] = flat.from([view.x + (px - WIDTH / 2) * view.metres, view.y - (py - HEIGHT / 2) * view.metres]);
      const near = links.filter(visible).map((one) => [metresTo(one.plot.outline, { lon, lat }), one]).sort(([a], [b]) => a - b)[0];
      if (near && near[0] <= CHOOSE_PX * view.metres) choose(near[1]);
    },
    done: draw,
  });
  const hear = () => { if (svg.isConnected) drawOwn(); else removeEventListener("ground", hear); };
  draw();
  const before = links.find((one) => one.plot.code === view.chosen);
  if (before) choose(before);
  setTimeout(() => addEventListener("ground", hear), 0);
  const button = (id, words, label, action) => h("button", { type: "button", id, "aria-label": label, onclick: action }, words);
  return {
    title: say("map.title"), back: "#/plots",
    body: [
      h("h1", { class: "heard" }, say("map.title")), svg,
      h("div", { class: "turns" }, button("closer", "+", say("map.closer"), () => zoom(1.6)), button("wider", "−", say("map.wider"), () => zoom(1 / 1.6)),
        button("here", say("map.here"), null, here), button("whole", say("map.whole"), null, () => { fit(boxes); draw(); })),
      chosen, place, ordered.size ? h("p", { class: "soft" }, say("map.key")) : null,
      h("h2", null, say("map.seen")), list, h("a", { class: "act plain", href: "#/plots", id: "as-list" }, say("map.list", { n: figure(pack().plots.length) })),
    ],
  };
}

/** Pointers on the map in its own units: one drags, two pinch, a short touch is a tap. Links open by keyboard only. */
function fingers(svg, { drag, pinch, tap, done }) {
  const down = new Map();
  let moved = 0;
  const unit = () => WIDTH / svg.getBoundingClientRect().width;
  const spread = () => { const [a, b] = [...down.values()]; return Math.hypot(a.x - b.x, a.y - b.y); };
  svg.addEventListener("pointerdown", (event) => {
    if (!down.size) moved = 0;
    down.set(event.pointerId, { x: event.clientX, y: event.clientY });
  });
  svg.addEventListener("pointermove", (event) => {
    const last = down.get(event.pointerId);
    if (!last) return;
    const dx = event.clientX - last.x, dy = event.clientY - last.y, before = down.size === 2 ? spread() : 0;
    moved += Math.hypot(dx, dy);
    if (moved < DRAG_PX) return;
    if (!svg.hasPointerCapture(event.pointerId)) svg.setPointerCapture(event.pointerId);
    down.set(event.pointerId, { x: event.clientX, y: event.clientY });
    if (before) pinch(spread() / before);
    else if (down.size === 1) drag(dx * unit(), dy * unit());
  });
  const up = (event) => { if (down.delete(event.pointerId) && !down.size && moved >= DRAG_PX) done(); };
  svg.addEventListener("pointerup", up);
  svg.addEventListener("pointercancel", up);
  svg.addEventListener("click", (event) => {
    if (!event.detail) return;
    event.preventDefault();
    const frame = svg.getBoundingClientRect();
    if (moved < DRAG_PX) tap((event.clientX - frame.left) * unit(), (event.clientY - frame.top) * unit());
  });
}
