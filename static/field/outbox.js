// The log of what this phone recorded. Append-only: a slip is mended by a new record that replaces
// or voids the old one. The bytes of a record are made once, kept, and sent again as they are.

import { got, within } from "./db.js";
import { forget, rewindPhotos, withRoom } from "./photos.js";
import { uuid7 } from "./uuid7.js";

export const SCHEMA = 1;
export const KEEP_DAYS = 90;
export const KEEP_PHOTOS_DAYS = 14;
const DAY_MS = 86_400_000;
const PAGE = 500;
const UNSENT = IDBKeyRange.bound(["unsent"], ["unsent", []]);

// How many wait is counted once and then kept up to date: with thousands waiting, counting at every save
// is what a slow phone would feel most. Whatever else may change it makes the next look count anew.
const others = globalThis.BroadcastChannel ? new BroadcastChannel("pinario-outbox") : null;
let counted = null, changes = 0;

function nowCounts(next) {
  changes += 1;
  counted = next;
}

function changed(next = null) {
  nowCounts(next);
  others?.postMessage("changed");
}

others?.addEventListener("message", () => { nowCounts(null); dispatchEvent(new Event("elsewhere")); });
addEventListener("store-closed", () => nowCounts(null));
document.addEventListener("visibilitychange", () => nowCounts(null));

/** Local time with its offset, RFC 3339: 2026-11-23T07:12:03.120-06:00. */
export function stamp(date = new Date()) {
  const offset = -date.getTimezoneOffset();
  const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");
  const local = new Date(date.getTime() + offset * 60_000).toISOString().slice(0, -1);
  return `${local}${offset < 0 ? "-" : "+"}${two(offset / 60)}:${two(offset % 60)}`;
}

/**
 * Save drafts in one transaction, each with the next `seq` of this install.
 * A draft is {kind, plot, round?, id?, replaces?, confirmed?, position?, fields}; resolves with the stored entries.
 */
export async function save(...drafts) {
  const now = new Date();
  const saved = await withRoom(() => within(["records", "meta"], "readwrite", async (tx) => {
    const meta = tx.objectStore("meta"), records = tx.objectStore("records");
    let [install, seq = 0] = await Promise.all([got(meta.get("install")), got(meta.get("seq"))]);
    if (!install) meta.put(install = uuid7(), "install");
    const entries = [];
    for (const draft of drafts) {
      const record = {
        id: draft.id ?? uuid7(), install, seq: seq += 1, round: draft.round ?? null, kind: draft.kind,
        plot: draft.plot ?? null, taken_at: stamp(now), position: draft.position ?? null,
        confirmed: Boolean(draft.confirmed), replaces: draft.replaces ?? null, ...draft.fields,
      };
      const entry = {
        id: record.id, seq, kind: record.kind, plot: record.plot ?? "", round: record.round ?? "", replaces: record.replaces,
        schema: SCHEMA, state: "unsent", saved_ms: now.getTime(), bytes: JSON.stringify(record),
      };
      records.add(entry);
      entries.push(entry);
    }
    meta.put(seq, "seq");
    return entries;
  }));
  changed(counted && { count: counted.count + saved.length, oldest_ms: counted.oldest_ms ?? now.getTime() });
  return saved;
}

/** The record of an entry, as it was sent. */
export const record = (entry) => JSON.parse(entry.bytes);

/** The oldest unsent entries, at most `limit`, those in `skip` left out and only those that `fit`. */
export function unsent(limit = 500, skip = new Set(), fit = () => true) {
  return within("records", "readonly", async (tx) => {
    const index = tx.objectStore("records").index("state"), found = [];
    for (let range = UNSENT, size = limit + skip.size; ; size *= 4) {
      const most = Math.min(size, PAGE), page = await got(index.getAll(range, most)); // a cursor would cost a turn of the page for each entry
      for (const entry of page) if (found.length < limit && !skip.has(entry.id) && fit(entry)) found.push(entry);
      if (found.length >= limit || page.length < most) return found;
      range = IDBKeyRange.bound(["unsent", page.at(-1).seq], ["unsent", []], true);
    }
  });
}

/** How many are unsent and when the oldest of them was saved (ms, null when there is none). */
export async function waiting() {
  if (counted) return counted;
  const before = changes;
  const found = await within("records", "readonly", async (tx) => {
    const index = tx.objectStore("records").index("state");
    const [count, oldest] = await Promise.all([got(index.count(UNSENT)), got(index.get(UNSENT))]);
    return { count, oldest_ms: oldest?.saved_ms ?? null };
  });
  if (before === changes) counted = found;
  return found;
}

/** Whether anything is unsent, asked of the store itself. */
export const anyUnsent = () => within("records", "readonly", async (tx) => (await got(tx.objectStore("records").index("state").getKey(UNSENT))) !== undefined);

/** Entries of one round in the order they were saved. */
export const ofRound = (round) => within("records", "readonly", (tx) =>
  got(tx.objectStore("records").index("round").getAll(IDBKeyRange.bound([round], [round, []]))));

