// One plot: what is known of it, and everything that can be noted there.

import { h } from "../elements.js";
import { kindName, PLOT_KINDS } from "../fields.js";
import { sketch } from "../drawing.js";
import { byDistance, listen, standing, trust } from "../ground.js";
import * as pack from "../pack.js";
import { plane } from "../plane.js";
import { state } from "../state.js";
import { day, figure, say } from "../words.js";
import { sinceWords } from "./home.js";
import { away, called } from "./plots.js";

const OWN = { round: "begin", row_count: "count", outline: "walk" };

/** Address of the screen on which a kind is recorded at a plot. */
export const recordAt = (kind, code) => `#/${OWN[kind] ?? `note/${kind}`}/${encodeURIComponent(code)}`;

/** The plot drawn, with the own place where it is near. */
function drawing({ outline }) {
  if (!(outline?.length > 2)) return null;
  const flat = plane(...outline[0]), own = trust() === "good" ? { at: flat.to([standing.lon, standing.lat]), accuracy_m: standing.accuracy_m } : null;
  return sketch([{ points: outline.map(flat.to), name: "land" }], say(own ? "plot.map_own" : "plot.map"), { own, height: 200 });
}

export async function plot(code) {
  listen();
  const found = pack.plot(code);
  if (!found) return { title: code, back: "#/plots", body: [h("h1", null, say("plot.unknown", { plot: code })), h("p", null, say("plot.unknown.do"))] };
  const here = byDistance([found])[0];
  const facts = [
    [say("plot.zone"), found.zone], [say("plot.gate"), found.gate], [say("plot.away"), away(here.metres)],
    [say("plot.planted"), found.planted_on ? day(found.planted_on) + " " + found.planted_on.slice(0, 4) : say("plot.planted.unknown")],
    [say("plot.target"), found.target_deg ? `${figure(found.target_deg, 1)} °Brix` : null],
    [say("plot.expected"), found.prior ? say("plot.expected.between", { low: figure(found.prior.mean_deg - 1.96 * found.prior.sd_deg, 1), high: figure(found.prior.mean_deg + 1.96 * found.prior.sd_deg, 1) }) : null],
    [say("plot.last"), sinceWords(found.last_visit)],
  ].filter(([, value]) => value);
  return {
    title: called(found), back: "#/plots",
    body: [
      h("h1", null, called(found)),
      state.round && state.round.plot === code ? h("a", { class: "act first", href: "#/reading" }, say("plot.go_on"))
        : h("a", { class: "act first", href: recordAt("round", code), id: "begin" }, say("plot.begin")),
      h("div", { class: "menu" }, PLOT_KINDS.map((kind) => h("a", { class: "act plain", href: recordAt(kind, code), id: `note-${kind}` }, kindName(kind)))),
      drawing(found), h("dl", null, facts.map(([term, value]) => h("div", null, h("dt", null, term), h("dd", null, value)))),
    ],
  };
}
