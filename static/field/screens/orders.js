// This week's orders of the own crew: where, which plants, which trucks, what to beware of.

import { draw } from "../app.js";
import { ask } from "../dialog.js";
import { act, h, line } from "../elements.js";
import { note, takeBack } from "../note.js";
import * as outbox from "../outbox.js";
import * as pack from "../pack.js";
import { shareOrder } from "../picture.js";
import { day, figure, say, tongue, when } from "../words.js";
import { called } from "./plots.js";

const inWords = (words) => words?.[tongue()] ?? "";
const plot = (order) => pack.plot(order.plot) ?? { code: order.plot, name: order.name };

/** "Portón, LH-02: 1,420 plantas", or short, for a list: what and how, with its days. */
export function orderLine(order, short = false) {
  const plants = order.plants ? say("order.plants", { n: order.plants, plants: figure(order.plants) }) : `${figure(order.mass_t, 1)} t`;
  const how = [plants, say(`order.pass.${order.pass}`), say(`order.style.${order.cut_style}`)];
  return short ? [...how, daysInWords(order.days ?? [])].filter(Boolean).join(" · ") : `${called(plot(order))}: ${plants}`;
}

/** The cautions of an order; the first in full, the rest behind one tap. */
export function cautionNote(order) {
  const [first, ...rest] = order.beware.map((i) => inWords(pack.pack().cautions[i]));
  if (!first) return null;
  return [h("p", { class: "note warn" }, h("b", null, say("order.caution")), " ", first),
    rest.length ? h("details", null, h("summary", null, say("order.cautions", { n: rest.length })), h("ul", null, rest.map((words) => h("li", null, words)))) : null];
}

const DAY_MS = 86_400_000, LONG = 26;

/** Days in words, a run of them by its ends: "lun 23 de nov a vie 27 de nov". */
function daysInWords(days) {
  const runs = [];
  for (const one of [...new Set(days)].sort()) {
    const run = runs.at(-1);
    if (run && Date.parse(one) - Date.parse(run.at(-1)) === DAY_MS) run.push(one);
    else runs.push([one]);
  }
  return runs.map((run) => (run.length > 2 ? say("order.from_to", { from: day(run[0]), to: day(run.at(-1)) }) : run.map((one) => day(one)).join(", "))).join(", ");
}

/** Trucks by their hour, so that the same hour on five days is said once. */
function trucksInWords({ trucks, days }) {
  const hours = new Map();
  for (const truck of trucks) hours.set(truck.hour, [...(hours.get(truck.hour) ?? []), truck.day]);
  return [...hours].sort().map(([hour, at]) => (new Set(at).size === new Set(days).size && new Set(days).size > 1 ? say("order.every_day", { hour }) : `${hour}, ${daysInWords(at)}`)).join("; ");
}

/** The crew of an order, and whether others cut the same plot that week: whose plants are whose is agreed on the spot. */
function withWhom({ crew, others }) {
  return [crew ?? pack.pack().device?.crew, others ? say("order.others", { n: others }) : ""].filter(Boolean).join(" · ");
}

/** "Hecha · 300 de 1,158 plantas"; more than was ordered is said. */
function progressWords(order, { cut, finished, words }) {
  if (!cut || !order.plants) return words;
  const how = { cut: figure(cut), all: figure(order.plants) }, share = say(cut > order.plants ? "order.progress.over" : "order.progress.of", how);
  return finished ? say("order.progress.done", { share }) : share;
}

/** What an order says, as [term, words] pairs in the order to read them. */
function factsOf(found, state) {
  return [
    [say("order.which"), inWords(found.which)], [say("order.what"), `${say(`order.pass.${found.pass}`)} · ${say(`order.style.${found.cut_style}`)} · ${figure(found.mass_t, 1)} t`],
    [say("order.with"), withWhom(found)], [say("order.progress"), progressWords(found, state)],
    [say("plot.gate"), pack.plot(found.plot)?.gate], [say("order.days"), daysInWords(found.days)], [say("order.trucks"), trucksInWords(found)],
  ].filter(([, value]) => value);
}

/** The order as a picture to hand on: what is on the screen, all cautions included. */
async function share(found) {
  const state = await progress(found), remarks = (found.remarks ?? []).map((one) => `${day(one.day)}: ${one.text}`);
  await shareOrder({ name: `orden-${found.id}.png`, title: orderLine(found), who: [pack.pack().estate, found.crew ?? pack.pack().device?.crew, pack.pack().week].filter(Boolean).join(" · "),
    facts: [...factsOf(found, state), ...(remarks.length ? [[say("order.remarks"), remarks.join(" / ")]] : [])],
    cautions: { title: say("order.caution"), lines: found.beware.map((i) => inWords(pack.pack().cautions[i])) } });
}

/** This phone's reports that an order is finished: those that stand, and those it took back, newest first. */
async function reports(order) {
  const entries = (await outbox.latest(500)).filter((entry) => ["load", "order_done", "void"].includes(entry.kind)), alive = outbox.current(entries);
  const ends = entries.filter((entry) => entry.kind === "order_done").filter((entry) => { const one = outbox.record(entry); return one.order === String(order.id) && Number(one.finished) === 1; });
  return { alive: alive.map(outbox.record).filter((record) => record.order === String(order.id)), standing: ends.filter((entry) => alive.includes(entry)), gone: ends.filter((entry) => !alive.includes(entry)).map((entry) => entry.id) };
}

