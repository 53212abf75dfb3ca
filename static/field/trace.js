// A walk round a plot as a list of events, and what they add up to. Pure: the same events always give
// the same line, so a phone that was killed reads its events again and goes on where it was.

import { RADIUS_PER_SD } from "./ground.js";
import { apart, area, crossings, plane, signedArea, simplified, unknotted, way } from "./plane.js";

/**
 * The filter, measured on emulated walks: a fix coarser than this is left out, a step shorter is standing still, a jump longer is a slip.
 * A phone that was silent may have been carried on at `pace_m_s` meanwhile, for a minute at most: cheap ones tell their place every 15 s.
 */
export const FILTER = { accuracy_m: 15, step_m: 2.5, jump_m: 15, jump_accuracies: 3, pace_m_s: 2, silence_s: 60, restart_after: 5, fragment_m: 30 };
/** How far a stretch goes back that is taken away at once. */
export const UNDO_M = 20;
/** GPS errors of a walk stay alike over about this way: half a minute at a walk (common practice for one frequency). */
const ALIKE_M = 40;
export const AVERAGED = 10;
const Z95 = 1.96;

/**
 * An empty walk. `points` are kept [x, y] in metres on `flat`, `acc` their accuracies, `starts` the indices at
 * which a fragment begins, `rejected` fixes in a row that would jump, `told` what became of the last fix:
 * "kept", "still", "coarse", "jump", "restart".
 */
export const blank = () => ({ flat: null, points: [], acc: [], starts: [], rejected: [], told: null, last: null, free: true, left_out: 0, heard_ms: null });

function keep(walk, at, accuracy_m) {
  walk.points.push(at);
  walk.acc.push(accuracy_m);
}

const farthest = (accuracy_m, silent_s = 0) => Math.max(FILTER.jump_m, FILTER.jump_accuracies * accuracy_m, FILTER.pace_m_s * Math.min(silent_s, FILTER.silence_s));

/** The line begins again where five left-out fixes agree: what was before stays if it is long, else it was the slip. */
function restart(walk) {
  const from = walk.starts.at(-1) ?? 0, fragment = walk.points.slice(from);
  if (way(fragment) < FILTER.fragment_m) { walk.points.length = walk.acc.length = from; walk.starts.pop(); }
  walk.starts.push(walk.points.length);
  const agreed = walk.rejected;
  walk.rejected = [];
  agreed.forEach(({ at, accuracy_m }, i) => { if (!i || apart(walk.points.at(-1), at) >= FILTER.step_m) keep(walk, at, accuracy_m); });
  walk.told = "restart";
}

function takeFix(walk, { lon, lat, accuracy_m, t_ms }) {
  const silent_s = walk.heard_ms && t_ms ? (t_ms - walk.heard_ms) / 1000 : 0;
  walk.heard_ms = t_ms;
  walk.flat ??= plane(lon, lat);
  const at = walk.flat.to([lon, lat]);
  walk.last = { at, accuracy_m };
  if (!(accuracy_m <= FILTER.accuracy_m)) { walk.told = "coarse"; walk.left_out += 1; return; }
  if (walk.free || !walk.points.length) {
    walk.starts.push(walk.points.length);
    Object.assign(walk, { free: false, rejected: [], told: "kept" });
    keep(walk, at, accuracy_m);
    return;
  }
  const step = apart(walk.points.at(-1), at);
  if (step > farthest(accuracy_m, silent_s)) {
    const agrees = walk.rejected.length && apart(walk.rejected.at(-1).at, at) <= farthest(accuracy_m, silent_s);
    walk.rejected = [...(agrees ? walk.rejected : []), { at, accuracy_m }];
    Object.assign(walk, { told: "jump", left_out: walk.left_out + 1 });
    if (walk.rejected.length >= FILTER.restart_after) restart(walk);
    return;
  }
  walk.rejected = [];
  walk.told = step < FILTER.step_m ? "still" : "kept";
  if (step >= FILTER.step_m) keep(walk, at, accuracy_m);
}

/** Take the last stretch away, about UNDO_M of it; the next fix may lie anywhere. */
function takeBack(walk) {
  let gone = 0;
  while (walk.points.length && gone < UNDO_M) {
    const point = walk.points.pop();
    walk.acc.pop();
    if (walk.points.length) gone += apart(walk.points.at(-1), point);
  }
  while (walk.starts.length && walk.starts.at(-1) >= walk.points.length) walk.starts.pop();
  Object.assign(walk, { free: true, rejected: [] });
}

