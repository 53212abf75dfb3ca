// Sends what is unsent, once, whatever the road does to it. Nothing here deletes a record: an entry
// changes only when a receipt for it came back in a reply that could be read to its end.

import { read, write } from "./db.js";
import * as outbox from "./outbox.js";
import { sendPhotos } from "./photos.js";
import { tongue } from "./words.js";

const BATCH = 500, BATCH_BYTES = 900_000;
const FIRST_S = 5, LONGEST_S = 900, PATIENCE_MS = 60_000;
const SPLIT = new Set([400, 413, 422, 500]);

/** What the top bar and the sending screen show. */
export const sending = { at_ms: null, outcome: "idle", enrol: false, clock_error_s: null, next_ms: null };

let tries = 0, timer = null, again = false, running = null, listening = false;
const tell = () => dispatchEvent(new Event("sending"));

class Halt extends Error {
  constructor(outcome, waitS = null) { super(outcome); this.outcome = outcome; this.waitS = waitS; }
}

/** Longest wait before try `n`, in seconds; the real wait is drawn evenly below it (full jitter). */
export const ceiling = (n) => Math.min(LONGEST_S, FIRST_S * 2 ** Math.min(n, 12));

/** Ask for a round of sending; `fresh` forgets earlier failures (a tap, the network came back). */
export function send(fresh = false) {
  if (fresh) tries = 0;
  if (running) { again = true; return running; }
  running = guarded().finally(() => { running = null; if (again) { again = false; send(); } });
  return running;
}

async function guarded() {
  if (!navigator.locks) return run();
  return navigator.locks.request("pinario-sending", { ifAvailable: true }, (lock) => (lock ? run() : later(FIRST_S)));
}

async function run() {
  clearTimeout(timer);
  sending.next_ms = null;
  const { count } = await outbox.waiting();
  const photos = await sendPhotos.waiting();
  if (!count && !photos) { sending.outcome = "done"; tries = 0; return tell(); }
  sending.outcome = "sending";
  tell();
  try {
    await sendRecords();
    await sendPhotos(post);
    tries = 0;
    Object.assign(sending, { outcome: (await outbox.waiting()).count ? "some" : "done", enrol: false });
    if (sending.outcome === "some") later(LONGEST_S);
  } catch (error) {
    if (!(error instanceof Halt)) throw error;
    sending.outcome = error.outcome;
    sending.enrol = error.outcome === "enrol";
    if (!sending.enrol) later(error.waitS ?? Math.random() * ceiling(tries += 1));
  }
  sending.at_ms = Date.now();
  tell();
}

function later(seconds) {
  clearTimeout(timer);
  sending.next_ms = Date.now() + seconds * 1000;
  timer = setTimeout(() => send(), seconds * 1000);
}

async function sendRecords() {
  const skip = new Set(); // single records the server could not take: told on screen, tried again next time
  let size = BATCH, rewound = false, refusedInRow = 0;
  for (;;) {
    const batch = cut(await outbox.unsent(size, skip));
    if (!batch.length) return;
    const { status, reply } = await post("/field/records", envelope(batch));
    if (status === 200) {
      const receipts = receiptsOf(reply, batch);
      await outbox.acknowledge(receipts);
      for (const entry of batch) if (!receipts.has(entry.id)) skip.add(entry.id);
      refusedInRow = 0;
      size = Math.min(BATCH, size * 2);
      rewound = await afterReply(reply, batch, receipts, rewound);
      tell();
    } else if (batch.length > 1) {
      size = Math.ceil(batch.length / 2);
    } else {
      if (status === 500 && (refusedInRow += 1) > 1) throw new Halt("server"); // not this record: the server itself
      skip.add(batch[0].id);
      await outbox.troubled(batch[0].id, { status, what: reply?.title ?? "" });
      size = BATCH;
    }
  }
}

/** One schema per batch, under the size limit. */
function cut(entries) {
  const batch = [];
  let bytes = 0;
  for (const entry of entries) {
    bytes += entry.bytes.length * 2 + 1; // a letter may need more than one byte
    if (batch.length && (bytes > BATCH_BYTES || entry.schema !== batch[0].schema)) break;
    batch.push(entry);
  }
  return batch;
}

/** The request's text: the kept bytes of every record, joined and untouched. */
export function envelope(batch, now = new Date()) {
  return `{"schema":${batch[0].schema},"sent_at":"${outbox.stamp(now)}","records":[${batch.map((entry) => entry.bytes).join(",")}]}`;
}

function receiptsOf(reply, batch) {
  const sent = new Set(batch.map((entry) => entry.id)), receipts = new Map();
  for (const { id, status, problem } of reply.results) {
    if (sent.has(id) && ["kept", "already", "held"].includes(status)) receipts.set(id, { state: status, problem: problem ?? null });
  }
  return receipts;
}

/** A new store or a lower highest `seq` means the office went back to an older backup: give it all again. */
async function afterReply(reply, batch, receipts, rewound) {
  const epoch = await read("store_epoch"), high = (await read("acked_seq")) ?? 0;
  const reached = Math.max(high, ...batch.filter((entry) => receipts.get(entry.id)?.state !== "held").map((entry) => entry.seq));
  if (!rewound && epoch && reply.store_epoch !== epoch) { await outbox.rewind(0); rewound = true; }
  else if (!rewound && reply.seq_count && reply.seq_high < reached) { await outbox.rewind(reply.seq_high); rewound = true; }
  if (reply.store_epoch !== epoch) await write("store_epoch", reply.store_epoch);
  await write("acked_seq", reached);
  const error = (Date.now() - Date.parse(reply.server_time)) / 1000;
  sending.clock_error_s = Number.isFinite(error) ? error : null;
  return rewound;
}

/** POST and read a whole JSON reply; anything else (no network, a portal's page, a redirect) is a failure that keeps everything. */
async function post(address, body, headers = { "Content-Type": "application/json" }) {
  let response, reply = null;
  try {
    response = await fetch(address, { method: "POST", body, credentials: "same-origin", redirect: "error", cache: "no-store",
      headers: { ...headers, Accept: "application/json", "Accept-Language": tongue() }, signal: AbortSignal.timeout?.(PATIENCE_MS) });
  } catch { throw new Halt("offline"); }
  try { reply = JSON.parse(await response.text()); } catch { /* judged below */ }
  const ours = /json/.test(response.headers.get("Content-Type") ?? "") && reply !== null && typeof reply === "object";
  if (response.status === 401 || response.status === 403) throw new Halt(ours ? "enrol" : "portal");
  if (response.status === 200 && ours && (Array.isArray(reply.results) || reply.status)) return { status: 200, reply };
  if (SPLIT.has(response.status) && (ours || response.status === 413 || response.status === 500)) return { status: response.status, reply };
  if (response.status === 200) throw new Halt("portal");
  throw new Halt("server", wait(response.headers.get("Retry-After")));
}

/** Seconds named by Retry-After (a number or a date), never more than a day. */
export function wait(header, now = Date.now()) {
  if (!header) return null;
  const seconds = /^\d+$/.test(header.trim()) ? Number(header) : (Date.parse(header) - now) / 1000;
  return Number.isFinite(seconds) ? Math.min(Math.max(seconds, 1), 86_400) : null;
}

/** Send when there may be a road: now, on coming to the front, on "online" (which promises nothing), after each save. */
export function keepSending() {
  if (listening) return send(true);
  listening = true;
  addEventListener("online", () => send(true));
  addEventListener("saved", () => send(true));
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") send(true); });
  return send(true);
}
