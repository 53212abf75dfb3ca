// Language, hand, person, update: what is set once and forgotten.

import { draw } from "../app.js";
import { act, h } from "../elements.js";
import { read } from "../db.js";
import * as pack from "../pack.js";
import { keep, state } from "../state.js";
import { day, say, speak, tongue } from "../words.js";

const BUILD = new URL(import.meta.url).pathname.split("/")[2];

function choice(name, legend, options, chosen, change) {
  return h("fieldset", null, h("legend", null, legend), h("div", { class: "choices" }, options.map(([value, words]) =>
    h("label", null, h("input", { type: "radio", name, value, checked: value === chosen, onchange: () => change(value) }), words))));
}

export async function more() {
  const install = await read("install");
  const stored = (await navigator.storage?.persisted?.()) ? "more.firm" : "more.soft";
  return {
    title: say("more.title"), back: "#/",
    body: [
      h("h1", null, say("more.title")),
      choice("language", say("more.language"), [["es", "Español"], ["en", "English"]], tongue(), async (value) => { await keep("language", value); await speak(value); await draw(true); pack.refresh(true); }),
      choice("hand", say("more.hand"), [["right", say("more.hand.right")], ["left", say("more.hand.left")]], state.hand, async (value) => { await keep("hand", value); await draw(true); }),
      state.me ? h("p", null, h("a", { class: "act plain", href: "#/who" }, say("more.who", { name: state.me.name }))) : null,
      h("a", { class: "act plain", href: "#/log" }, say("more.log")),
      act(say("more.fetch"), async (button) => { button.textContent = say(`more.fetch.${await pack.refresh(true)}`); }, { plain: true }),
      h("p", { class: "note" }, say("more.home_screen")),
      h("dl", null,
        [[say("more.estate"), pack.pack().estate || "–"], [say("more.phone"), state.device?.name ?? "–"],
          [say("more.today"), pack.pack().today ? day(pack.pack().today) : "–"], [say("more.build"), BUILD],
          [say("more.install"), install ? install.slice(-12) : "–"], [say("more.storage"), say(stored)]]
          .map(([term, value]) => h("div", null, h("dt", null, term), h("dd", null, value)))),
    ],
  };
}
