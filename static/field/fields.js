// The field dictionary as the phone needs it: one source with the server's check and the office's headings.

import { figure, known as hasWords, say, tongue } from "./words.js";

/** What can be noted at a plot beside a round, in the order of the buttons. */
export const PLOT_KINDS = ["row_count", "weighing", "age_check", "marking", "load", "labor", "loss", "remark"];
/** Fields of a row count that are touched up one by one. */
export const COUNTERS = ["plants_standing", "gaps", "replanted", "sick_wilt", "sick_bud_rot", "sick_weevil", "quiote", "capon"];

let kinds = {}, fields = {};

export async function loadFields() {
  const read = await (await fetch(new URL("./dictionary.json", import.meta.url))).json();
  kinds = Object.fromEntries(read.kinds.map((kind) => [kind.kind, kind]));
  fields = {};
  for (const kind of read.kinds) for (const field of kind.fields) fields[field.name] ??= field;
}

export const known = (kind) => Object.hasOwn(kinds, kind);
export const fieldsOf = (kind) => kinds[kind]?.fields ?? [];
const inWords = (labels, fallback) => labels?.[tongue()] ?? fallback;

export const kindName = (kind) => (hasWords(`kind.${kind}`) ? say(`kind.${kind}`) : inWords(kinds[kind]?.label, kind));
export const fieldName = (name) => inWords(fields[name]?.label, name);
export const choiceName = (name, choice) => inWords(fields[name]?.choice_labels?.[choice], String(choice));

/** Why a value is unusual: {low, high, unit, likely}, or null. `likely` is the value with its decimal point put back. */
export function doubtOf(kind, name, value) {
  const field = fieldsOf(kind).find((one) => one.name === name);
  if (!field || typeof value !== "number") return null;
  const low = field.usual_low ?? -Infinity, high = field.usual_high ?? Infinity;
  if (value >= low && value <= high) return null;
  const likely = [value / 10, value / 100, value * 10].map((one) => Math.round(one * 100) / 100).find((one) => one >= low && one <= high);
  return { low: Number.isFinite(low) ? low : null, high: Number.isFinite(high) ? high : null, unit: field.unit ?? "", likely: likely ?? null };
}

function valueWords(field, value) {
  if (field.type === "choice") return choiceName(field.name, value);
  if (field.type === "yes_no") return say(Number(value) ? "yes" : "no");
  return `${typeof value === "number" ? figure(value, 2) : String(value).slice(0, 80)}${field.unit ? ` ${field.unit}` : ""}`;
}

/** The filled fields of a record as [name, value in words], in the dictionary's order. */
export const shown = (record) => fieldsOf(record.kind).filter((field) => ![undefined, null, ""].includes(record[field.name]))
  .map((field) => [field.name, valueWords(field, record[field.name])]);
