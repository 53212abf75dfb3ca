// What a crew needs without signal: fetched when there is a road, replaced as a whole, kept until then.

import { got, read, within } from "./db.js";
import { tongue } from "./words.js";

const EMPTY = { plots: [], orders: [], visits: [], reckoning: false, cautions: [], today: null, week: null, frozen: false, estate: "", device: null, settings: {} };
// By the time since the page opened: a phone's clock set back must not stop the asking.
let held = EMPTY, asked_ms = -Infinity, asking = Promise.resolve();
const PATIENCE_MS = 90_000;
// Between two questions; sooner while the office still reckons the estate.
const SELDOM_MS = 600_000, SOON_MS = 120_000;

export const pack = () => held;
export const plot = (code) => held.plots.find((one) => one.code === code) ?? null;
export const order = (id) => held.orders.find((one) => String(one.id) === String(id)) ?? null;

/** The stored pack, or an empty one. */
export async function load() {
  held = { ...EMPTY, ...((await read("pack")) ?? {}) };
}

/**
 * Ask the office for a newer pack, at most every ten minutes unless `now`. Resolves with what happened.
 * One question at a time: of two under way the older answer could come last and stay.
 */
export function refresh(now = false) {
  asking = asking.then(() => ask(now));
  return asking;
}

async function ask(now) {
  if (!now && performance.now() - asked_ms < (held.reckoning ? SOON_MS : SELDOM_MS)) return "recent";
  try {
    const tag = held.plots.length ? await read("pack_tag") : null;
    const response = await fetch("/field/pack", { credentials: "same-origin", cache: "no-store", redirect: "error", signal: AbortSignal.timeout?.(PATIENCE_MS),
      headers: { Accept: "application/json", "Accept-Language": tongue(), ...(tag ? { "If-None-Match": tag } : {}) } });
    if (response.status === 304) { asked_ms = performance.now(); return "same"; }
    if (response.status === 401 || response.status === 403) return "enrol";
    if (response.status !== 200) return "failed";
    const fresh = await response.json();
    if (!Array.isArray(fresh.plots)) return "failed";
    await within("meta", "readwrite", (tx) => {
      const meta = tx.objectStore("meta");
      meta.put(response.headers.get("ETag"), "pack_tag");
      return got(meta.put(fresh, "pack"));
    });
    asked_ms = performance.now();
    held = { ...EMPTY, ...fresh };
    dispatchEvent(new Event("pack"));
    return "new";
  } catch { return "failed"; }
}
