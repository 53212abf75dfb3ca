// This week's orders of the own crew: where, which plants, which trucks, what to beware of.

import { h, line } from "../elements.js";
import * as outbox from "../outbox.js";
import * as pack from "../pack.js";
import { day, figure, say, tongue } from "../words.js";
import { called } from "./plots.js";

const inWords = (words) => words?.[tongue()] ?? "";
const plot = (order) => pack.plot(order.plot) ?? { code: order.plot, name: order.name };

/** "Portón, LH-02: 1,420 plantas", or short, for a list: what and how, with its days. */
export function orderLine(order, short = false) {
  const plants = order.plants ? say("order.plants", { n: order.plants, plants: figure(order.plants) }) : `${figure(order.mass_t, 1)} t`;
  const how = [plants, say(`order.pass.${order.pass}`), say(`order.style.${order.cut_style}`)];
  return short ? [...how, (order.days ?? []).map((one) => day(one)).join(", ")].filter(Boolean).join(" · ") : `${called(plot(order))}: ${plants}`;
}

/** The cautions of an order; the first in full, the rest behind one tap. */
export function cautionNote(order) {
  const [first, ...rest] = order.beware.map((i) => inWords(pack.pack().cautions[i]));
  if (!first) return null;
  return [h("p", { class: "note warn" }, h("b", null, say("order.caution")), " ", first),
    rest.length ? h("details", null, h("summary", null, say("order.cautions", { n: rest.length })), h("ul", null, rest.map((words) => h("li", null, words)))) : null];
}

/** How far an order is, from what the office knows and what this phone wrote: {cut, finished, words}. */
export async function progress(order) {
  const mine = outbox.current((await outbox.latest(500)).filter((entry) => ["load", "order_done", "void"].includes(entry.kind))).map(outbox.record)
    .filter((record) => record.order === order.id);
  const cut = Math.max(order.cut_plants ?? 0, mine.filter((record) => record.kind === "load").reduce((sum, record) => sum + (record.plants ?? 0), 0));
  const finished = order.finished || mine.some((record) => record.kind === "order_done" && Number(record.finished) === 1);
  const words = finished ? say("order.state.done") : cut ? say("order.state.share", { percent: figure(Math.min(99, (100 * cut) / Math.max(order.plants, 1))) }) : say("order.state.open");
  return { cut, finished, words };
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

export async function order(id) {
  const found = pack.order(id);
  if (!found) return { title: say("orders.title"), back: "#/", body: [h("h1", null, say("order.gone"))] };
  const code = encodeURIComponent(found.plot), state = await progress(found);
  const facts = [
    [say("order.which"), inWords(found.which)], [say("order.what"), orderLine({ ...found, days: [] }, true)], [say("order.mass"), `${figure(found.mass_t, 1)} t`],
    [say("order.progress"), state.cut ? say("order.progress.of", { cut: figure(state.cut), all: figure(found.plants) }) : state.words],
    [say("plot.gate"), pack.plot(found.plot)?.gate], [say("order.days"), found.days.map((one) => day(one)).join(", ")],
    [say("order.trucks"), found.trucks.map((one) => `${day(one.day)} ${one.hour}`).join("; ")],
  ].filter(([, value]) => value);
  return {
    title: called(plot(found)), back: "#/",
    body: [
      h("h1", null, orderLine(found)),
      h("dl", null, facts.map(([term, value]) => h("div", null, h("dt", null, term), h("dd", null, value)))),
      cautionNote(found),
      h("a", { class: "act first", href: `#/note/load/${code}/${encodeURIComponent(found.id)}`, id: "load" }, say("order.load")),
      h("div", { class: "pair" },
        h("a", { class: "act plain", href: `#/note/order_done/${code}/${encodeURIComponent(found.id)}`, id: "done" }, say("order.done")),
        h("a", { class: "act plain", href: `#/plot/${code}` }, say("order.else"))),
    ],
  };
}
