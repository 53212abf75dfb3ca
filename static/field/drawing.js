// Ground drawn as SVG: outlines, tracks and the own place in metres, with north and a scale. North is up.

import { s } from "./elements.js";
import { box } from "./plane.js";
import { distance, say } from "./words.js";

export const WIDTH = 380;
const EDGE = 14, FOOT = 34, LEAST_M = 40;

/** The longest of 1, 2 or 5 times a power of ten metres that is at most `metres`. */
export function roundLength(metres) {
  const power = 10 ** Math.floor(Math.log10(metres));
  return [5, 2, 1].find((times) => times * power <= metres) * power;
}

/** A scale bar at the lower left and the mark of north at the lower right, for `metres` in one unit of the drawing. */
export function furniture(metres, width, height) {
  const length = roundLength(90 * metres), end = EDGE + length / metres, y = height - 9;
  return s("g", { class: "furniture", "aria-hidden": "true" },
    s("path", { class: "ink", d: `M${EDGE} ${y - 5}V${y}H${end}V${y - 5}` }), s("text", { x: end + 7, y: y + 1, class: "halo" }, distance(length)),
    s("path", { class: "north", d: `M${width - 20} ${height - 34}l6 16l-6 -4l-6 4z` }), s("text", { x: width - 20, y: height - 4, "text-anchor": "middle", class: "halo" }, say("map.north")));
}

/** "M…L…Z" of points through `at`, which turns metres into the drawing's units. */
export const pathOf = (points, at, close = true) => (points.length ? `M${points.map((point) => at(point).map((value) => value.toFixed(1)).join(" ")).join("L")}${close ? "Z" : ""}` : "");

/** The own place: a cross in a ring, and round it the circle in which the phone may be. */
export function ownPlace([x, y], radius) {
  return s("g", { class: "own", "aria-hidden": "true" }, radius > 9 ? s("circle", { class: "reach", cx: x, cy: y, r: radius }) : null,
    s("circle", { class: "me", cx: x, cy: y, r: 8 }), s("path", { class: "cross", d: `M${x - 13} ${y}h26M${x} ${y - 13}v26` }));
}

/**
 * A still picture of few lines: `layers` are {points, name, close} in metres, `marks` {at, name, text} places
 * on them, `own` {at, accuracy_m} or null. `words` say the same to who does not see it.
 */
export function sketch(layers, words, { marks = [], own = null, height = 240 } = {}) {
  const shape = layers.flatMap((layer) => layer.points), all = own && !shape.length ? [own.at] : shape;
  if (!all.length) return null;
  const { x, y, left, right, low, high } = box(own && near(own.at, shape) ? [...all, own.at] : all);
  const metres = Math.max(LEAST_M / WIDTH, (right - left) / (WIDTH - 2 * EDGE), (high - low) / (height - EDGE - FOOT));
  const at = ([px, py]) => [WIDTH / 2 + (px - x) / metres, (height + EDGE - FOOT) / 2 - (py - y) / metres];
  const place = own ? at(own.at) : null, seen = place && place[0] > 0 && place[0] < WIDTH && place[1] > 0 && place[1] < height;
  return s("svg", { class: "ground", viewBox: `0 0 ${WIDTH} ${height}`, role: "img", "aria-label": words },
    layers.map(({ points, name, close = true }) => s("path", { class: name, d: pathOf(points, at, close) })),
    seen ? ownPlace(place, own.accuracy_m / metres) : null,
    marks.map((mark) => { const [mx, my] = at(mark.at); return s("g", { class: mark.name }, s("circle", { cx: mx, cy: my, r: mark.text ? 11 : 9 }), mark.text ? s("text", { x: mx, y: my + 5, "text-anchor": "middle" }, mark.text) : null); }),
    furniture(metres, WIDTH, height));
}

/** Is a place within half the shape's size of it, so that drawing it does not shrink the shape to a dot? */
function near([x, y], shape) {
  if (!shape.length) return false;
  const { left, right, low, high } = box(shape), reach = Math.max(right - left, high - low, LEAST_M) / 2;
  return x > left - reach && x < right + reach && y > low - reach && y < high + reach;
}
