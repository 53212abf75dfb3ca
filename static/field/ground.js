// Where the phone stands, how far that can be trusted, and which plot it is. Distances in metres on a
// local plane: within a few kilometres it differs from the ellipsoid by less than any phone's GPS.

import { apart, edgeOf, plane } from "./plane.js";

const FRESH_MS = 120_000;
/** A fix no better than this says little about the plot; common practice for a plot of a hectare or two. */
const COARSE_M = 150, NEAR_M = 150;
/** Farther and faster than any truck on these roads: the place before or this one is false. */
const JUMP_M = 2_000, JUMP_M_S = 60, SETTLED = 3;
/** Accuracy as phones mean it: 68 % of fixes are that near, so the sd of one coordinate is smaller by this. */
export const RADIUS_PER_SD = 1.515;
/** No phone knows better than this, whatever it says (from memory: open sky, one frequency). */
const BEST_M = 3;
/** Radii, in sd, of circles that each hold a tenth of a two-dimensional normal: the middles of ten equal shares. */
const RINGS = Array.from({ length: 10 }, (_, i) => Math.sqrt(-2 * Math.log(1 - (i + 0.5) / 10)));

/** `state` is off, seeking, here, refused or missing; `doubt` why a fix that came is not believed: "zero", "jumped" or null. */
export const standing = { state: "off", doubt: null, lat: null, lon: null, accuracy_m: null, at_ms: 0 };
let watch = null, before = null, agreeing = 0, told = null;

const fixOf = ({ coords, timestamp }) => ({ lat: coords.latitude, lon: coords.longitude, accuracy_m: coords.accuracy, t_ms: timestamp });
const metresBetween = (a, b) => apart(plane(b.lon, b.lat).to([a.lon, a.lat]), [0, 0]);

/** Could a truck have come from one fix to the other? */
function likely(from, to) {
  const metres = metresBetween(from, to) - from.accuracy_m - to.accuracy_m;
  return metres < JUMP_M || metres / Math.max((to.t_ms - from.t_ms) / 1000, 1) < JUMP_M_S;
}

/** Take a fix in and say why it is not believed, or null. After a jump the third fix in agreement is. */
function doubtOf(fix, last) {
  if (Math.abs(fix.lat) < 0.01 && Math.abs(fix.lon) < 0.01) return "zero";
  if (!last || likely(last.trusted, fix)) { before = { trusted: fix, latest: fix }; agreeing = 0; return null; }
  agreeing = likely(last.latest, fix) ? agreeing + 1 : 1;
  before = { trusted: agreeing >= SETTLED ? fix : last.trusted, latest: fix };
  return agreeing >= SETTLED ? null : "jumped";
}

function hear(place) {
  const fix = fixOf(place), first = standing.state !== "here", doubt = doubtOf(fix, before);
  if (!doubt || !before || first) Object.assign(standing, { lat: fix.lat, lon: fix.lon, accuracy_m: fix.accuracy_m, at_ms: Date.now() });
  Object.assign(standing, { state: "here", doubt });
  dispatchEvent(new CustomEvent("ground", { detail: { first, fix } }));
}

function stop(state) {
  standing.state = state;
  if (watch !== null) navigator.geolocation.clearWatch(watch);
  watch = null;
  dispatchEvent(new CustomEvent("ground", { detail: { first: true, fix: null } }));
}

/** Start listening to the GPS. Errors 2 and 3 pass by themselves; only a refusal (1) ends the watch. */
export function listen(again = false) {
  if (watch !== null || (standing.state === "refused" && !again)) return; // a refusal stands until someone asks again
  if (!navigator.geolocation) { standing.state = "missing"; return; }
  standing.state = "seeking";
  watch = navigator.geolocation.watchPosition(hear, (error) => { if (error.code === 1) stop("refused"); }, { enableHighAccuracy: true, maximumAge: 15_000 });
  navigator.permissions?.query({ name: "geolocation" }).then((permission) => {
    permission.onchange = () => { if (permission.state === "granted" && standing.state === "refused") listen(true); };
  }).catch(() => {});
}

/** How the place is known: off, seeking, refused, missing, zero, jumped, old, coarse or good. */
export function trust(now = Date.now()) {
  if (standing.state !== "here") return standing.state;
  if (standing.doubt) return standing.doubt;
  if (now - standing.at_ms > FRESH_MS) return "old";
  return standing.accuracy_m > COARSE_M || !(standing.accuracy_m >= 0) ? "coarse" : "good";
}

