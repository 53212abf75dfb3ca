// What is still on this phone only, since when, and what the office said about the rest.

import { draw } from "../app.js";
import { act, h } from "../elements.js";
import { inShort, kindName } from "../fields.js";
import * as outbox from "../outbox.js";
import * as pack from "../pack.js";
import { sendPhotos } from "../photos.js";
import { send, sending } from "../sender.js";
import { day, figure, hour, say, when } from "../words.js";

const CLOCK_LIMIT_S = 120, DAY_MS = 86_400_000;

function clockWords(seconds) {
  const minutes = Math.round(Math.abs(seconds) / 60);
  const amount = minutes < 120 ? say("sending.minutes", { n: minutes }) : say("sending.hours", { n: Math.round(minutes / 60) });
  return say(seconds > 0 ? "sending.clock_fast" : "sending.clock_slow", { amount });
}

/** Every unsent record as JSON lines, the bytes as they are: the office loads the file. */
async function toFile() {
  const entries = await outbox.unsent(100_000);
  const name = `pinario-${outbox.stamp().slice(0, 16).replace(/\D/g, "")}.jsonl`;
  const file = new File([entries.map((entry) => `${entry.bytes}\n`).join("")], name, { type: "application/jsonl" });
  const link = h("a", { href: URL.createObjectURL(file), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}

function lineOf(entry) {
  const plot = pack.plot(entry.plot);
  const reason = entry.problem?.title ?? entry.trouble?.what;
  const state = entry.state === "unsent" && entry.trouble ? "trouble" : entry.state;
  return h("li", null, h("a", { class: "line", href: `#/log/${entry.id}` }, h("span", null, [kindName(entry.kind), plot?.name ?? entry.plot].filter(Boolean).join(" · "),
    h("small", null, [when(entry.saved_ms), inShort(outbox.record(entry)), reason].filter(Boolean).join(" · "))), h("b", null, say(`state.${state}`))));
}

export async function sendingScreen() {
  const { count, oldest_ms } = await outbox.waiting(), recent = await outbox.latest(30);
  const days = oldest_ms ? Math.floor((Date.now() - oldest_ms) / DAY_MS) : 0;
  const clock = sending.clock_error_s, photos = await sendPhotos.waiting();
  return {
    title: say("sending.title"), back: "#/",
    body: [
      h("h1", null, count ? say("sending.count", { n: count, count: figure(count) }) : say("sending.none")),
      oldest_ms ? h("p", null, say("sending.oldest", { day: day(new Date(oldest_ms)), hour: hour(oldest_ms) })) : null,
      photos ? h("p", null, say("sending.photos", { n: photos })) : null,
      days >= 1 ? h("p", { class: "note warn" }, h("b", null, say("sending.old")), " ", say("sending.old.do")) : null,
      h("p", { class: sending.outcome === "enrol" ? "fault" : "", id: "outcome" }, say(`sending.${sending.outcome}`)),
      sending.next_ms && count ? h("p", { class: "soft" }, say("sending.next", { hour: hour(sending.next_ms) })) : null,
      clock !== null && Math.abs(clock) > CLOCK_LIMIT_S && !pack.pack().frozen ? h("p", { class: "note warn" }, h("b", null, say("sending.clock")), " ", clockWords(clock)) : null,
      act(say("sending.now"), async () => { await send(true); await pack.refresh(true); await draw(true); }, { id: "send" }),
      sending.enrol ? h("a", { class: "act plain", href: "#enrol=" }, say("sending.enrol_again")) : null,
      count ? act(say("sending.file"), toFile, { plain: true, id: "to-file" }) : null,
      count ? h("p", { class: "soft" }, say("sending.file.help")) : null,
      h("h2", null, say("sending.latest")),
      recent.length ? h("ul", { class: "list" }, recent.map(lineOf)) : h("p", { class: "soft" }, say("sending.nothing")),
    ],
  };
}

