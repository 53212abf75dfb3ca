// The keypad of the look: ten figures, a decimal sign and one to take back; real keys work as well.

import { h } from "./elements.js";
import { say } from "./words.js";

const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "⌫"];
const LONGEST = 6;

/** The text after one key: a comma counts as a point, a second point is ignored. */
export function press(text, key) {
  if (key === "⌫" || key === "Backspace") return text.slice(0, -1);
  const sign = key === "," ? "." : key;
  if (!/^[0-9.]$/.test(sign) || text.length >= LONGEST || (sign === "." && text.includes("."))) return text;
  return text + sign;
}

/** Keypad whose keys call `change(text => text)`; `done` answers Enter. */
export function keypad(change, done) {
  const button = (key) => h("button", { type: "button", "aria-label": key === "⌫" ? say("pad.back") : key === "." ? say("pad.point") : null, onclick: () => change((text) => press(text, key)) }, key);
  const pad = h("div", { class: "pad", role: "group", "aria-label": say("pad.name") }, KEYS.map(button));
  const listen = (event) => {
    if (!pad.isConnected) { removeEventListener("keydown", listen); return; }
    if (event.ctrlKey || event.metaKey || event.altKey || /^(INPUT|TEXTAREA|SELECT)$/.test(event.target.tagName) || document.querySelector("dialog[open]")) return;
    if (event.key === "Enter" && !/^(BUTTON|A|SUMMARY)$/.test(event.target.tagName)) { event.preventDefault(); done(); }
    else if (/^([0-9.,]|Backspace)$/.test(event.key)) { event.preventDefault(); change((text) => press(text, event.key)); }
  };
  addEventListener("keydown", listen);
  return pad;
}
