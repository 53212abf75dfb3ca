// Who is working and at what: a label on the records, and which screen comes first.

import { draw, go } from "../app.js";
import { act, h } from "../elements.js";
import { keep, state } from "../state.js";
import { say, speak, tongue } from "../words.js";

export async function who() {
  const name = h("input", { id: "name", type: "text", autocomplete: "name", maxlength: "60", value: state.me?.name ?? "", list: "names" });
  const fault = h("p", { class: "fault", role: "alert" });
  const start = (role) => act(say(`who.${role}`), async () => {
    const words = name.value.trim();
    if (!words) { fault.textContent = say("who.empty"); name.focus(); return; }
    await keep("me", { name: words, role });
    await keep("names", [words, ...state.names.filter((known) => known !== words)].slice(0, 12));
    go("#/");
  }, { class: "act first", id: `as-${role}` });
  return {
    title: state.device?.crew || state.device?.name || "Piñario", back: state.me ? "#/" : null,
    body: [
      h("h1", null, say("who.title")),
      h("label", { class: "name", for: "name" }, say("who.name")), name,
      h("datalist", { id: "names" }, state.names.map((known) => h("option", { value: known }))),
      state.names.length ? h("div", { class: "menu" }, state.names.slice(0, 4).map((known) => act(known, () => { name.value = known; }, { plain: true }))) : null,
      fault, h("h2", null, say("who.role")), start("sampler"), start("crew"),
      act(say("who.other_language"), async () => { const other = tongue() === "es" ? "en" : "es"; await keep("language", other); await speak(other); await draw(); }, { plain: true, id: "other-language", lang: tongue() === "es" ? "en" : "es-MX" }),
    ],
  };
}
