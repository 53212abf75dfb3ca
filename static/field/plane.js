// Outlines on a flat piece of ground: metres east and north of one place, areas, crossings, simplifying.
// A ring is a list of [x, y] in metres, not closed; an outline is the same in [lon, lat].

/** Metres of one degree of longitude and latitude at a latitude, on WGS 84 (series of the meridian and parallel arcs). */
export function degreeMetres(lat) {
  const p = (lat * Math.PI) / 180;
  return [111_412.84 * Math.cos(p) - 93.5 * Math.cos(3 * p) + 0.118 * Math.cos(5 * p),
    111_132.954 - 559.822 * Math.cos(2 * p) + 1.175 * Math.cos(4 * p)];
}

/**
 * A plane that touches the ground at a place: `to([lon, lat])` in metres and `from([x, y])` back.
 * Within 10 km of its place an area is off by less than 0.1 %, far below any phone's GPS.
 */
export function plane(lon, lat) {
  const [east, north] = degreeMetres(lat);
  return { to: ([x, y]) => [(x - lon) * east, (y - lat) * north], from: ([x, y]) => [lon + x / east, lat + y / north] };
}

export const apart = ([ax, ay], [bx, by]) => Math.hypot(bx - ax, by - ay);

/** Area in m² with its sign: above zero when the ring runs against the clock. */
export const signedArea = (ring) => ring.reduce((sum, [ax, ay], i) => {
  const [bx, by] = ring[(i + 1) % ring.length];
  return sum + (ax * by - bx * ay) / 2;
}, 0);

export const area = (ring) => Math.abs(signedArea(ring));

/** Length along the points in metres; of a closed ring also the way back to the first. */
export const way = (points, closed = false) => points.reduce((sum, point, i) => (i || closed ? sum + apart(points.at(i - 1), point) : 0), 0);

/** Is the place [0, 0] inside the ring, and how far is the ring's edge? */
export function edgeOf(ring) {
  let nearest = Infinity, inside = false;
  ring.forEach(([ax, ay], i) => {
    const [bx, by] = ring[(i + 1) % ring.length];
    if ((ay > 0) !== (by > 0) && 0 < ax - (ay / (by - ay)) * (bx - ax)) inside = !inside;
    const length2 = (bx - ax) ** 2 + (by - ay) ** 2;
    const t = length2 ? Math.min(1, Math.max(0, -(ax * (bx - ax) + ay * (by - ay)) / length2)) : 0;
    nearest = Math.min(nearest, Math.hypot(ax + t * (bx - ax), ay + t * (by - ay)));
  });
  return { inside, metres: nearest };
}

/** Where two stretches cross, or null; touching ends do not count. */
function crossing([ax, ay], [bx, by], [cx, cy], [dx, dy]) {
  const rx = bx - ax, ry = by - ay, sx = dx - cx, sy = dy - cy, turn = rx * sy - ry * sx;
  if (!turn) return null;
  const t = ((cx - ax) * sy - (cy - ay) * sx) / turn, u = ((cx - ax) * ry - (cy - ay) * rx) / turn;
  return t > 0 && t < 1 && u > 0 && u < 1 ? [ax + t * rx, ay + t * ry] : null;
}

/** Where a ring crosses itself: [first stretch, second stretch, [x, y]] of each place, stretches counted by their first point. */
export function crossings(ring) {
  const found = [];
  for (let i = 0; i < ring.length; i += 1) {
    for (let j = i + 2; j < ring.length; j += 1) {
      if (!i && j === ring.length - 1) continue;
      const at = crossing(ring[i], ring[i + 1], ring[j], ring[(j + 1) % ring.length]);
      if (at) found.push([i, j, at]);
    }
  }
  return found;
}

/**
 * Small knots cut out: standing about with a GPS draws loops of a few metres. A loop no longer than
 * `longest_m` becomes the point where it closes; a longer one is the walk's own and stays.
 */
export function unknotted(ring, longest_m = 40) {
  let points = ring;
  for (let round = 0; round < 60; round += 1) {
    const short = crossings(points).map(([i, j, at]) => {
      const loop = [at, ...points.slice(i + 1, j + 1)], rest = [at, ...points.slice(j + 1), ...points.slice(0, i + 1)];
      const [cut, left] = way(loop, true) <= way(rest, true) ? [loop, rest] : [rest, loop];
      return [way(cut, true), left];
    }).filter(([length, left]) => length <= longest_m && left.length > 2).sort(([a], [b]) => a - b)[0];
    if (!short) return points;
    points = short[1];
  }
  return points;
}

/** The ring without points nearer than `off_m` to the chord of those kept (Douglas & Peucker 1973). */
export function simplified(ring, off_m = 1.5) {
  if (ring.length < 4) return ring;
  const far = ring.reduce((best, point, i) => (apart(ring[0], point) > apart(ring[0], ring[best]) ? i : best), 0);
  const keep = new Set([0, far]), spans = [[0, far], [far, ring.length]];
  while (spans.length) {
    const [first, last] = spans.pop(), [ax, ay] = ring[first], [bx, by] = ring[last % ring.length];
    const length = Math.hypot(bx - ax, by - ay) || 1e-9;
    let most = off_m, at = -1;
    for (let i = first + 1; i < last; i += 1) {
      const off = Math.abs((bx - ax) * (ay - ring[i][1]) - (ax - ring[i][0]) * (by - ay)) / length;
      if (off > most) { most = off; at = i; }
    }
    if (at > 0) { keep.add(at); spans.push([first, at], [at, last]); }
  }
  return keep.size > 2 ? [...keep].sort((a, b) => a - b).map((i) => ring[i]) : ring;
}

/** Where a name has most room: the widest level stretch inside a ring near its middle, {x, y, wide}. */
export function roomIn(ring) {
  const { low, high } = box(ring);
  return [0.5, 0.4, 0.6, 0.3, 0.7].map((share) => {
    const y = low + share * (high - low), edges = [];
    ring.forEach(([ax, ay], i) => {
      const [bx, by] = ring[(i + 1) % ring.length];
      if ((ay > y) !== (by > y)) edges.push(ax + ((y - ay) / (by - ay)) * (bx - ax));
    });
    edges.sort((a, b) => a - b);
    const stretches = edges.filter((_, i) => i % 2 === 0).map((left, i) => [left, edges[2 * i + 1]]), [left, right] = stretches.reduce((best, one) => (one[1] - one[0] > best[1] - best[0] ? one : best), [0, 0]);
    return { x: (left + right) / 2, y, wide: right - left };
  }).reduce((best, one) => (one.wide > 1.15 * best.wide ? one : best));
}

/** The middle of a ring's box and the box itself: {x, y, left, right, low, high}. */
export function box(points) {
  const xs = points.map(([x]) => x), ys = points.map(([, y]) => y);
  const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  return { x: (left + right) / 2, y: (low + high) / 2, left, right, low, high };
}