/**
 * How far an order is, from what the office knows and what this phone wrote: {cut, finished, words, standing}. What this
 * phone took back no longer counts although the office's tables were made before.
 */
export async function progress(order) {
  const { alive, standing, gone } = await reports(order);
  const loads = alive.filter((record) => record.kind === "load").reduce((sum, record) => sum + (record.plants ?? 0), 0);
  const told = alive.filter((record) => record.kind === "order_done").map((record) => record.plants ?? 0);
  const cut = Math.max(order.cut_plants ?? 0, loads, ...told);
  const office = order.finished_by ? order.finished_by.some((id) => !gone.includes(id)) : order.finished && !gone.length;
  const finished = office || standing.length > 0;
  const share = () => (cut > order.plants ? say("order.state.over") : say("order.state.share", { percent: figure(Math.min(99, (100 * cut) / Math.max(order.plants, 1))) }));
  return { cut, finished, standing, words: finished ? say("order.state.done") : cut ? share() : say("order.state.open") };
}

/** The list of this week's orders, those still to do first. */
export async function orderList() {
  const found = await Promise.all(pack.pack().orders.map(async (order) => ({ order, state: await progress(order) })));
  found.sort((a, b) => a.state.finished - b.state.finished);
  return found;
}

export const orderLines = (found) => h("ul", { class: "list" }, found.map(({ order, state }) =>
  line(`#/order/${encodeURIComponent(order.id)}`, called(plot(order)), orderLine(order, true), state.words)));

export async function orders() {
  return { title: say("orders.title"), back: "#/", body: [h("h1", null, say("home.orders", { week: pack.pack().week ?? "" })), orderLines(await orderList())] };
}

/** Trucks of one order that this phone wrote: when, plants, ticket; each opens its record. */
async function loadLines(order) {
  const mine = outbox.current((await outbox.latest(500)).filter((entry) => ["load", "void"].includes(entry.kind))).filter((entry) => outbox.record(entry).order === String(order.id));
  if (!mine.length) return null;
  return [h("h2", null, say("order.loads", { n: mine.length })), h("ul", { class: "list" }, mine.map((entry) => {
    const record = outbox.record(entry), amount = record.plants ? say("order.plants", { n: record.plants, plants: figure(record.plants) }) : record.pieces ? say("order.pieces", { n: record.pieces, pieces: figure(record.pieces) }) : "";
    return line(`#/log/${entry.id}`, [amount, record.net_kg ? `${figure(record.net_kg)} kg` : ""].filter(Boolean).join(" · ") || say("order.load_bare"), [when(entry.saved_ms), record.ticket, record.folio].filter(Boolean).join(" · "));
  }))];
}

/** One touch when the order is done; it can be taken back like any record. */
async function finish(order) {
  const answer = await ask(say("order.finish.title"), say("order.finish.words"), [["no", say("order.finish.no")], ["yes", say("order.finish.yes")]]);
  if (answer !== "yes") return;
  await note({ kind: "order_done", plot: order.plot, fields: { order: String(order.id), finished: 1 } });
  await draw(true);
}

/** Open a finished order again: this phone's reports of its end are taken back, each by a record. */
async function reopen(standing) {
  for (const entry of standing) await takeBack(entry);
  await draw(true);
}

/** An order the office took away or changed: what is noted all the same is kept, and where to go on. */
const goneScreen = () => ({
  title: say("orders.title"), back: "#/",
  body: [h("h1", null, say("order.gone")), h("p", null, say("order.gone.why")),
    h("a", { class: "act first", href: "#/orders", id: "to-orders" }, say("orders.title")), h("a", { class: "act plain", href: "#/", id: "to-home" }, say("order.gone.home"))],
});

export async function order(id) {
  const found = pack.order(id);
  if (!found) return goneScreen();
  const code = encodeURIComponent(found.plot), state = await progress(found);
  const facts = factsOf(found, state);
  return {
    title: called(plot(found)), back: "#/",
    body: [
      h("h1", null, orderLine(found)),
      h("dl", null, facts.map(([term, value]) => h("div", { class: value.length > LONG ? "long" : null }, h("dt", null, term), h("dd", null, value)))),
      found.remarks?.length ? [h("h2", null, say("order.remarks")), h("ul", { class: "list plain" }, found.remarks.map((one) => h("li", null, one.text, h("small", null, day(one.day)))))] : null,
      cautionNote(found),
      h("a", { class: "act first", href: `#/note/load/${code}/${encodeURIComponent(found.id)}`, id: "load" }, say("order.load")),
      h("div", { class: "pair" },
        h("a", { class: "act plain", href: `#/note/order_done/${code}/${encodeURIComponent(found.id)}`, id: "done" }, say("order.done")),
        state.finished ? h("a", { class: "act plain", href: `#/plot/${code}` }, say("order.else")) : act(say("order.finish"), () => finish(found), { plain: true, id: "finish-order" })),
      await loadLines(found),
      h("div", { class: "pair" }, act(say("order.share"), () => share(found), { plain: true, id: "share" }),
        state.finished ? (state.standing.length ? act(say("order.reopen"), () => reopen(state.standing), { plain: true, id: "reopen" }) : null) : h("a", { class: "act plain", href: `#/plot/${code}` }, say("order.else"))),
    ],
  };
}
