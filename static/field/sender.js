// Sends what is unsent, once, whatever the road does to it. Nothing here deletes a record: an entry
// changes only when a receipt for it came back in a reply that could be read to its end.

import { digestHeader, matches } from "./digest.js";
import * as outbox from "./outbox.js";
import { sendPhotos } from "./photos.js";
import { tongue } from "./words.js";

const BATCH = 500, BATCH_BYTES = 900_000, PROBE = 50;
const SOON_MS = 1_500, SOON_AT_MOST_MS = 20_000;
const FIRST_S = 5, LONGEST_S = 900, PATIENCE_MS = 60_000, ASK_MS = 600_000;
const SPLIT = new Set([400, 413, 422, 500]);
const SAME_AGAIN = 3, REFUSED_IN_ROW = 3, TROUBLED_A_ROUND = 20;

/** What the top bar and the sending screen show. */
export const sending = { at_ms: null, outcome: "idle", enrol: false, clock_error_s: null, next_ms: null };

let probe = BATCH, soonTimer = null, asked_ms = 0;
let tries = 0, timer = null, again = false, running = null, listening = false, heard_ms = -Infinity;
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

const left = async () => (await outbox.anyUnsent()) || (await sendPhotos.waiting()) > 0;

async function run() {
  clearTimeout(timer);
  sending.next_ms = null;
  let some = true;
  try {
    some = await left();
    // With nothing to send the office is still asked now and then which store it has: a restored one must get again what it lost.
    if (!some && performance.now() - heard_ms < ASK_MS) { sending.outcome = "done"; tries = 0; return tell(); }
    sending.outcome = some ? "sending" : sending.outcome;
    tell();
    if (!some) {
      await ask();
      some = await left();
    }
    await sendRecords((entry) => !entry.trouble, BATCH);
    await sendRecords((entry) => entry.trouble, 1, TROUBLED_A_ROUND);
    await sendPhotos(postPhoto);
    tries = 0;
    Object.assign(sending, { outcome: (await left()) ? "some" : "done", enrol: false });
    if (sending.outcome === "some") later(LONGEST_S);
  } catch (error) {
    // Not a Halt: the phone's own store refused (full, wiped under us). What it holds is as it was; try again later.
    sending.outcome = error instanceof Halt ? error.outcome : "store";
    if (sending.outcome === "offline") probe = PROBE; // without a road a try should cost little
    sending.enrol = error.outcome === "enrol";
    if (!some && !sending.enrol) sending.outcome = "done";
    else if (!sending.enrol) later(error.waitS ?? Math.random() * ceiling(tries += 1));
  }
  sending.at_ms = Date.now();
  tell();
}

function later(seconds) {
  clearTimeout(timer);
  sending.next_ms = Date.now() + seconds * 1000;
  timer = setTimeout(() => send(), seconds * 1000);
}

/** Send unsent records that `fit`, the oldest first, in batches halved on trouble. One refused alone is told on screen, and goes last next time. */
async function sendRecords(fit, most, atMost = Infinity) {
  const skip = new Set();
  let size = Math.min(most, probe), bySeq = true, refusedInRow = 0, refused = 0;
  for (;;) {
    const batch = cut(await outbox.unsent(size, skip, fit));
    if (!batch.length || refused >= atMost) return;
    const { status, reply } = await postBatch(envelope(batch));
    if (status === 200) {
      const receipts = receiptsOf(reply, batch);
      for (const entry of batch) if (!receipts.has(entry.id)) skip.add(entry.id);
      if (await takeIn(receipts, reply, bySeq)) bySeq = false;
      refusedInRow = 0;
      probe = BATCH;
      size = Math.min(most, size * 2);
      tell();
    } else if (batch.length > 1) {
      size = Math.ceil(batch.length / 2);
    } else {
      const what = { status, what: reply?.title ?? "" };
      await outbox.troubled(batch[0].id, what);
      skip.add(batch[0].id);
      refused += 1;
      if (status === 500 && (refusedInRow += 1) >= REFUSED_IN_ROW && most > 1) throw new Halt("server"); // not these records: the server itself
      size = most;
    }
  }
}

/** An empty batch: the reply tells which store the office has. */
async function ask() {
  const { status, reply } = await postBatch(envelope([]));
  if (status === 200) await takeIn(new Map(), reply, false);
}

async function takeIn(receipts, reply, bySeq) {
  const rewound = await outbox.settle(receipts, reply, bySeq);
  heard_ms = performance.now();
  const error = (Date.now() - Date.parse(reply.server_time)) / 1000;
  sending.clock_error_s = Number.isFinite(error) ? error : null;
  return rewound;
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
  return `{"schema":${batch[0]?.schema ?? outbox.SCHEMA},"sent_at":"${outbox.stamp(now)}","records":[${batch.map((entry) => entry.bytes).join(",")}]}`;
}

function receiptsOf(reply, batch) {
  const sent = new Set(batch.map((entry) => entry.id)), receipts = new Map();
  for (const { id, status, problem } of reply.results) {
    if (sent.has(id) && ["kept", "already", "held"].includes(status)) receipts.set(id, { state: status, problem: problem ?? null });
  }
  return receipts;
}

/** A batch under its digest. When the bytes that arrived are not those (`batch_digest`) no record is to blame: the same go again. */
async function postBatch(text) {
  const body = new TextEncoder().encode(text), headers = { "Content-Type": "application/json", ...(await digestHeader(body)) };
  for (let n = 0; n < SAME_AGAIN; n += 1) {
    const answer = await post("/field/records", body, headers, (reply) => Array.isArray(reply.results));
    if (answer.reply?.code !== "batch_digest") return answer;
  }
  throw new Halt("portal");
}

const postPhoto = (address, body, headers) => post(address, body, headers, (reply) => ["kept", "already"].includes(reply.status));

/** POST and read a whole JSON reply; anything else (no network, a portal's page, a redirect, changed bytes) is a failure that keeps everything. */
async function post(address, body, headers, expected) {
  let response, bytes, reply = null;
  try {
    response = await fetch(address, { method: "POST", body, credentials: "same-origin", redirect: "error", cache: "no-store",
      headers: { ...headers, Accept: "application/json", "Accept-Language": tongue() }, signal: AbortSignal.timeout?.(PATIENCE_MS) });
    bytes = await response.arrayBuffer();
  } catch { throw new Halt("offline"); }
  if (!(await matches(response.headers.get("Content-Digest"), bytes))) throw new Halt("portal");
  try { reply = JSON.parse(new TextDecoder().decode(bytes)); } catch { /* judged below */ }
  const ours = /json/.test(response.headers.get("Content-Type") ?? "") && reply !== null && typeof reply === "object";
  if (response.status === 401 || response.status === 403) throw new Halt(ours ? "enrol" : "portal");
  if (response.status === 200 && ours && expected(reply)) return { status: 200, reply };
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

/** After a save: once the hand rests, so that a try never stands in the way of the next tap, but not later than a while. */
function soon() {
  asked_ms ||= Date.now();
  clearTimeout(soonTimer);
  soonTimer = setTimeout(() => { asked_ms = 0; send(true); }, Math.max(0, Math.min(SOON_MS, asked_ms + SOON_AT_MOST_MS - Date.now())));
}

/** Send when there may be a road: now, on coming to the front, on "online" (which promises nothing), after each save. */
export function keepSending() {
  if (listening) return send(true);
  listening = true;
  addEventListener("online", () => send(true));
  addEventListener("saved", soon);
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") send(true); });
  return send(true);
}
