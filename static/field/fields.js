// The field dictionary as the phone needs it: one source with the server's check and the office's headings.

import { area, plane } from "./plane.js";
import { figure, known as hasWords, say, tongue } from "./words.js";

/** What can be noted at a plot beside a round, in the order of the buttons. */
export const PLOT_KINDS = ["row_count", "weighing", "age_check", "marking", "load", "labor", "loss", "lab", "outline", "remark"];
/** Fields of a row count that are touched up one by one. */
export const COUNTERS = ["plants_standing", "gaps", "replanted", "sick_wilt", "sick_bud_rot", "sick_weevil", "quiote", "capon"];

/** Units that are words: nouns the label already says are dropped, the others are said in the reader's language. */
const UNIT_WORDS = { plantas: "", surcos: "", piezas: "", "año": "", parte: "unit.share", "días": "unit.days", "°Bx": "unit.brix" };

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

/** Why a value is unusual: {low, high, unit, likely}, or null. `likely` is the value with its decimal point put back. */
export function doubtOf(kind, name, value) {
  const field = fieldOf(kind, name);
  if (!field || typeof value !== "number") return null;
  const low = field.usual_low ?? field.low ?? -Infinity, high = field.usual_high ?? field.high ?? Infinity;
  if (value >= low && value <= high) return null;
  const likely = [value / 10, value / 100, value * 10].map((one) => Math.round(one * 100) / 100).find((one) => one >= low && one <= high);
  return { low: Number.isFinite(low) ? low : null, high: Number.isFinite(high) ? high : null, unit: unitOf(field), likely: likely ?? null };
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
  const unit = unitOf(field), grouped = field.unit !== "año";
  return `${typeof value === "number" && grouped ? figure(value, 2) : cut(String(value))}${unit ? ` ${unit}` : ""}`;
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
