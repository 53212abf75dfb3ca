// How many plants are enough and where the next one stands: the same arithmetic as survey/sampling.py.

const Z95 = 1.959963984540054;
const STEP_AHEAD = 3, MOST = 60;

/** Sd of a plot's mean from its prior sd and n readings of one visit; n = 0 is the prior alone. */
export function meanSd(priorSd, visitSd, plantSd, n) {
  return n ? Math.sqrt(1 / (1 / priorSd ** 2 + 1 / (visitSd ** 2 + plantSd ** 2 / n))) : priorSd;
}

/** {mean_deg, sd_deg, low_deg, high_deg, more} of a plot from its prior and one round's readings. */
export function stand(values, prior, settings) {
  const n = values.length, sd = meanSd(prior.sd_deg, prior.visit_sd_deg, prior.plant_sd_deg, n);
  const noise = n ? prior.visit_sd_deg ** 2 + prior.plant_sd_deg ** 2 / n : Infinity;
  const weight = 1 / noise, base = 1 / prior.sd_deg ** 2;
  const mean = n ? (prior.mean_deg * base + (values.reduce((a, b) => a + b, 0) / n) * weight) / (base + weight) : prior.mean_deg;
  const enough = (k) => meanSd(prior.sd_deg, prior.visit_sd_deg, prior.plant_sd_deg, k) - meanSd(prior.sd_deg, prior.visit_sd_deg, prior.plant_sd_deg, k + STEP_AHEAD) < settings.enough_narrowing_deg;
  let more = 0;
  while (more < MOST && !enough(n + more)) more += 1;
  return { mean_deg: mean, sd_deg: sd, low_deg: mean - Z95 * sd, high_deg: mean + Z95 * sd, more };
}

export function systematicStart(rows, plants, n) {
  const rowStep = Math.max(1, Math.floor((rows ?? 60) / n)), plantStep = 7;
  return { row: 1 + Math.floor(Math.random() * rowStep), plant: 1 + Math.floor(Math.random() * plantStep), row_step: rowStep, plant_step: plantStep };
}
export function placeOf(walk, i) { return { row: walk.row + i * walk.row_step, plant: walk.plant + i * walk.plant_step }; }