/** The latest `limit` entries, newest first. */
export function latest(limit = 50) {
  return within("records", "readonly", (tx) => new Promise((resolve, reject) => {
    const found = [], request = tx.objectStore("records").index("seq").openCursor(null, "prev");
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      const cursor = request.result;
      if (!cursor || found.length >= limit) return resolve(found);
      found.push(cursor.value);
      cursor.continue();
    };
  }));
}

/**
 * Those entries that still count. A void takes what it names out of force (voiding the void brings it
 * back); a correction hides what it replaces; of two corrections of one record the later counts.
 */
export function current(entries) {
  const newestFirst = [...entries].sort((a, b) => b.seq - a.seq), voided = new Set(), hidden = new Set(), mended = new Set();
  for (const entry of newestFirst) if (entry.kind === "void" && !voided.has(entry.id)) voided.add(entry.replaces);
  for (const entry of newestFirst) {
    if (entry.kind === "void" || !entry.replaces || voided.has(entry.id)) continue;
    if (mended.has(entry.replaces)) hidden.add(entry.id);
    mended.add(entry.replaces);
    hidden.add(entry.replaces);
  }
  return entries.filter((entry) => entry.kind !== "void" && !voided.has(entry.id) && !hidden.has(entry.id));
}

/**
 * Take one reply in, in one transaction: receipts {id → {state, problem}} beside their entries, and what the
 * office's store says about older ones. `reply` is {store_epoch, seq_high, seq_count, server_time}.
 * Another store means that a backup was restored: whatever was acknowledged before waits again, photos too. A
 * highest `seq` below one with a receipt means the same of those above it (looked at when `bySeq`).
 * Resolves with how many wait again. Receipt times are the office's, so no phone's clock makes us forget one.
 */
export async function settle(receipts, reply, bySeq = true) {
  const server_ms = Date.parse(reply.server_time) || null;
  const again = await within(["records", "meta", "photos"], "readwrite", async (tx) => {
    const records = tx.objectStore("records"), meta = tx.objectStore("meta");
    const [epoch, reached = 0] = await Promise.all([got(meta.get("store_epoch")), got(meta.get("acked_seq"))]);
    let high = reached;
    for (const [id, receipt] of receipts) {
      const entry = await got(records.get(id));
      if (!entry) continue; // wiped while the request was under way
      records.put({ ...entry, state: receipt.state, problem: receipt.problem ?? null, trouble: null, receipt_ms: server_ms });
      if (receipt.state !== "held") high = Math.max(high, entry.seq);
    }
    if (high !== reached) meta.put(high, "acked_seq");
    if (server_ms) meta.put(server_ms, "server_ms");
    const restored = epoch && reply.store_epoch && reply.store_epoch !== epoch;
    if (reply.store_epoch && reply.store_epoch !== epoch) meta.put(reply.store_epoch, "store_epoch");
    if (restored) await rewindPhotos(tx);
    if (restored) return rewound(records, 0, receipts);
    return bySeq && reply.seq_count && reply.seq_high < high ? rewound(records, reply.seq_high, receipts) : 0;
  });
  changed();
  return again;
}

/** Inside a transaction: everything acknowledged with a `seq` above `above`, but for what was acknowledged just now, waits again. */
async function rewound(records, above, justNow) {
  const lost = (await got(records.index("seq").getAll(IDBKeyRange.lowerBound(above, true)))).filter((entry) => entry.state !== "unsent" && !justNow.has(entry.id));
  for (const entry of lost) records.put({ ...entry, state: "unsent", receipt_ms: null });
  return lost.length;
}

/** Note why the server could not take one record; it stays unsent. */
export function troubled(id, trouble) {
  return within("records", "readwrite", async (tx) => {
    const records = tx.objectStore("records"), entry = await got(records.get(id));
    if (entry) records.put({ ...entry, trouble });
  });
}

/**
 * Forget entries whose receipt is older than KEEP_DAYS, and photos after KEEP_PHOTOS_DAYS, both by the office's
 * clock as last heard: one that jumped on the phone forgets nothing. Resolves with how many entries went.
 */
export async function prune() {
  const now = await within("meta", "readonly", (tx) => got(tx.objectStore("meta").get("server_ms")));
  if (!now) return 0;
  await forget(now - KEEP_PHOTOS_DAYS * DAY_MS);
  return within("records", "readwrite", (tx) => new Promise((resolve, reject) => {
    let gone = 0;
    const request = tx.objectStore("records").openCursor();
    request.onerror = () => reject(request.error);
    request.onsuccess = () => {
      const cursor = request.result;
      if (!cursor) return resolve(gone);
      const { state, receipt_ms } = cursor.value;
      if (["kept", "already"].includes(state) && receipt_ms && receipt_ms < now - KEEP_DAYS * DAY_MS) { cursor.delete(); gone += 1; }
      cursor.continue();
    };
  }));
}
