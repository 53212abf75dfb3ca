// A sheet of fields made from the dictionary: few kinds of input, all with their name, unit and limits.

import { h } from "./elements.js";
import { choiceName, faultOf, fieldHelp, fieldName, isNumber, isShare, unitOf } from "./fields.js";
import { say, typed } from "./words.js";

// A plant brought to the knife is six years old or thereabouts (common practice): counting from zero would be two thousand taps.
const USUAL_AGE_YEARS = 6;
/** Shares as they are said in the field; what is kept is the number. */
const SHARES = [[1, "all"], [0.5, "half"], [0.3333, "third"], [0.25, "quarter"]];

function options(kind, field, value, changed) {
  const list = field.type === "yes_no" ? [[1, say("yes")], [0, say("no")]] : field.choices.map((choice) => [choice, choiceName(kind, field.name, choice)]);
  const inputs = list.map(([choice, words]) => h("label", null,
    h("input", { type: "radio", name: field.name, value: String(choice), checked: value !== null && value !== undefined && String(value) === String(choice), onchange: changed }), words));
  const box = h("div", { class: "choices" }, inputs);
  const element = h("fieldset", { id: `f-${field.name}` }, h("legend", null, title(kind, field)), box);
  return {
    element, control: element,
    focus: () => box.querySelector("input").focus(),
    value: () => {
      const picked = box.querySelector("input:checked");
      return picked ? (field.type === "yes_no" ? Number(picked.value) : picked.value) : null;
    },
  };
}

/** Name, unit, whether it may stay empty, and the dictionary's help in small. */
function title(kind, field) {
  const unit = isShare(field) ? "" : unitOf(field), help = field.name === "part_of_row" ? "" : fieldHelp(kind, field.name);
  return [fieldName(kind, field.name) + (unit ? ` (${unit})` : ""), field.required ? "" : h("small", null, ` · ${say("form.optional")}`), help ? h("small", { class: "help" }, help) : ""];
}

/** A share of one: half, a third, … or any other as a percentage; the value is 0…1. */
function share(kind, field, value, changed) {
  const known = SHARES.find(([one]) => one === value), id = `f-${field.name}`;
  const percent = typeof value === "number" && !Number.isNaN(value) ? String(Math.round(value * 10_000) / 100) : value;
  const inputs = SHARES.map(([one, name]) => [one, h("input", { type: "radio", name: field.name, value: String(one), checked: known?.[0] === one, onchange: () => { other.value = ""; changed(); } }), say(`share.${name}`)]);
  const other = h("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", maxlength: "8", value: known || percent === null || percent === undefined ? "" : percent,
    oninput: () => { for (const [, input] of inputs) input.checked = false; changed(); } });
  return {
    element: h("fieldset", null, h("legend", null, title(kind, field)), h("div", { class: "choices" }, inputs.map(([, input, words]) => h("label", null, input, words))),
      h("label", { class: "name", for: id }, say("share.percent")), other),
    control: other,
    focus: () => other.focus(),
    raw: () => clean(other.value),
    value: () => {
      const picked = inputs.find(([, input]) => input.checked), text = clean(other.value).replace(/\s*%$/, "");
      if (picked) return picked[0];
      return text ? Math.round((typed(text) ?? Number.NaN) * 100) / 10_000 : null;
    },
  };
}

/** Where a stepper stands after one touch from `now`, null when nothing is written yet. */
function stepped(field, now, by) {
  const next = now === null && field.unit === "año" ? new Date().getFullYear() - USUAL_AGE_YEARS : (now ?? 0) + by;
  return Math.min(field.high ?? Infinity, Math.max(field.low ?? 0, next));
}

