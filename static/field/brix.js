// °Brix as read, taken to 20 °C: the same table and the same rules as survey/brix.py, which writes the table.

let table = null;
const last = (list) => list[list.length - 1];
const clip = (value, low, high) => Math.min(Math.max(value, low), high);
const seen = (value) => value !== null && value !== undefined && Number.isFinite(Number(value));

/** Read the table once, at start. */
export async function loadTable() {
  table = await (await fetch(new URL("./brix_table.json", import.meta.url))).json();
}

/** Index i with axis[i] ≤ value, so that i and i + 1 are both on the axis. */
function cell(axis, value) {
  let i = 0;
  while (i < axis.length - 2 && axis[i + 1] <= value) i += 1;
  return [i, (value - axis[i]) / (axis[i + 1] - axis[i])];
}

/** {add, sd, tag} of a reading without ATC; beyond the table the edge value with a wider sd. */
function fromTable(raw, temp) {
  const { brix, temps, grid, per_degree } = table;
  const [i, u] = cell(temps, clip(temp, temps[0], last(temps))), [j, v] = cell(brix, clip(raw, brix[0], last(brix)));
  const add = (1 - u) * ((1 - v) * grid[i][j] + v * grid[i][j + 1]) + u * ((1 - v) * grid[i + 1][j] + v * grid[i + 1][j + 1]);
  const tag = temp === 20 ? "at_20" : temp <= table.last_printed_c ? "oiv" : temp < 20 ? "between" : "physical";
  const sd = tag === "at_20" ? 0 : tag !== "physical" ? table.printed_sd : temp <= 30 ? table.physical_sd : table.hot_sd;
  const beyond = Math.max(temp - last(temps), 0) + Math.max(temps[0] - temp, 0);
  const unprinted = beyond > 0 || (temp < 10 && raw > 30) || ((raw > last(brix) || raw < brix[0]) && temp !== 20);
  return { add: temp === 20 ? 0 : add, sd: unprinted ? sd + 0.05 + per_degree * beyond : sd, tag: unprinted ? "outside" : tag };
}

/**
 * One reading: {brix20_deg, sd_deg, tag}. `atc` is "yes" or true, "no" or false, anything else is not
 * known; limits of the ATC that are not known are those of the table.
 */
export function correct(raw, temp, atc, atcLow = null, atcHigh = null) {
  if (!seen(raw)) return { brix20_deg: null, sd_deg: null, tag: "no_reading" };
  const low = seen(atcLow) ? Number(atcLow) : table.atc_low_c, high = seen(atcHigh) ? Number(atcHigh) : table.atc_high_c;
  const known = seen(temp), spread = table.per_degree * table.unknown_temp_c;
  if (atc === "yes" || atc === true) {
    if (!known) return { brix20_deg: raw, sd_deg: 2 * table.atc_sd, tag: "atc" };
    const off = Math.max(temp - high, 0) + Math.max(low - temp, 0);
    return off ? { brix20_deg: raw, sd_deg: table.atc_sd + table.per_degree * off, tag: "atc_outside" } : { brix20_deg: raw, sd_deg: table.atc_sd, tag: "atc" };
  }
  if (!known) return { brix20_deg: raw, sd_deg: spread, tag: "no_temp" };
  const { add, sd, tag } = fromTable(raw, temp);
  if (atc === "no" || atc === false) return { brix20_deg: raw + add, sd_deg: sd, tag };
  return { brix20_deg: raw + add / 2, sd_deg: Math.hypot(Math.abs(add) / 2, table.atc_sd), tag: "atc_unknown" };
}
