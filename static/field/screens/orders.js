// This week's orders of the own crew: where, which plants, which trucks, what to beware of.

import { h, line } from "../elements.js";
import * as pack from "../pack.js";
import { day, figure, say } from "../words.js";
import { called } from "./plots.js";

/** "Portón, LH-02: 1,420 plantas, entresaca" (or without the plot's name). */
export function orderLine(order, short = false) {
  const plants = order.plants ? say("order.plants", { n: order.plants, plants: figure(order.plants) }) : `${figure(order.mass_t, 1)} t`;
  const parts = [plants, order.pass ? say(`order.pass.${order.pass}`) : null, order.cut_style ? say(`order.style.${order.cut_style}`) : null];
  return short ? parts.filter(Boolean).join(" · ") : `${called(order)}: ${plants}`;
}

/** The week's cautions of an order; the first in full, the rest behind one tap. */
export function cautionNote(order) {
  const [first, ...rest] = [...(order?.cautions ?? []), ...pack.pack().cautions];
  if (!first) return null;
  return [h("p", { class: "note warn" }, h("b", null, say("order.caution")), " ", first),
    rest.length ? h("details", null, h("summary", null, say("order.cautions", { n: rest.length })), h("ul", null, rest.map((words) => h("li", null, words)))) : null];
}

export async function orders() {
  return {
    title: say("orders.title"), back: "#/",
    body: [h("h1", null, say("home.orders", { week: pack.pack().week ?? "" })),
      h("ul", { class: "list" }, pack.pack().orders.map((one) => line(`#/order/${one.id}`, called(one), orderLine(one, true), say(`order.state.${one.state ?? "open"}`))))],
  };
}

export async function order(id) {
  const found = pack.order(id);
  if (!found) return { title: say("orders.title"), back: "#/", body: [h("h1", null, say("order.gone"))] };
  const code = encodeURIComponent(found.plot);
  const facts = [
    [say("order.what"), orderLine(found, true)], [say("order.mass"), found.mass_t ? `${figure(found.mass_t, 1)} t` : null],
    [say("order.which"), found.which], [say("plot.gate"), pack.plot(found.plot)?.gate],
    [say("order.days"), found.days?.length ? found.days.map((one) => day(one)).join(", ") : null],
    [say("order.trucks"), found.trucks?.length ? found.trucks.map((one) => `${day(one.day)} ${one.hour ?? ""}`.trim()).join(", ") : null],
  ].filter(([, value]) => value);
  return {
    title: called(found), back: "#/",
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