function line(kind, field, value, changed) {
  const id = `f-${field.name}`, shown = value === null || value === undefined || Number.isNaN(value) ? "" : String(value);
  const input = field.long ? h("textarea", { id, maxlength: "2000", oninput: changed, value: shown })
    : h("input", { id, type: field.type === "day" ? "date" : "text", inputmode: isNumber(field) ? (field.type === "whole" ? "numeric" : "decimal") : null,
      autocomplete: "off", maxlength: field.type === "day" ? null : "200", oninput: changed, value: shown });
  const step = (by) => { input.value = String(stepped(field, typed(input.value), by)); changed(); };
  const stepper = field.type === "whole" ? h("div", { class: "unit" }, input,
    h("button", { type: "button", "aria-label": say("count.less", { what: fieldName(kind, field.name) }), onclick: () => step(-1) }, "−"),
    h("button", { type: "button", "aria-label": say("count.more", { what: fieldName(kind, field.name) }), onclick: () => step(1) }, "+")) : input;
  return {
    element: h("div", null, h("label", { class: "name", for: id }, title(kind, field)), stepper),
    control: input,
    focus: () => input.focus(),
    raw: () => clean(input.value),
    value: () => {
      const text = clean(input.value);
      if (!text) return null;
      return isNumber(field) ? typed(text) ?? Number.NaN : text;
    },
  };
}

/** Typed or pasted text without control characters and broken surrogates. */
export const clean = (text) => (text.toWellFormed?.() ?? text).replace(/[\u0000-\u0009\u000b-\u001f\u007f]/g, " ").trim();

/** Say what is wrong directly at a field, tied to its control for who hears the page; "" takes it away. */
export function tell({ element, control }, name, words) {
  element.querySelector(":scope > .fault")?.remove();
  if (!words) { control.removeAttribute("aria-describedby"); control.removeAttribute("aria-invalid"); return; }
  element.append(h("p", { class: "fault", id: `fault-${name}`, role: "alert" }, words));
  control.setAttribute("aria-describedby", `fault-${name}`);
  if (control.tagName !== "FIELDSET") control.setAttribute("aria-invalid", "true");
}

/** The kind of input a field wants. */
function inputFor(field) {
  if (field.type === "choice" || field.type === "yes_no") return options;
  return isShare(field) ? share : line;
}

/**
 * A form of one kind. `values()` gives the fields that were filled in, or null after showing at each faulty one
 * what is wrong; `changed(values)` is called at every touch and gets unreadable numbers as the text they are, for the
 * draft; `refuse(name, words)` tells at a field what the whole sheet lacks; `show(name, on)` hides a field.
 */
export function form(kind, fields, initial = {}, changed = () => {}) {
  const away = new Set();
  let refused = null;
  const inSight = () => lines.filter(([, part]) => !part.element.hidden);
  const kept = ([field, part]) => { const value = part.value(); return [field.name, Number.isNaN(value) ? part.raw() : value]; };
  const touched = (name) => {
    for (const [field, part] of lines) if (field.name === name || field.name === refused) tell(part, field.name, "");
    refused = null;
    hide();
    changed(Object.fromEntries(inSight().map(kept)));
  };
  const hide = () => { for (const [field, part] of lines) part.element.hidden = away.has(field.name) || (field.only_if ? String(valueOf(field.only_if.field)) !== String(field.only_if.is) : false); };
  const valueOf = (name) => lines.find(([field]) => field.name === name)?.[1].value() ?? null;
  const go = (part) => {
    const folded = part.element.closest("details");
    if (folded) folded.open = true;
    part.focus();
  };
  const lines = fields.map((field) => [field, inputFor(field)(kind, field, initial[field.name], () => touched(field.name))]);
  const element = h("div", { class: "sheet", "data-kind": kind }, lines.map(([, part]) => part.element));
  hide();
  return {
    element,
    values: () => {
      const wrong = inSight().filter(([field, part]) => {
        const words = faultOf(kind, field, part.value());
        tell(part, field.name, words);
        return words;
      });
      if (wrong.length) { go(wrong[0][1]); return null; }
      return Object.fromEntries(inSight().map(([field, part]) => [field.name, part.value()]).filter(([, value]) => value !== null));
    },
    refuse: (name, words) => {
      const found = lines.find(([field]) => field.name === name);
      refused = name;
      tell(found[1], name, words);
      go(found[1]);
    },
    show: (name, on) => { if (on) away.delete(name); else away.add(name); hide(); },
  };
}
