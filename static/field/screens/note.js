// Any other thing worth writing down: the form comes from the field dictionary, kind by kind.

import { draw, go } from "../app.js";
import { read, write } from "../db.js";
import { act, h } from "../elements.js";
import { fieldsOf, kindName, known } from "../fields.js";
import { form } from "../form.js";
import { note as store, settleDoubts, takeBack } from "../note.js";
import * as outbox from "../outbox.js";
import * as pack from "../pack.js";
import { keep as keepPhoto, shrink, withRoom } from "../photos.js";
import { state } from "../state.js";
import { uuid7 } from "../uuid7.js";
import { hour, say } from "../words.js";
import { called } from "./plots.js";

const PICTURED = new Set(["remark", "loss", "load", "row_count"]);

/** What makes a record worth keeping where no single field must be there: one of these, told at the first. */
const ENOUGH = { load: ["plants", "pieces", "gross_kg", "net_kg", "ticket"], order_done: ["plants", "why_not", "finished"] };

/**
 * The fields to ask for. A laboratory's sugar is tied to its load by the scale ticket: nobody in the field knows a
 * record's number. That an order is finished has a button of its own.
 */
function asked(kind, old) {
  if (kind === "lab") return fieldsOf(kind).filter((field) => field.name !== "load").map((field) => ({ ...field, required: field.required || field.name === "ticket" }));
  return fieldsOf(kind).filter((field) => old || kind !== "order_done" || field.name !== "finished");
}

/** What the phone can fill in by itself; the crew may change it. */
function prefilled(kind, orderId) {
  const order = orderId ? pack.order(orderId) : null, given = { crew: order?.crew ?? state.device?.crew ?? null };
  if (orderId) given.order = String(orderId);
  if (order) Object.assign(given, { cut_style: order.cut_style ?? null, clearing: order.pass === "clearing" ? 1 : 0 });
  return Object.fromEntries(fieldsOf(kind).filter((field) => given[field.name] !== undefined).map((field) => [field.name, given[field.name]]));
}

const readyWords = (blob) => say("photo.ready", { kb: Math.round(blob.size / 1024) });

/** A photo to go with the record; it waits in the phone with the rest of the sheet, until it is saved or taken off. */
function photoField(chosen, key) {
  const words = h("p", { class: "soft", role: "status" });
  const off = act(say("photo.remove"), async () => { chosen.blob = null; await write(key, undefined); show(); }, { plain: true, id: "photo-off" });
  const show = (before = "") => {
    words.textContent = [before, chosen.blob ? readyWords(chosen.blob) : ""].filter(Boolean).join(" ");
    off.hidden = !chosen.blob;
  };
  show();
  return h("div", null, h("label", { class: "act plain pick" }, say("photo.add"), h("input", { id: "photo", type: "file", accept: "image/*", capture: "environment", onchange: async (event) => {
    const { target } = event, [file] = target.files;
    if (!file) return;
    const blob = await shrink(file);
    target.value = "";
    if (blob) {
      chosen.blob = blob;
      await keepPicture(key, blob);
    }
    show(blob ? "" : say("photo.unreadable"));
  } })), words, off);
}

/** The picture of a half-filled sheet, as bytes: not every browser stores a blob. */
const keepPicture = async (key, blob) => { const bytes = await blob.arrayBuffer(); await withRoom(() => write(key, { bytes, type: blob.type })); };

async function keptPicture(key) {
  const kept = await read(key);
  return kept ? new Blob([kept.bytes], { type: kept.type }) : null;
}

export async function note(kind, code, extra, id) {
  if (!known(kind)) { go("#/"); return null; }
  if (kind === "outline") { go(`#/walk/${encodeURIComponent(code)}`); return null; }
  const orderId = extra && extra !== "mend" ? extra : null;
  const plot = pack.plot(code) ?? { code }, key = ["draft", kind, code, ...(orderId ? [orderId] : [])].join(":"), pictureKey = `${key}:photo`;
  const recent = (await outbox.latest(300)).filter((entry) => entry.kind === kind && entry.plot === code);
  const old = extra === "mend" ? recent.find((entry) => entry.id === id) : null;
  const last = outbox.current(recent).at(0);
  const fromOrder = orderId ? prefilled(kind, orderId) : {};
  const draft = old ? outbox.record(old) : { ...(orderId ? {} : prefilled(kind)), ...((await read(key)) ?? {}), ...fromOrder };
  const already = Object.keys(fromOrder);
  const part = (mine) => form(kind, asked(kind, old).filter((field) => mine(field.name)), draft, (values) => { Object.assign(draft, values); if (!old) write(key, { ...draft }); });
  const sheet = part((name) => !already.includes(name)), given = already.length ? part((name) => already.includes(name)) : null;
  const pictured = PICTURED.has(kind) && !old && globalThis.crypto?.subtle;
  const chosen = { blob: pictured ? await keptPicture(pictureKey) : null };
  const photo = pictured ? photoField(chosen, pictureKey) : null;
  const back = old ? "#/log" : orderId ? `#/order/${encodeURIComponent(orderId)}` : `#/plot/${encodeURIComponent(code)}`;
  const save = async () => {
    const before = given ? given.values() : {}, typed = before && sheet.values();
    if (!typed) return;
    if (ENOUGH[kind] && !ENOUGH[kind].some((name) => typed[name])) { sheet.refuse(ENOUGH[kind][0], say(`note.enough.${kind}`)); return; }
    const settled = await settleDoubts(kind, { ...before, ...typed });
    if (!settled) return;
    const drafts = [{ kind, plot: code, round: old?.round || null, replaces: old ? id : null, ...settled }];
    if (chosen.blob) {
      drafts[0].id = uuid7();
      drafts.push({ id: uuid7(), kind: "photo", plot: code, fields: {} });
      drafts[1].fields = { digest: await keepPhoto(chosen.blob, drafts[1].id), of: drafts[0].id };
    }
    await store(...drafts);
    await write(key, undefined);
    await write(pictureKey, undefined);
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
