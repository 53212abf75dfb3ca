// One question over the screen, answered by a big button; Escape is the first, harmless answer.

import { h } from "./elements.js";

/** Ask for a few numbers; `parts` are [name, label, value]. Resolves with {name: text}, or null when left. */
export function askNumbers(title, parts, ok) {
  return new Promise((resolve) => {
    let answer = null;
    const inputs = parts.map(([name, label, value]) => [name, label, h("input", { id: `ask-${name}`, type: "text", inputmode: "numeric", autocomplete: "off", maxlength: "5", value: String(value ?? "") })]);
    const done = () => { answer = Object.fromEntries(inputs.map(([name, , input]) => [name, input.value])); box.close(); };
    const box = h("dialog", { "aria-labelledby": "ask-title" }, h("h2", { id: "ask-title" }, title),
      inputs.map(([name, label, input]) => [h("label", { class: "name", for: `ask-${name}` }, label), input]),
      h("button", { type: "button", class: "act", id: "ask-ok", onclick: done }, ok));
    box.addEventListener("close", () => { box.remove(); resolve(answer); });
    document.body.append(box);
    box.showModal();
  });
}

/** Ask and resolve with the chosen value. `words` are a sentence or a list of them; `choices` are [value, words]; the first is what Escape means. */
export function ask(title, words, choices) {
  return new Promise((resolve) => {
    const heading = h("h2", { id: "ask-title" }, title);
    const box = h("dialog", { "aria-labelledby": "ask-title" }, heading, Array.isArray(words) ? h("ul", null, words.map((one) => h("li", null, one))) : words ? h("p", null, words) : null,
      choices.map(([value, label], i) => h("button", { type: "button", class: i ? "act plain" : "act", "data-answer": String(value), onclick: () => { answer = value; box.close(); } }, label)));
    let answer = choices[0][0];
    box.addEventListener("close", () => { box.remove(); resolve(answer); });
    document.body.append(box);
    box.showModal();
  });
}
