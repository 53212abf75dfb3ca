// The field dictionary as the phone needs it: one source with the server's check and the office's headings.

import { area, plane } from "./plane.js";
import { figure, known as hasWords, say, tongue } from "./words.js";

/** What can be noted at a plot beside a round, in the order of the buttons. */
export const PLOT_KINDS = ["row_count", "weighing", "age_check", "marking", "load", "labor", "loss", "lab", "outline", "remark"];
/** Fields of a row count that are touched up one by one. */
export const COUNTERS = ["plants_standing", "gaps", "replanted", "sick_wilt", "sick_bud_rot", "sick_weevil", "quiote", "capon"];

/** Units that are words: nouns the label already says are dropped, the others are said in the reader's language. */
const UNIT_WORDS = { plantas: "", surcos: "", piezas: "", "año": "", parte: "", "días": "unit.days", "°Bx": "unit.brix" };

let kinds = {};

export async function loadFields() {
  const read = await (await fetch(new URL("./dictionary.json", import.meta.url))).json();
  kinds = Object.fromEntries(read.kinds.map((kind) => [kind.kind, kind]));
}

export const known = (kind) => Object.hasOwn(kinds, kind);
export const fieldsOf = (kind) => kinds[kind]?.fields ?? [];
const fieldOf = (kind, name) => fieldsOf(kind).find((field) => field.name === name);
const inWords = (labels, fallback) => labels?.[tongue()] ?? fallback;

export const kindName = (kind) => (hasWords(`kind.${kind}`) ? say(`kind.${kind}`) : inWords(kinds[kind]?.label, kind));
export const fieldName = (kind, name) => inWords(fieldOf(kind, name)?.label, name);
export const fieldHelp = (kind, name) => inWords(fieldOf(kind, name)?.help, "");
export const choiceName = (kind, name, choice) => inWords(fieldOf(kind, name)?.choice_labels?.[choice], String(choice));
export const unitOf = (field) => (field.unit in UNIT_WORDS ? UNIT_WORDS[field.unit] && say(UNIT_WORDS[field.unit]) : field.unit ?? "");

export const isNumber = (field) => field.type === "number" || field.type === "whole";
/** A part of a whole, kept as 0…1 and said in percent. */
export const isShare = (field) => field.unit === "parte";
/** Where one is: ten times a row is another row, not the same one mistyped. */
const PLACES = new Set(["row", "plant", "start_row"]);

/** A number of a field as it is said: its unit where there is one, a share in percent, a year without a comma. */
export function numberWords(field, value, bare = false) {
  if (isShare(field)) return `${figure(value * 100, 2)}${bare ? "" : " %"}`;
  const unit = bare ? "" : unitOf(field);
  return `${field.unit === "año" ? String(value) : figure(value, 2)}${unit ? ` ${unit}` : ""}`;
}

/** "de 6 a 38 °Brix" and the like, from the sentences `code`, `code_from` and `code_to`; "" without any limit. */
function rangeWords(code, field, low, high, params) {
  if (low === null && high === null) return "";
  if (high === null) return say(`${code}_from`, { ...params, low: numberWords(field, low) });
  if (low === null) return say(`${code}_to`, { ...params, high: numberWords(field, high) });
  return say(code, { ...params, low: numberWords(field, low, true), high: numberWords(field, high) });
}

/** What the office would hold for certain, in words: a value outside what can be; "" when it is inside. */
export function limitOf(kind, name, value) {
  const field = fieldOf(kind, name);
  if (!field || typeof value !== "number" || (value >= (field.low ?? -Infinity) && value <= (field.high ?? Infinity))) return "";
  return rangeWords("form.limits", field, field.low ?? null, field.high ?? null, { field: fieldName(kind, name) });
}

/** What is wrong with one value, in words; "" when nothing is. Unusual values are not faults: they are asked about. */
export function faultOf(kind, field, value) {
  const name = { field: fieldName(kind, field.name) };
  if (value === null) return field.required ? say("form.needed", name) : "";
  if (!isNumber(field)) return "";
  if (field.type === "whole" && !Number.isInteger(value)) return say("form.not_whole", name);
  if (Number.isNaN(value)) return say("form.not_number", name);
  return limitOf(kind, field.name, value);
}

/**
 * Why a value is unusual: {value, usual, likely, likely_words, limit}, or null. `likely` is the value with its decimal
 * point put back, null where there is none; `limit` is "" or what no record may pass.
 */
export function doubtOf(kind, name, value) {
  const field = fieldOf(kind, name);
  if (!field || typeof value !== "number") return null;
  const low = field.usual_low ?? field.low ?? null, high = field.usual_high ?? field.high ?? null;
  const usual = (one) => one >= (low ?? -Infinity) && one <= (high ?? Infinity), limit = limitOf(kind, name, value);
  if (usual(value) && !limit) return null;
  const rounded = (one) => (field.type === "whole" ? Math.round(one) : Math.round(one * 100) / 100);
  const likely = PLACES.has(name) ? null : [value / 10, value / 100, value * 10].map(rounded).find(usual) ?? null;
  return { value: numberWords(field, value), usual: rangeWords("doubt.usual", field, low, high), likely, likely_words: likely === null ? "" : numberWords(field, likely), limit };
}

/** An outline in words: its area. */
function outlineWords(geometry) {
  const [ring] = geometry.coordinates, [lon, lat] = ring[0];
  return say("walk.shown", { area: figure(area(ring.slice(0, -1).map(plane(lon, lat).to)) / 10_000, 2, true) });
}

/** The first of a long text, cut between whole characters: an emoji or a letter with its accent stays one. */
const LONGEST_WORDS = 80;
function cut(text) {
  if (text.length <= LONGEST_WORDS) return text;
  const letters = globalThis.Intl?.Segmenter ? Array.from(new Intl.Segmenter(tongue()).segment(text), ({ segment }) => segment) : Array.from(text);
  return letters.length > LONGEST_WORDS ? `${letters.slice(0, LONGEST_WORDS).join("")}…` : text;
}

function valueWords(kind, field, value) {
  if (field.type === "choice") return choiceName(kind, field.name, value);
  if (field.type === "yes_no") return say(Number(value) ? "yes" : "no");
  if (field.type === "outline") return outlineWords(value);
  if (typeof value === "object") return "…";
  return typeof value === "number" ? numberWords(field, value) : cut(String(value));
}

/** The filled fields of a record as [name, value in words], in the dictionary's order. */
export const shown = (record) => fieldsOf(record.kind).filter((field) => ![undefined, null, ""].includes(record[field.name]))
  .map((field) => [field.name, valueWords(record.kind, field, record[field.name])]);

/** A record in few words: what it is about first, then what else was noted. */
export function inShort(record) {
  const asked = new Set(fieldsOf(record.kind).filter((field) => field.required).map((field) => field.name));
  const values = shown(record).filter(([name]) => !["crew", "people", "row", "plant"].includes(name));
  return [...values.filter(([name]) => asked.has(name)), ...values.filter(([name]) => !asked.has(name))].slice(0, 2).map(([, value]) => value).join(", ");
}
