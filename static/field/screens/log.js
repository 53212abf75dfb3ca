// What this phone wrote lately: mend it, take it back, bring it back. The old record always stays.

import { draw, go } from "../app.js";
import { act, h, line } from "../elements.js";
import { fieldName, inShort, kindName, shown } from "../fields.js";
import { takeBack } from "../note.js";
import * as outbox from "../outbox.js";
import * as pack from "../pack.js";
import { state } from "../state.js";
import { say, when } from "../words.js";

const LATEST = 80;

function mendAt(entry) {
  const code = encodeURIComponent(entry.plot);
  if (entry.kind === "reading" && state.round?.id === entry.round) return `#/reading/mend/${entry.id}`;
  if (entry.kind === "outline") return `#/walk/${code}`;
  return entry.kind === "row_count" ? `#/count/${code}/mend/${entry.id}` : `#/note/${entry.kind}/${code}/mend/${entry.id}`;
}

const called = (entry) => [kindName(entry.kind), pack.plot(entry.plot)?.name ?? entry.plot].filter(Boolean).join(" · ");

/** A round with readings, or the open one, is not erased by itself: its readings would lose their instrument. */
async function inUse(entry) {
  return entry.kind === "round" && (state.round?.id === entry.id || outbox.current(await outbox.ofRound(entry.id)).some((each) => each.kind === "reading"));
}

async function one(id) {
  const entries = await outbox.latest(500), entry = entries.find((each) => each.id === id);
  if (!entry) return null;
  const alive = outbox.current(entries).some((each) => each.id === id);
  const gone = entries.find((each) => each.kind === "void" && each.replaces === id);
  const undo = !alive && gone && !entries.some((each) => each.replaces === gone.id);
  const values = shown(outbox.record(entry));
  return {
    title: say("log.title"), back: "#/log",
    body: [
      h("h1", null, called(entry)),
      h("p", null, `${when(entry.saved_ms)} · ${say(`state.${entry.state}`)}`),
      entry.problem ? h("p", { class: "note warn" }, h("b", null, entry.problem.title ?? ""), " ", entry.problem.do ?? "") : null,
      alive ? null : h("p", { class: "note" }, say(gone ? "log.is_erased" : "log.is_replaced")),
      h("dl", null, values.map(([name, value]) => h("div", null, h("dt", null, fieldName(entry.kind, name)), h("dd", null, value)))),
      alive && entry.kind !== "round" && entry.kind !== "photo" ? h("a", { class: "act first", href: mendAt(entry), id: "mend" }, say("log.mend")) : null,
      alive && !(await inUse(entry)) ? act(say("log.erase"), async () => { await takeBack(entry); await draw(); }, { plain: true, id: "erase" }) : null,
      undo ? act(say("undo"), async () => { await takeBack(gone); await draw(); }, { class: "act first", id: "undo" }) : null,
    ],
  };
}

export async function log(id) {
  if (id) return (await one(id)) ?? (go("#/log"), null);
  const entries = await outbox.latest(LATEST), alive = new Set(outbox.current(entries).map((entry) => entry.id));
  const voided = new Set(entries.filter((entry) => entry.kind === "void").map((entry) => entry.replaces));
  const mark = (entry) => (alive.has(entry.id) ? null : say(voided.has(entry.id) ? "log.erased" : "log.replaced"));
  const seen = entries.filter((entry) => entry.kind !== "void");
  return {
    title: say("log.title"), back: "#/",
    body: [h("h1", null, say("log.title")),
      seen.length ? h("ul", { class: "list" }, seen.map((entry) => line(`#/log/${entry.id}`, called(entry),
        [when(entry.saved_ms), inShort(outbox.record(entry))].filter(Boolean).join(" · "), mark(entry))))
        : h("p", { class: "soft" }, say("sending.nothing"))],
  };
}
