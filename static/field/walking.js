// The walk under way: every fix is on the disk before it counts, so a phone that dies in the middle goes
// on where it was. One walk at a time; it goes on while other screens are open, until paused or finished.

import { got, within } from "./db.js";
import { listen, standing } from "./ground.js";
import { add, blank, replay } from "./trace.js";
import { uuid7 } from "./uuid7.js";

const HEAD = "walk";
const EVENTS = IDBKeyRange.bound(["walk"], ["walk", []]);
/** Silence longer than this is not walking time: the phone slept or lay in a pocket. */
const SILENCE_MS = 60_000, OLD_FIX_MS = 2_000;
/** After this long without a step someone forgot the walk: it pauses, so that the drive home does not join the line. */
const FORGOTTEN_MS = 30 * 60_000;

/** `code` null when nothing is walked; `mode` walking or corners; `trace` what the events add up to; `awake` whether the screen is held on. */
export const walking = { code: null, mode: null, id: null, started_ms: 0, paused: false, events: [], trace: blank(), awake: false };
let loaded = null, lock = null;

const tell = () => dispatchEvent(new Event("walk"));
const isOn = () => walking.code !== null && walking.mode === "walking" && !walking.paused;
const corners = () => walking.mode === "corners";

const forgotten = () => Date.now() - (walking.events.at(-1)?.t_ms ?? walking.started_ms) > FORGOTTEN_MS;

const writeHead = () => within("meta", "readwrite", (tx) => {
  const { code, mode, id, started_ms, paused } = walking;
  return got(tx.objectStore("meta").put({ code, mode, id, started_ms, paused }, HEAD));
});

/** One event more, on the disk and then in the line. */
async function record(event, t_ms = Date.now()) {
  const whole = { ...event, t_ms }, n = walking.events.push(whole) - 1;
  add(walking.trace, whole, corners());
  tell();
  await within("meta", "readwrite", (tx) => got(tx.objectStore("meta").put(whole, ["walk", n])));
}

/** Read an unfinished walk, once; a walk that was on goes on from wherever the phone is now. */
export function load() {
  loaded ??= (async () => {
    const [head, events] = await within("meta", "readonly", async (tx) => {
      const meta = tx.objectStore("meta");
      return Promise.all([got(meta.get(HEAD)), got(meta.getAll(EVENTS))]);
    });
    if (!head) return;
    Object.assign(walking, head, { events, trace: replay(events, head.mode === "corners") });
    if (isOn() && forgotten()) await pause();
    else if (isOn()) { await record({ gap: true }); start(); }
  })();
  return loaded;
}

function start() {
  listen();
  stayAwake();
}

export async function begin(code, mode) {
  await forget();
  Object.assign(walking, { code, mode, id: uuid7(), started_ms: Date.now(), paused: false });
  await writeHead();
  start();
  tell();
}

export async function pause() {
  walking.paused = true;
  await writeHead();
  letSleep();
  tell();
}

export async function goOn() {
  walking.paused = false;
  await record({ gap: true });
  await writeHead();
  start();
  tell();
}

export const takeBack = () => record({ undo: true });
export const corner = (fix) => record({ corner: fix });

/** Everything of this walk goes; called after its record is saved, or when the crew gives it up. */
export async function forget() {
  await within("meta", "readwrite", async (tx) => {
    const meta = tx.objectStore("meta");
    meta.delete(HEAD);
    await got(meta.delete(EVENTS));
  });
  letSleep();
  Object.assign(walking, { code: null, mode: null, id: null, started_ms: 0, paused: false, events: [], trace: blank() });
}

/** Minutes on the way: pauses and silences left out. */
export function minutes({ events, started_ms } = walking) {
  let last = started_ms, sum = 0;
  for (const event of events) {
    if (!event.gap) sum += Math.min(Math.max(event.t_ms - last, 0), SILENCE_MS);
    last = event.t_ms;
  }
  return Math.round(sum / 6_000) / 10;
}

/** Phones stop the GPS when the screen sleeps. The lock goes away with every look elsewhere, so it is asked for again. */
async function stayAwake() {
  try {
    lock ??= (await navigator.wakeLock?.request("screen")) ?? null;
    lock?.addEventListener("release", () => { lock = null; walking.awake = false; tell(); }, { once: true });
  } catch { lock = null; }
  walking.awake = lock !== null;
  tell();
}

function letSleep() {
  lock?.release().catch(() => {});
  lock = null;
  walking.awake = false;
}

document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible" && isOn()) stayAwake(); });
addEventListener("ground", ({ detail: { fix } }) => {
  if (!fix || !isOn() || standing.doubt || fix.t_ms < walking.started_ms - OLD_FIX_MS) return;
  (forgotten() ? pause() : record({ fix })).catch((error) => dispatchEvent(new CustomEvent("trouble", { detail: error })));
});
