// Start, find the way between screens, keep the top bar true. A screen is a function of its address:
// it returns {title, back, body} and is drawn whole; what matters lives in the database, not in the page.

import { loadTable } from "./brix.js";
import { h, act } from "./elements.js";
import * as outbox from "./outbox.js";
import { moved } from "./ground.js";
import * as pack from "./pack.js";
import { keepSending, sending } from "./sender.js";
import { keep, load, state } from "./state.js";
import { loadFields } from "./fields.js";
import { figure, say, speak } from "./words.js";
import { SCREENS } from "./screens/all.js";

const bar = document.getElementById("bar"), main = document.getElementById("main"), said = document.getElementById("said");
const DAY_MS = 86_400_000, SETTLE_MS = 350, FLASH_MS = 2500;
let flashing = null;
let place = { title: "Piñario", back: null }, drawn = 0;

/** Say something to eyes that are elsewhere: a screen reader hears it, the page does not move. */
export function announce(words) {
  said.textContent = "";
  setTimeout(() => { said.textContent = words; }, 30);
}

function address() {
  const plain = (part) => { try { return decodeURIComponent(part); } catch { return part; } };
  const [name = "", ...rest] = location.hash.replace(/^#\/?/, "").split("/").map(plain);
  return { name, rest };
}

/** Which screen stands before the wanted one: no phone without a key, no record without a name. */
function allowed(name) {
  if (location.hash.startsWith("#enrol=")) return "enrol";
  if (name === "sending" || name === "more") return name;
  if (!state.device) return "enrol";
  if (!state.me) return "who";
  return Object.hasOwn(SCREENS, name) ? name : "home";
}

/** The screen that stands or is being drawn: what becomes known meanwhile belongs on it, not on the one that is left. */
const coming = () => allowed(address().name);

/** Draw the screen of the present address; `keepPlace` leaves focus and scroll where they are, if it stands already. */
export async function draw(keepPlace = false) {
  const turn = (drawn += 1), { name, rest } = address();
  if (main.dataset.screen !== allowed(name)) keepPlace = false;
  const screen = await SCREENS[allowed(name)](...rest);
  if (turn !== drawn || !screen) return; // a newer drawing overtook this one, or the screen went elsewhere
  place = screen;
  document.title = `${screen.title} · Piñario`;
  document.body.className = state.hand === "left" ? "left" : "";
  const focused = keepPlace ? document.activeElement?.id : "";
  main.replaceChildren(...screen.body.flat().filter(Boolean));
  if (main.dataset.screen !== allowed(name)) settle();
  main.dataset.screen = allowed(name);
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  if (!keepPlace) {
    scrollTo(0, 0);
    const heading = main.querySelector("h1");
    heading?.setAttribute("tabindex", "-1");
    heading?.focus({ preventScroll: true });
  }
  await drawBar();
}

async function drawBar() {
  const { count, oldest_ms } = await outbox.waiting();
  const days = oldest_ms ? Math.floor((Date.now() - oldest_ms) / DAY_MS) : 0;
  const words = count ? say("bar.unsent", { n: count, count: figure(count) }) : say("bar.sent");
  bar.replaceChildren(
    place.back ? h("a", { class: "back", href: place.back, "aria-label": say("bar.back") }, "‹") : "",
    h("b", null, place.title),
    h("a", { class: count ? "unsent" : "sent", href: "#/sending" }, sending.enrol ? say("bar.enrol", { words }) : days ? say("bar.days", { words, n: days }) : words),
    flashing?.line ?? "");
  Object.assign(document.body.dataset, { unsent: count, sending: sending.outcome });
}

/** A second tap meant for the screen before does not open something on this one. */
function settle() {
  main.classList.add("settling");
  setTimeout(() => main.classList.remove("settling"), SETTLE_MS);
}

/** What was just done, for eyes: for a moment it stands in the place of the bar's title. */
export function flash(words) {
  clearTimeout(flashing?.timer);
  const line = h("p", { class: "flash", "aria-hidden": "true" }, words);
  flashing = { line, timer: setTimeout(() => { line.remove(); flashing = null; }, FLASH_MS) };
  bar.append(line);
}

export const go = (hash) => { if (location.hash === hash) draw(); else location.hash = hash; };

function showTrouble(error) {
  const full = error?.name === "QuotaExceededError";
  const words = error?.name === "cleared" ? say("trouble.cleared") : full ? say("trouble.full") : say("trouble.other", { name: error?.name ?? String(error) });
  announce(words);
  main.querySelector(".trouble")?.remove();
  main.prepend(h("p", { class: "fault trouble", role: "alert" }, words));
  scrollTo(0, 0);
}

function offerUpdate(worker) {
  if (document.querySelector(".fresh")) return;
  bar.after(h("div", { class: "fresh" }, h("span", null, say("update.ready")), act(say("update.take"), () => worker.postMessage("take over"))));
}

async function watchUpdates() {
  if (!navigator.serviceWorker) return;
  let controlled = Boolean(navigator.serviceWorker.controller);
  let reloading = false;
  navigator.serviceWorker.addEventListener("controllerchange", () => {
    document.body.dataset.worker = "ready";
    const first = !controlled;
    controlled = true;
    if (first || reloading) return;
    reloading = true;
    location.reload();
  });
  const registration = await navigator.serviceWorker.register("/field/sw.js", { scope: "/field/", updateViaCache: "none" });
  if (registration.waiting && controlled) offerUpdate(registration.waiting);
  registration.addEventListener("updatefound", () => {
    const coming = registration.installing;
    coming?.addEventListener("statechange", () => { if (coming.state === "installed" && navigator.serviceWorker.controller) offerUpdate(coming); });
  });
  await navigator.serviceWorker.ready;
  document.body.dataset.worker = "ready";
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") registration.update().catch(() => {}); });
}

async function start() {
  addEventListener("trouble", (event) => showTrouble(event.detail));
  addEventListener("unhandledrejection", (event) => showTrouble(event.reason));
  try {
    await Promise.all([load().then(() => speak(state.language)), loadFields(), loadTable(), pack.load()]);
  } catch (error) {
    await speak(state.language);
    main.replaceChildren(h("h1", null, say("trouble.storage")), h("p", null, say("trouble.storage.do", { name: error?.name ?? "" })));
    return;
  }
  addEventListener("hashchange", () => {
    document.querySelectorAll("dialog[open]").forEach((box) => box.close()); // its question belongs to the screen that was left
    draw();
  });
  addEventListener("state", () => draw(true)); // another tab opened or closed a round, or changed who works
  addEventListener("elsewhere", () => { if (coming() === "reading") draw(true); else drawBar(); });
  addEventListener("sending", () => { drawBar(); if (coming() === "sending") draw(true); if (sending.outcome === "done") pack.refresh(); });
  addEventListener("saved", () => drawBar());
  addEventListener("pack", () => { const { device } = pack.pack(); if (device && state.device) keep("device", { ...state.device, ...device }); });
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") drawBar(); }); // another tab may have saved or sent
  addEventListener("store-closed", () => showTrouble({ name: "cleared" }));
  addEventListener("pack", () => { if (["home", "plots", "orders", "order"].includes(coming())) draw(true); });
  const follow = () => { if (main.dataset.screen === "home" && document.visibilityState === "visible" && moved()) draw(true); };
  addEventListener("ground", ({ detail }) => { if (detail.first && ["home", "plots", "plot"].includes(coming())) draw(true); else follow(); });
  setInterval(follow, 20_000); // a place grows old by itself
  document.addEventListener("visibilitychange", follow);
  await draw();
  follow(); // a first fix may have come while the screen was being made
  document.body.dataset.ready = "yes";
  navigator.storage?.persist?.();
  watchUpdates().catch(() => { document.body.dataset.worker = "none"; });
  if (state.device) keepSending();
  outbox.prune();
}

start();