/**
 * One event more: {fix: {lon, lat, accuracy_m}} heard, {corner: {…}} averaged, {gap: true} after a pause,
 * {undo: true} the last stretch or corner away.
 */
export function add(walk, event, corners = false) {
  if (event.fix) takeFix(walk, event.fix);
  else if (event.corner) {
    walk.flat ??= plane(event.corner.lon, event.corner.lat);
    keep(walk, walk.flat.to([event.corner.lon, event.corner.lat]), event.corner.accuracy_m);
  } else if (event.gap) Object.assign(walk, { free: true, rejected: [] });
  else if (event.undo && corners) { walk.points.pop(); walk.acc.pop(); } else if (event.undo) takeBack(walk);
  return walk;
}

/** The walk that a list of events adds up to. */
export const replay = (events, corners = false) => events.reduce((walk, event) => add(walk, event, corners), blank());

/** Mean place and mean accuracy of fixes at one corner: ten fixes in ten seconds share most of their error, so it is not divided by √10. */
export function averaged(fixes) {
  const mean = (name) => fixes.reduce((sum, fix) => sum + fix[name], 0) / fixes.length;
  return { lon: mean("lon"), lat: mean("lat"), accuracy_m: mean("accuracy_m") };
}

const median = (values) => [...values].sort((a, b) => a - b)[values.length >> 1] ?? 0;
export const accuracyOf = (walk) => median(walk.acc);

/**
 * Half the width of the area's 95 % interval, m². The area moves with each point by half the chord between
 * its neighbours, so for independent points var = σ²/4 · Σ chord². Corners are such points. Along a walk
 * errors stay alike over ALIKE_M, so a perimeter P has P/ALIKE_M of them with chords of 2·ALIKE_M: σ²·P·ALIKE_M.
 */
export function areaDoubt(ring, accuracy_m, corners) {
  const sd = accuracy_m / RADIUS_PER_SD;
  const chords2 = ring.reduce((sum, _, i) => sum + apart(ring.at(i - 1), ring[(i + 1) % ring.length]) ** 2, 0);
  const variance = corners ? (sd ** 2 * chords2) / 4 : sd ** 2 * way(ring, true) * ALIKE_M;
  return Math.min(Z95 * Math.sqrt(variance), area(ring));
}

/** Area now, its doubt, the way walked and the way back to the start; metres and hectares. */
export function standOf(walk, corners = false) {
  const { points } = walk, last = walk.last?.at ?? points.at(-1);
  return {
    area_ha: points.length > 2 ? area(points) / 10_000 : 0, doubt_ha: points.length > 2 ? areaDoubt(points, accuracyOf(walk), corners) / 10_000 : 0,
    way_m: way(points), home_m: points.length && last ? apart(points[0], last) : null,
  };
}

/** The ring of a finished walk in metres: small knots out, few points, against the clock. */
export function closed(walk, corners = false) {
  const few = corners ? walk.points : simplified(unknotted(walk.points));
  return signedArea(few) < 0 ? [...few].reverse() : few;
}

export const SMALLEST_M2 = 100, FAR_M = 200;

/** What is wrong with a ring, as [code, parameters]: corners, crossing, small, far (from `old`, the plot's ring on the same plane). */
export function problemsOf(ring, old = null) {
  if (ring.length < 3) return [["corners", {}]];
  const found = [], crossed = crossings(ring);
  if (crossed.length) found.push(["crossing", { n: crossed.length }]);
  else if (area(ring) < SMALLEST_M2) found.push(["small", { m2: area(ring) }]);
  if (old?.length > 2) {
    const middle = (points) => [0, 1].map((k) => points.reduce((sum, point) => sum + point[k], 0) / points.length);
    const away = apart(middle(ring), middle(old));
    if (away > FAR_M + Math.sqrt(Math.max(area(old), area(ring)))) found.push(["far", { metres: away }]);
  }
  return found;
}

/** GeoJSON of a ring: closed, WGS 84, seven decimals (a centimetre). */
export function geometryOf(walk, ring) {
  const round = (value) => Math.round(value * 1e7) / 1e7;
  const corners = ring.map((at) => walk.flat.from(at).map(round));
  return { type: "Polygon", coordinates: [[...corners, corners[0]]] };
}
