// A sheet of fields made from the dictionary: few kinds of input, all with their name, unit and limits.

import { h } from "./elements.js";
import { choiceName, fieldHelp, fieldName, unitOf } from "./fields.js";
import { say, typed } from "./words.js";

const isNumber = (field) => field.type === "number" || field.type === "whole";

function options(kind, field, value, changed) {
  const list = field.type === "yes_no" ? [[1, say("yes")], [0, say("no")]] : field.choices.map((choice) => [choice, choiceName(kind, field.name, choice)]);
  const inputs = list.map(([choice, words]) => h("label", null,
    h("input", { type: "radio", name: field.name, value: String(choice), checked: value !== null && value !== undefined && String(value) === String(choice), onchange: changed }), words));
  const box = h("div", { class: "choices" }, inputs);
  return {
    element: h("fieldset", { id: `f-${field.name}` }, h("legend", null, title(kind, field)), box),
    focus: () => box.querySelector("input").focus(),
    value: () => {
      const picked = box.querySelector("input:checked");
      return picked ? (field.type === "yes_no" ? Number(picked.value) : picked.value) : null;
    },
  };
}

/** Name, unit, whether it may stay empty, and the dictionary's help in small. */
function title(kind, field) {
  const unit = unitOf(field), help = fieldHelp(kind, field.name);
  return [fieldName(kind, field.name) + (unit ? ` (${unit})` : ""), field.required ? "" : h("small", null, ` · ${say("form.optional")}`), help ? h("small", { class: "help" }, help) : ""];
}

function line(kind, field, value, changed) {
  const id = `f-${field.name}`, shown = value === null || value === undefined ? "" : isNumber(field) ? String(value) : value;
  const input = field.long ? h("textarea", { id, maxlength: "2000", oninput: changed, value: shown })
    : h("input", { id, type: field.type === "day" ? "date" : "text", inputmode: isNumber(field) ? (field.type === "whole" ? "numeric" : "decimal") : null,
      autocomplete: "off", maxlength: field.type === "day" ? null : "200", oninput: changed, value: shown });
  const step = (by) => { input.value = String(Math.max(field.low ?? 0, (typed(input.value) ?? 0) + by)); changed(); };
  const stepper = field.type === "whole" ? h("div", { class: "unit" }, input,
    h("button", { type: "button", "aria-label": say("count.less", { what: fieldName(kind, field.name) }), onclick: () => step(-1) }, "−"),
    h("button", { type: "button", "aria-label": say("count.more", { what: fieldName(kind, field.name) }), onclick: () => step(1) }, "+")) : input;
  return {
    element: h("div", null, h("label", { class: "name", for: id }, title(kind, field)), stepper),
    focus: () => input.focus(),
    value: () => {
      const text = clean(input.value);
      if (!text) return null;
      return isNumber(field) ? typed(text) ?? Number.NaN : text;
    },
  };
}

/** Typed or pasted text without control characters and broken surrogates. */
export const clean = (text) => (text.toWellFormed?.() ?? text).replace(/[\u0000-\u0009\u000b-\u001f\u007f]/g, " ").trim();

/** What is wrong with one value, in words; "" when nothing is. Unusual values are not faults: they are asked about. */
export function faultOf(kind, field, value) {
  if (value === null) return field.required ? say("form.needed", { field: fieldName(kind, field.name) }) : "";
  if (!isNumber(field)) return "";
  if (Number.isNaN(value)) return say("form.not_number", { field: fieldName(kind, field.name) });
  if (field.type === "whole" && !Number.isInteger(value)) return say("form.not_whole", { field: fieldName(kind, field.name) });
  return "";
}

/**
 * A form of one kind. `values()` gives the fields that were filled in, or null after showing what is
 * wrong beside the first faulty one; `changed(values)` is called at every touch.
 */
export function form(kind, fields, initial = {}, changed = () => {}) {
  const fault = h("p", { class: "fault", role: "alert" });
  const read = () => Object.fromEntries(lines.filter(([, part]) => !part.element.hidden).map(([field, part]) => [field.name, part.value()]));
  const touched = () => { fault.textContent = ""; hide(); changed(read()); };
  const hide = () => { for (const [field, part] of lines) part.element.hidden = field.only_if ? String(valueOf(field.only_if.field)) !== String(field.only_if.is) : false; };
  const valueOf = (name) => lines.find(([field]) => field.name === name)?.[1].value() ?? null;
  const lines = fields.map((field) => [field, (field.type === "choice" || field.type === "yes_no" ? options : line)(kind, field, initial[field.name], touched)]);
  const element = h("div", { class: "sheet", "data-kind": kind }, lines.map(([, part]) => part.element), fault);
  hide();
  return {
    element,
    values: () => {
      for (const [field, part] of lines) {
        if (part.element.hidden) continue;
        const words = faultOf(kind, field, part.value());
        if (words) { fault.textContent = words; part.focus(); return null; }
      }
      return Object.fromEntries(Object.entries(read()).filter(([, value]) => value !== null));
    },
  };
}
