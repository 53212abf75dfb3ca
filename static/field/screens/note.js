// Any other thing worth writing down: the form comes from the field dictionary, kind by kind.

import { draw, go } from "../app.js";
import { read, write } from "../db.js";
import { act, h } from "../elements.js";
import { fieldsOf, kindName, known } from "../fields.js";
import { form } from "../form.js";
import { note as store, settleDoubts, takeBack } from "../note.js";
import * as outbox from "../outbox.js";
import * as pack from "../pack.js";
import { keep as keepPhoto, shrink } from "../photos.js";
import { state } from "../state.js";
import { uuid7 } from "../uuid7.js";
import { hour, say } from "../words.js";
import { called } from "./plots.js";

const PICTURED = new Set(["remark", "loss", "load", "row_count"]);

/** The fields to ask for. A laboratory's sugar is tied to its load by the scale ticket: nobody in the field knows a record's number. */
const asked = (kind) => (kind === "lab" ? fieldsOf(kind).filter((field) => field.name !== "load").map((field) => ({ ...field, required: field.required || field.name === "ticket" })) : fieldsOf(kind));

/** What the phone can fill in by itself; the crew may change it. */
function prefilled(kind, orderId) {
  const order = orderId ? pack.order(orderId) : null, given = { crew: state.device?.crew ?? null };
  if (order) Object.assign(given, { order: String(order.id), cut_style: order.cut_style ?? null, clearing: order.pass === "clearing" ? 1 : 0, ...(kind === "order_done" ? { finished: 1 } : {}) });
  return Object.fromEntries(fieldsOf(kind).filter((field) => given[field.name] !== undefined).map((field) => [field.name, given[field.name]]));
}

function photoField(chosen) {
  const words = h("p", { class: "soft", role: "status" });
  return h("div", null, h("label", { class: "act plain pick" }, say("photo.add"), h("input", { id: "photo", type: "file", accept: "image/*", capture: "environment", onchange: async (event) => {
    const [file] = event.target.files;
    chosen.blob = file ? await shrink(file) : null;
    words.textContent = file ? (chosen.blob ? say("photo.ready", { kb: Math.round(chosen.blob.size / 1024) }) : say("photo.unreadable")) : "";
  } })), words);
}

export async function note(kind, code, extra, id) {
  if (!known(kind)) { go("#/"); return null; }
  if (kind === "outline") { go(`#/walk/${encodeURIComponent(code)}`); return null; }
  const plot = pack.plot(code) ?? { code }, key = `draft:${kind}:${code}`;
  const recent = (await outbox.latest(300)).filter((entry) => entry.kind === kind && entry.plot === code);
  const old = extra === "mend" ? recent.find((entry) => entry.id === id) : null;
  const last = outbox.current(recent).at(0);
  const draft = old ? outbox.record(old) : { ...prefilled(kind, extra), ...((await read(key)) ?? {}) };
  const already = old || !extra ? [] : Object.keys(prefilled(kind, extra)).filter((name) => name !== "finished");
  const part = (mine) => form(kind, asked(kind).filter((field) => mine(field.name)), draft, (values) => { Object.assign(draft, values); if (!old) write(key, { ...draft }); });
  const sheet = part((name) => !already.includes(name)), given = already.length ? part((name) => already.includes(name)) : null;
  const chosen = { blob: null };
  const photo = PICTURED.has(kind) && !old && globalThis.crypto?.subtle ? photoField(chosen) : null;
  const back = old ? "#/log" : extra && extra !== "mend" ? `#/order/${encodeURIComponent(extra)}` : `#/plot/${encodeURIComponent(code)}`;
  const save = async () => {
    const before = given ? given.values() : {}, typed = before && sheet.values();
    if (!typed) return;
    const settled = await settleDoubts(kind, { ...before, ...typed });
    if (!settled) return;
    const drafts = [{ kind, plot: code, replaces: old ? id : null, ...settled }];
    if (chosen.blob) {
      drafts[0].id = uuid7();
      drafts.push({ id: uuid7(), kind: "photo", plot: code, fields: {} });
      drafts[1].fields = { digest: await keepPhoto(chosen.blob, drafts[1].id), of: drafts[0].id };
    }
    await store(...drafts);
    await write(key, undefined);
    go(back);
  };
  return {
    title: called(plot), back,
    body: [
      h("h1", null, old ? say("note.mending", { kind: kindName(kind) }) : kindName(kind)),
      given ? h("details", null, h("summary", null, say("note.given")), given.element) : null,
      sheet.element, photo,
      act(say(old ? "note.store_mended" : "note.store"), save, { class: "act first", id: "store" }),
      last && !old ? [h("p", { class: "soft" }, say("note.last", { hour: hour(last.saved_ms) })),
        act(say("reading.erase"), async () => { await takeBack(last); await draw(); }, { plain: true, id: "erase" })] : null,
    ],
  };
}
