// Where the phone stands and how far each plot is. Distances in metres on a local plane: within a
// few kilometres it differs from the ellipsoid by less than any phone's GPS.

const M_PER_DEG = 111_195;
const FRESH_MS = 120_000;
export const standing = { state: "off", lat: null, lon: null, accuracy_m: null, at_ms: 0 };
let watch = null;

/** Start listening to the GPS. Errors 2 and 3 pass by themselves; only a refusal (1) ends the watch. */
export function listen() {
  if (watch !== null || standing.state === "refused") return; // a refusal stands until the app is opened again
  if (!navigator.geolocation) { standing.state = "missing"; return; }
  standing.state = "seeking";
  watch = navigator.geolocation.watchPosition(({ coords }) => {
    const first = standing.state !== "here";
    Object.assign(standing, { state: "here", lat: coords.latitude, lon: coords.longitude, accuracy_m: coords.accuracy, at_ms: Date.now() });
    dispatchEvent(new CustomEvent("ground", { detail: { first } }));
  }, (error) => {
    if (error.code !== 1) return;
    standing.state = "refused";
    navigator.geolocation.clearWatch(watch);
    watch = null;
    dispatchEvent(new CustomEvent("ground", { detail: { first: true } }));
  }, { enableHighAccuracy: true, maximumAge: 15_000 });
}

/** The place to write into a record, or null when the last fix is old. */
export function position(now = Date.now()) {
  if (standing.state !== "here" || now - standing.at_ms > FRESH_MS) return null;
  const round = (value, digits) => Math.round(value * 10 ** digits) / 10 ** digits;
  return { lat: round(standing.lat, 6), lon: round(standing.lon, 6), accuracy_m: round(standing.accuracy_m, 1) };
}

/** Metres from a place to an outline (list of [lon, lat]); 0 inside, null when either is missing. */
export function metresTo(outline, place = standing) {
  if (place.lat === null || !outline?.length) return null;
  const across = M_PER_DEG * Math.cos((place.lat * Math.PI) / 180);
  const points = outline.map(([lon, lat]) => [(lon - place.lon) * across, (lat - place.lat) * M_PER_DEG]);
  let nearest = Infinity, inside = false;
  points.forEach(([ax, ay], i) => {
    const [bx, by] = points[(i + 1) % points.length];
    if ((ay > 0) !== (by > 0) && 0 < ax + ((0 - ay) / (by - ay)) * (bx - ax)) inside = !inside;
    const length2 = (bx - ax) ** 2 + (by - ay) ** 2;
    const t = length2 ? Math.min(1, Math.max(0, -(ax * (bx - ax) + ay * (by - ay)) / length2)) : 0;
    nearest = Math.min(nearest, Math.hypot(ax + t * (bx - ax), ay + t * (by - ay)));
  });
  return inside ? 0 : nearest;
}

/** Plots with `metres`, nearest first; without a fix, by name. */
export function byDistance(plots, place = standing) {
  const found = plots.map((plot) => ({ ...plot, metres: metresTo(plot.outline, place) }));
  return found.sort((a, b) => (a.metres ?? Infinity) - (b.metres ?? Infinity) || a.name.localeCompare(b.name));
}