/** Minutes since the last fix. */
export const ageMinutes = (now = Date.now()) => Math.round((now - standing.at_ms) / 60_000);

/** The place to write into a record, or null when it is old, coarse or not to be believed. */
export function position(now = Date.now()) {
  if (trust(now) !== "good") return null;
  const round = (value, digits) => Math.round(value * 10 ** digits) / 10 ** digits;
  return { lat: round(standing.lat, 6), lon: round(standing.lon, 6), accuracy_m: round(standing.accuracy_m, 1) };
}

/** Can distances be shown from the last place at all? */
const known = (place) => place.lat !== null && !place.doubt;

/** Metres from a place to an outline (list of [lon, lat]); 0 inside, null when either is missing. */
export function metresTo(outline, place = standing) {
  if (!known(place) || !outline?.length) return null;
  const { inside, metres } = edgeOf(outline.map(plane(place.lon, place.lat).to));
  return inside ? 0 : metres;
}

/** Plots with `metres`, nearest first; without a fix, by name. */
export function byDistance(plots, place = standing) {
  const found = plots.map((plot) => ({ ...plot, metres: metresTo(plot.outline, place) }));
  return found.sort((a, b) => (a.metres ?? Infinity) - (b.metres ?? Infinity) || a.name.localeCompare(b.name));
}

/** Share (0 to 1) of the places where the phone may really stand that lie inside an outline. */
function chanceIn(outline, place) {
  const sd = Math.max(place.accuracy_m, BEST_M) / RADIUS_PER_SD, ring = outline.map(plane(place.lon, place.lat).to);
  let inside = 0;
  RINGS.forEach((radius, k) => {
    for (let turn = 0; turn < 8; turn += 1) {
      const way = ((turn + (k % 2) / 2) / 8) * 2 * Math.PI, dx = sd * radius * Math.cos(way), dy = sd * radius * Math.sin(way);
      if (edgeOf(ring.map(([x, y]) => [x - dx, y - dy])).inside) inside += 1;
    }
  });
  return inside / (8 * RINGS.length);
}

/**
 * Which plot this is: {kind, plots, trust}. kind "in": most of where the phone may stand is in one plot and no
 * other is a third as likely; "several": any of `plots`; "near": outside, plots[0] nearest; "far"; "unknown".
 */
export function where(plots, now = Date.now()) {
  const sure = trust(now), answer = judge(plots, sure);
  told = { plots, key: keyOf(answer) };
  return answer;
}

function judge(plots, sure) {
  if (!["good", "coarse"].includes(sure)) return { kind: "unknown", plots: [], trust: sure };
  const sorted = byDistance(plots), reach = 3 * Math.max(standing.accuracy_m, BEST_M);
  const likeliest = sorted.filter((plot) => plot.metres !== null && plot.metres <= (sure === "coarse" ? 0 : reach)).map((plot) => ({ ...plot, chance: chanceIn(plot.outline, standing) }))
    .filter((plot) => plot.chance >= 0.1).sort((a, b) => b.chance - a.chance);
  const [best, next] = likeliest;
  if (best?.chance >= 0.5 && (next?.chance ?? 0) <= best.chance / 3) return { kind: "in", plots: [best], trust: sure };
  if (sure === "coarse") return { kind: "unknown", plots: [], trust: sure };
  if (likeliest.length > 1) return { kind: "several", plots: likeliest.slice(0, 4), trust: sure };
  const near = sorted.filter((plot) => plot.metres !== null && plot.metres <= NEAR_M);
  const alike = near.filter((plot) => plot.metres <= near[0].metres + 2 * Math.max(standing.accuracy_m, BEST_M));
  if (alike.length > 1) return { kind: "several", plots: alike.slice(0, 4), trust: sure };
  return { kind: near.length ? "near" : "far", plots: near.slice(0, 1), trust: sure };
}

const keyOf = (answer) => [answer.kind, answer.trust, ...answer.plots.map((plot) => plot.code)].join(" ");

/** Would `where` now say another thing than it last told? */
export const moved = (now = Date.now()) => told !== null && keyOf(judge(told.plots, trust(now))) !== told.key;
