// Choosing a plot: nearest first when the phone knows where it is, and always by name.

import { h, line } from "../elements.js";
import { ageMinutes, byDistance, listen, standing, trust } from "../ground.js";
import { pack } from "../pack.js";
import { distance, figure, say } from "../words.js";

const SHOWN = 40;
const plain = (text) => text.normalize("NFD").replace(/[\u0300-\u036f]/g, "").toLowerCase();

/** "El Tapia, VS-04": the name first, as people say it. */
export const called = (plot) => (plot.name && plot.name !== plot.code ? `${plot.name}, ${plot.code}` : plot.code);

/** Where a plot lies from here, in words; "" when unknown, or when the place is old or less sure than the distance. */
export function away(metres) {
  const sure = trust();
  if (metres === null || metres === undefined || !["good", "coarse"].includes(sure) || (sure === "coarse" && metres < standing.accuracy_m)) return "";
  return metres === 0 ? say("plots.here") : say("plots.away", { distance: distance(metres) });
}

/** How well the phone knows its place. */
export function groundWords() {
  const sure = trust();
  if (sure === "good") return say("plots.accuracy", { metres: figure(standing.accuracy_m) });
  if (standing.state !== "here") return say(`plots.gps.${sure}`);
  return say(`ground.${sure}`, { n: ageMinutes(), metres: distance(standing.accuracy_m) });
}

export async function plots() {
  listen();
  const list = h("ul", { class: "list" }), tally = h("p", { class: "soft", role: "status" });
  const fill = () => {
    const wanted = plain(search.value.trim());
    const all = byDistance(pack().plots).filter((plot) => !wanted || plain(`${plot.name} ${plot.code} ${plot.zone ?? ""}`).includes(wanted));
    list.replaceChildren(...all.slice(0, SHOWN).map((plot) => line(`#/plot/${encodeURIComponent(plot.code)}`, called(plot), [plot.zone, away(plot.metres)].filter(Boolean).join(" · "))));
    tally.textContent = all.length > SHOWN ? say("plots.shown", { shown: SHOWN, all: figure(all.length) }) : say("plots.found", { n: all.length });
  };
  const search = h("input", { id: "search", type: "search", autocomplete: "off", oninput: fill });
  fill();
  return {
    title: say("plots.title"), back: "#/",
    body: [h("h1", null, say("plots.which")), h("label", { class: "name", for: "search" }, say("plots.search")), search,
      h("p", { class: "soft" }, groundWords()), list, tally,
      h("div", { class: "menu" }, h("a", { class: "act plain", href: "#/map", id: "as-map" }, say("plots.map")), h("a", { class: "act plain", href: "#/walk", id: "new-land" }, say("plots.new")))],
  };
}
