// After a round: what it said, whether that is enough, and which plot is worth the next walk.

import { go } from "../app.js";
import { h, line } from "../elements.js";
import { byDistance } from "../ground.js";
import * as outbox from "../outbox.js";
import { pack, plot as plotOf } from "../pack.js";
import { read } from "../db.js";
import { stand } from "../sampling.js";
import { interval } from "../strip.js";
import { say } from "../words.js";
import { visitWords } from "./home.js";
import { called } from "./plots.js";
import { at20, surpriseWords } from "./reading.js";

const NEXT = 3;

/** Plots the office would like visited, nearest first where the phone knows its place; the one just done left out. */
function next(code) {
  const wanted = new Map(pack().visits.map((visit, i) => [visit.plot, i]));
  const found = byDistance(pack().plots.filter((plot) => wanted.has(plot.code) && plot.code !== code));
  return (found[0]?.metres ?? null) === null ? found.sort((a, b) => wanted.get(a.code) - wanted.get(b.code)) : found;
}

export async function done(id) {
  const round = await read("last_round");
  if (!round || round.id !== id) { go("#/"); return null; }
  const plot = plotOf(round.plot) ?? { code: round.plot };
  const values = outbox.current(await outbox.ofRound(id)).filter((entry) => entry.kind === "reading").map((entry) => at20(outbox.record(entry), round)).filter((value) => value !== null);
  const now = round.prior && values.length ? stand(round.prior, values, pack().settings.enough_narrowing_deg) : null;
  const [first, ...others] = next(round.plot).slice(0, NEXT);
  const to = (one) => `#/plot/${encodeURIComponent(one.code)}`;
  return {
    title: called(plot), back: "#/",
    body: [
      h("h1", null, say("done.title", { n: values.length, plot: called(plot) })),
      now ? interval(now, plot.target_deg) : null,
      now?.surprise ? h("p", { class: "note warn" }, surpriseWords(now)) : null,
      now && !now.surprise ? h("p", null, now.more > 0 ? say("done.more", { n: now.more }) : say("done.enough")) : null,
      first ? [h("h2", null, say("done.next")), h("a", { class: "act first", href: to(first), id: "next" }, h("span", null, called(first), h("small", { class: "aside" }, visitWords(first))))] : null,
      others.length ? h("ul", { class: "list" }, others.map((one) => line(to(one), called(one), visitWords(one)))) : null,
      h("a", { class: "act plain", href: `#/count/${encodeURIComponent(round.plot)}` }, say("done.count")),
      h("a", { class: "act plain", href: "#/" }, say("done.home")),
    ],
  };
}
