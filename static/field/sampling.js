// How many plants are enough and where the next one stands: the same arithmetic as survey/sampling.py.

const Z95 = 1.959963984540054;
const AHEAD = 3, MOST = 60, SURPRISE_FROM = 3, SURPRISE_Z = 3;
const GOLDEN = 0.6180339887498949;
const GUESSED_ROWS = 60, GUESSED_PLANTS = 100;

/** Sd °Bx of a plot's mean after n plants of one visit; `prior` is {mean_deg, sd_deg, visit_sd_deg, plant_sd_deg}. */
export function meanSd(prior, n) {
  return n > 0 ? Math.sqrt(1 / (1 / prior.sd_deg ** 2 + 1 / (prior.visit_sd_deg ** 2 + prior.plant_sd_deg ** 2 / n))) : prior.sd_deg;
}

/** [mean, sd] °Bx of the plot after this round's readings (already at 20 °C). */
export function posterior(prior, values) {
  const n = values.length;
  if (!n) return [prior.mean_deg, prior.sd_deg];
  const base = 1 / prior.sd_deg ** 2, weight = 1 / (prior.visit_sd_deg ** 2 + prior.plant_sd_deg ** 2 / n);
  const mean = values.reduce((sum, value) => sum + value, 0) / n;
  return [(prior.mean_deg * base + mean * weight) / (base + weight), meanSd(prior, n)];
}

/** Plants still to read until three more would narrow the sd by less than `narrowing` (0 = enough). */
export function stillNeeded(prior, n, narrowing) {
  let more = 0;
  while (more < MOST && meanSd(prior, n + more) - meanSd(prior, n + more + AHEAD) >= narrowing) more += 1;
  return more;
}

/** {off_deg, surprise}: how far this round lies from what was expected, and whether that is more than chance would do. */
export function against(prior, values) {
  const n = values.length;
  if (!n) return { off_deg: 0, surprise: false };
  const off = values.reduce((sum, value) => sum + value, 0) / n - prior.mean_deg;
  return { off_deg: off, surprise: n >= SURPRISE_FROM && Math.abs(off) > SURPRISE_Z * Math.sqrt(prior.sd_deg ** 2 + prior.visit_sd_deg ** 2 + prior.plant_sd_deg ** 2 / n) };
}

/** What the screen shows: {mean_deg, sd_deg, low_deg, high_deg, more, off_deg, surprise}, the interval at 95 %. */
export function stand(prior, values, narrowing) {
  const [mean, sd] = posterior(prior, values);
  return { mean_deg: mean, sd_deg: sd, low_deg: mean - Z95 * sd, high_deg: mean + Z95 * sd, more: stillNeeded(prior, values.length, narrowing), ...against(prior, values) };
}

/** Units needed for a mean within `error`, with the finite-population correction (Cochran 1977, §4.4–4.6). */
export function sampleSize(sd, error, population = null, z = 1.96) {
  if (sd <= 0) return 1;
  const n0 = ((z * sd) / error) ** 2, n = population === null ? n0 : n0 / (1 + n0 / population);
  return Math.max(1, population === null ? Math.ceil(n) : Math.min(Math.ceil(n), population));
}

// Student's t, 97.5 %, for 1 to 30 degrees of freedom, as in survey/sampling.py.
const T975 = [12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131,
  2.120, 2.110, 2.101, 2.093, 2.086, 2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042];
const FEWEST_ROWS = 5;

/** Plants standing a row after some rows: {mean, low, high, more}; the interval at 95 % is null below two rows. */
export function rowsStand(counts, rowsInPlot, share) {
  const n = counts.length, mean = counts.reduce((sum, count) => sum + count, 0) / n;
  const few = Math.min(FEWEST_ROWS, rowsInPlot ?? FEWEST_ROWS);
  if (n < 2) return { mean, low: null, high: null, more: Math.max(0, few - n) };
  const sd = Math.sqrt(counts.reduce((sum, count) => sum + (count - mean) ** 2, 0) / (n - 1));
  const t = T975[Math.min(n - 1, T975.length) - 1];
  const left = rowsInPlot === null ? 1 : Math.max(0, 1 - n / Math.max(rowsInPlot, n));
  const half = t * sd * Math.sqrt(left / n);
  const needed = mean > 0 && n >= few ? sampleSize(sd, share * mean, rowsInPlot, t) : few;
  return { mean, low: mean - half, high: mean + half, more: Math.max(0, Math.max(few, needed) - n) };
}

/** `n` of `population` units at equal distance from a start within the first step; 1-based. */
export function systematic(population, n, start) {
  const count = Math.min(n, population), step = population / count;
  return Array.from({ length: count }, (_, i) => Math.min(population, Math.trunc(start + i * step)));
}

/** A walk drawn afresh: rows at equal distance from a random start, one plant in each, equally drawn along the row. */
export function drawWalk(rows, plants, n, random = Math.random) {
  const size = { rows: rows ?? GUESSED_ROWS, plants: plants ?? GUESSED_PLANTS };
  return { ...size, n: Math.min(n, size.rows), row_draw: random(), plant_draw: random() };
}

/** The i-th row to count (from 0) of a systematic draw of `n` rows; once through, the next pass takes rows between. */
export function rowToCount(draw, i) {
  const n = Math.min(draw.n, draw.rows), share = (draw.row_draw + Math.floor(i / n) * GOLDEN) % 1;
  return systematic(draw.rows, n, 1 + share * (draw.rows / n))[i % n];
}

/** {row, plant} of the i-th reading (from 0); once through the plot, the next pass takes rows between. */
export function placeOf(walk, i) {
  const pass = Math.floor(i / walk.n), at = i % walk.n;
  const draw = (share) => (share + pass * GOLDEN) % 1;
  const pick = (population, share) => systematic(population, walk.n, 1 + draw(share) * (population / Math.min(walk.n, population)));
  const plants = pick(walk.plants, walk.plant_draw);
  return { row: pick(walk.rows, walk.row_draw)[at], plant: plants[at % plants.length] };
}
