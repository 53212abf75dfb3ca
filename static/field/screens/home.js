// What to do now: an open round first; then a sampler's plot underfoot or a crew's order.

import { h, line } from "../elements.js";
import { byDistance, listen, standing, where } from "../ground.js";
import * as outbox from "../outbox.js";
import { pack } from "../pack.js";
import { state } from "../state.js";
import { figure, say, tongue, when } from "../words.js";
import { cautionNote, orderLine, orderLines, orderList } from "./orders.js";
import * as walks from "../walking.js";
import { away, called, groundWords } from "./plots.js";

const DAY_MS = 86_400_000;
const first = (href, words, props) => h("a", { class: "act first", href, ...props }, words);
const plain = (href, words) => h("a", { class: "act plain", href }, words);

async function openRound() {
  const plot = pack().plots.find((one) => one.code === state.round.plot) ?? { code: state.round.plot };
  const n = outbox.current(await outbox.ofRound(state.round.id)).filter((entry) => entry.kind === "reading").length;
  return [h("h1", null, say("home.open", { plot: called(plot) })), first("#/reading", n ? say("home.go_on", { n }) : say("plot.go_on"), { id: "go-on" })];
}

function visitList(limit) {
  const found = pack().visits.map((visit) => ({ ...visit, ...byDistance(pack().plots.filter((plot) => plot.code === visit.plot))[0] })).filter((visit) => visit.code);
  if (!found.length) return pack().reckoning ? [h("p", { class: "soft", id: "reckoning" }, say("home.reckoning"))] : [];
  return [h("h2", null, say("home.visits")), h("ul", { class: "list" }, found.slice(0, limit).map((visit) =>
    line(`#/plot/${encodeURIComponent(visit.code)}`, visit.stop ? say("home.stop", { n: visit.stop, plot: called(visit) }) : called(visit), visitWords(visit))))];
}

/** Why the office wants it seen, what to do and for how long, how far and since when; an older pack has only the last two. */
export function visitWords(visit) {
  const wanted = visit.why ? visit : pack().visits.find((one) => one.plot === visit.code) ?? {};
  const work = wanted.minutes ? say("home.visit_minutes", { work: say(`home.work.${wanted.work}`), n: wanted.minutes }) : "";
  return [[work, away(visit.metres), sinceWords(visit.last_visit)].filter(Boolean).join(", "), wanted.why?.[tongue()]].filter(Boolean).join(". ");
}

/** "hace 11 semanas" or "sin lecturas". */
export function sinceWords(lastVisit) {
  if (lastVisit === undefined) return "";
  if (!lastVisit) return say("home.never");
  const weeks = Math.round((Date.parse(pack().today ?? new Date().toISOString()) - Date.parse(lastVisit)) / 604_800_000);
  return weeks < 1 ? say("home.this_week") : say("home.weeks_ago", { n: weeks });
}

function sampler() {
  listen();
  const { kind, plots } = where(pack().plots), [nearest] = plots;
  if (kind === "several") {
    return [h("h1", null, say("ground.several")), plots.map((plot, i) => first(`#/begin/${encodeURIComponent(plot.code)}`, [called(plot), h("small", { class: "aside" }, away(plot.metres))], i ? null : { id: "begin" })),
      h("p", { class: "soft" }, groundWords()), plain("#/plots", say("home.other_plot"))];
  }
  if (nearest) {
    return [h("h1", null, say(kind === "in" ? "home.underfoot" : "home.near", { plot: called(nearest), away: away(nearest.metres) })),
      first(`#/begin/${encodeURIComponent(nearest.code)}`, say("home.begin"), { id: "begin" }),
      h("p", { class: "soft" }, groundWords()),
      plain(`#/plot/${encodeURIComponent(nearest.code)}`, say("home.else_here")), plain("#/plots", say("home.other_plot"))];
  }
  return [h("h1", null, say("home.where")), first("#/plots", say("home.choose"), { id: "choose" }), h("p", { class: "soft" }, groundWords()), plain("#/map", say("plots.map"))];
}

function crew(found) {
  const next = found.find(({ state: how }) => !how.finished)?.order;
  if (!next) return [h("h1", null, say(found.length ? "home.all_done" : "home.no_order")), first("#/plots", say("home.choose"), { id: "choose" })];
  return [h("h1", null, orderLine(next)), first(`#/order/${encodeURIComponent(next.id)}`, say("home.open_order"), { id: "open-order" }), cautionNote(next)];
}

/** How much is on this phone only, in large figures, and since when; nothing when all has its receipt. */
async function unsentNote() {
  const { count, oldest_ms } = await outbox.waiting();
  if (!count) return null;
  const days = Math.floor((Date.now() - oldest_ms) / DAY_MS);
  return h("a", { class: days >= 1 ? "waiting warn" : "waiting", href: "#/sending", id: "waiting" }, h("span", { class: "mid" }, figure(count)), " ", say("home.waiting", { n: count }), " ",
    h("b", null, days < 1 ? say("home.waiting.since", { hour: when(oldest_ms) }) : say("home.waiting.days", { n: days })));
}

export async function home() {
  await walks.load();
  const { role } = state.me, found = await orderList();
  const list = found.length ? [h("h2", null, say("home.orders", { week: pack().week })), orderLines(found)] : [];
  return {
    title: state.device.crew || state.device.name, back: null,
    body: [
      walks.walking.code === null ? null : plain(`#/walk/${encodeURIComponent(walks.walking.code)}`, say("home.walk", { plot: called(pack().plots.find((plot) => plot.code === walks.walking.code) ?? { code: walks.walking.code }) })),
      ...(state.round ? await openRound() : []),
      ...(state.round ? [] : role === "crew" ? crew(found) : sampler()),
      await unsentNote(),
      ...(role === "crew" ? [...list, ...visitList(3)] : [...visitList(5), ...list]),
      h("h2", null, say("home.else")),
      h("div", { class: "menu" }, plain("#/plots", say("home.plots")), plain("#/map", say("home.map")), plain("#/log", say("home.log")), plain("#/who", say("home.who", { name: state.me.name })), plain("#/more", say("home.more"))),
      pack().plots.length || standing.state === "here" ? null : h("p", { class: "note" }, say("home.no_pack")),
    ],
  };
}
