// Who is working on this phone and where they left off; every change is written before it counts.

import { got, within, write } from "./db.js";

const KEYS = ["me", "device", "language", "hand", "round", "tools", "names"];

/**
 * me {name, role}, device {id, name, crew} once enrolled, language, hand, the open round,
 * tools (instrument, ATC remembered from round to round), names used before.
 */
const FRESH = { me: null, device: null, language: "es", hand: "right", round: null, tools: null, names: [] };
export const state = { ...FRESH };
const others = globalThis.BroadcastChannel ? new BroadcastChannel("pinario-state") : null;
others?.addEventListener("message", () => load().then(() => dispatchEvent(new Event("state"))).catch(() => {}));

export function load() {
  return within("meta", "readonly", async (tx) => {
    const meta = tx.objectStore("meta"), values = await Promise.all(KEYS.map((key) => got(meta.get(key))));
    KEYS.forEach((key, i) => { state[key] = values[i] ?? FRESH[key]; });
  });
}

/** Change one remembered thing; resolves when it is on the disk. Other tabs hear of it. */
export async function keep(key, value) {
  await write(key, value ?? undefined);
  state[key] = value;
  others?.postMessage("changed");
}
