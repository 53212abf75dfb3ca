// One question over the screen, answered by a big button; Escape is the first, harmless answer.

import { h } from "./elements.js";

/** Ask and resolve with the chosen value. `choices` are [value, words]; the first is what Escape means. */
export function ask(title, words, choices) {
  return new Promise((resolve) => {
    const heading = h("h2", { id: "ask-title" }, title);
    const box = h("dialog", { "aria-labelledby": "ask-title" }, heading, words ? h("p", null, words) : null,
      choices.map(([value, label], i) => h("button", { type: "button", class: i ? "act plain" : "act", "data-answer": String(value), onclick: () => { answer = value; box.close(); } }, label)));
    let answer = choices[0][0];
    box.addEventListener("close", () => { box.remove(); resolve(answer); });
    document.body.append(box);
    box.showModal();
  });
}
