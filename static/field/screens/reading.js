// One plant after another: °Brix, the juice's temperature, save. The plot's mean and how many more to
// take stand above the keypad; a slip is taken back or mended here, and the old record stays.

import { draw, go } from "../app.js";
import { correct } from "../brix.js";
import { read, write } from "../db.js";
import { act, h } from "../elements.js";
import { ask, askNumbers } from "../dialog.js";
import { fieldName } from "../fields.js";
import { keypad } from "../keypad.js";
import { note, settleDoubts, takeBack } from "../note.js";
import * as outbox from "../outbox.js";
import { pack, plot as plotOf } from "../pack.js";
import { placeOf, stand } from "../sampling.js";
import { keep, load, state } from "../state.js";
import { figure, say, typed } from "../words.js";
import { interval } from "../strip.js";
import { called } from "./plots.js";

const TEMP_FRESH_MS = 30 * 60_000, MOST_PLACE = 5000;
const BLANK = { brix: "", temp: null, into: "brix", wounded: false, spot: null, mending: null, untouched: false };
const keyed = { ...BLANK, round: null };
let undo = null;

// The open round's entries as last read, with what was saved here since: reading them all again at every
// plant costs a slow phone a fifth of the save. Anything saved elsewhere makes the next look read anew.
let kept = null, saving = false;
addEventListener("saved", () => { if (!saving) kept = null; });
["elsewhere", "state", "store-closed"].forEach((name) => addEventListener(name, () => { kept = null; }));

async function entriesOf(round) {
  if (kept?.round !== round.id) kept = { round: round.id, entries: await outbox.ofRound(round.id) };
  return kept.entries;
}

/** Save a reading and keep it in mind beside the others. */
async function saveReading(draft) {
  saving = true;
  try {
    const [entry] = await note(draft);
    if (kept) kept.entries.push(entry);
  } finally { saving = false; }
}

const clear = () => Object.assign(keyed, BLANK);

/** °Brix at 20 °C of a reading under its round's instrument; null outside every table. */
export function at20(reading, round) {
  return correct(reading.brix_raw_deg, reading.juice_temp_c ?? null, round.atc ?? null, round.atc_low_c ?? null, round.atc_high_c ?? null).brix20_deg;
}

/** Where the plot's mean stands, from the prior the round began with: a later one already knows its first readings. */
function soFar(values, round) {
  return round.prior ? stand(round.prior, values, pack().settings.enough_narrowing_deg) : null;
}

/** "Your readings run 3.4 °Brix below what was expected": a wrong plot, a zero that is off, or news. */
export const surpriseWords = ({ off_deg }) => say(off_deg < 0 ? "reading.below" : "reading.above", { off: figure(Math.abs(off_deg), 1, true) });

function enoughWords(now, n) {
  if (now.surprise) return surpriseWords(now);
  if (now.more > 0) return say("reading.more", { n: now.more });
  return n ? say("reading.enough", { n }) : say("reading.known");
}

/** "Row 66, plant 190" large, then how far in that is and which reading; on a correction, what it was. */
function heading(old, n, spot, plot) {
  const place = say("reading.place", { row: figure(spot.row), plant: figure(spot.plant) });
  if (old) return h("h1", { class: "step" }, h("b", null, say("reading.mending", { n })), h("small", null, say("reading.was", { place, value: figure(old.brix_raw_deg, 1, true) })));
  const metres = spot.plant && plot.plant_spacing_m ? say("reading.metres", { metres: figure(spot.plant * plot.plant_spacing_m) }) : "";
  return h("h1", { class: "step" }, h("b", null, place), h("small", null, metres, " ", say("reading.number", { n })));
}

function temperature(round) {
  if (keyed.temp !== null) return keyed.temp;
  return round.temp && Date.now() - round.temp_ms < TEMP_FRESH_MS ? round.temp : "";
}

export async function reading(what, id) {
  const { round } = state;
  if (!round) { go("#/"); return null; }
  if (keyed.round !== round.id) { clear(); Object.assign(keyed, { round: round.id }); undo = null; } // what was keyed belongs to its own round
  const plot = plotOf(round.plot) ?? { code: round.plot };
  const entries = outbox.current(await entriesOf(round)).filter((entry) => entry.kind === "reading");
  const mending = what === "mend" ? entries.find((entry) => entry.id === id) : null;
  const old = mending ? outbox.record(mending) : null;
  if (old && keyed.mending !== id) Object.assign(keyed, { brix: String(old.brix_raw_deg ?? ""), temp: String(old.juice_temp_c ?? ""), into: "brix", wounded: Number(old.wounded) === 1, mending: id, untouched: true });
  if (!old && keyed.mending) clear();

  const n = old ? entries.indexOf(mending) + 1 : entries.length + 1;
  const spot = keyed.spot ?? (old ? { row: old.row, plant: old.plant } : placeOf(round.walk, entries.length));
  const values = entries.map((entry) => at20(outbox.record(entry), round)).filter((value) => value !== null), now = soFar(values, round);
  const own = values.reduce((sum, value) => sum + value, 0) / values.length;

  const brixButton = h("button", { type: "button", id: "brix", onclick: () => aim("brix") });
  const tempButton = h("button", { type: "button", id: "temp", onclick: () => aim("temp") });
  const fault = h("p", { class: "fault", role: "alert" });
  const show = () => {
    brixButton.replaceChildren(h("span", { class: "big" }, keyed.brix || "–"), " °Brix");
    tempButton.replaceChildren(say("reading.juice"), " ", h("span", { class: "mid" }, temperature(round) || "–"), " °C");
    brixButton.setAttribute("aria-pressed", keyed.into === "brix");
    tempButton.setAttribute("aria-pressed", keyed.into === "temp");
  };
  const aim = (into) => { keyed.into = into; if (into === "temp") keyed.temp = ""; show(); };
  const change = (next) => {
    const before = keyed.untouched && keyed.into === "brix" ? "" : keyed[keyed.into] ?? ""; // the first figure of a correction takes the old value's place
    keyed.untouched = false;
    keyed[keyed.into] = next(before);
    fault.textContent = "";
    show();
  };

  const store = async () => {
    const brix = typed(keyed.brix), temp = typed(temperature(round));
    if (brix === null) { fault.textContent = say("reading.no_brix"); aim("brix"); return; }
    if (temp === null && round.atc !== "yes") { fault.textContent = say("reading.no_temp"); aim("temp"); return; }
    const settled = await settleDoubts("reading", { ...(spot.row ? { row: spot.row } : {}), ...(spot.plant ? { plant: spot.plant } : {}), brix_raw_deg: brix, ...(temp === null ? {} : { juice_temp_c: temp }), ...(keyed.wounded ? { wounded: 1 } : {}) });
    if (!settled) return;
    const open = globalThis.BroadcastChannel ? state.round : await read("round"); // other tabs tell; where they can't, the disk is asked
    if (open?.id !== round.id) { await load(); go("#/"); return; }
    await saveReading({ kind: "reading", plot: round.plot, round: round.id, replaces: old ? id : null, ...settled });
    const freshTemp = keyed.temp !== null ? { temp: keyed.temp, temp_ms: Date.now() } : {};
    clear();
    undo = null;
    if (!old && freshTemp.temp) await keep("round", { ...round, ...freshTemp });
    if (old) go("#/reading"); else await draw(true);
  };
  const elsewhere = async () => {
    const found = await askNumbers(say("reading.elsewhere"), ["row", "plant"].map((name) => [name, fieldName("reading", name), spot[name]]), say("reading.here"));
    if (!found) return;
    const [row, plant] = [typed(found.row), typed(found.plant)];
    if (![row, plant].every((value) => Number.isInteger(value) && value > 0 && value <= MOST_PLACE)) { fault.textContent = say("reading.elsewhere.whole"); return; }
    keyed.spot = { row, plant };
    await draw(true);
  };
  const eraseLast = async () => {
    const last = entries.at(-1);
    if (!last) return;
    const [gone] = await takeBack(last);
    undo = { entry: gone, n: entries.length, value: outbox.record(last).brix_raw_deg };
    clear();
    await draw(true);
  };

  const finish = async () => {
    if (keyed.brix && !old) {
      const answer = await ask(say("reading.unsaved", { value: keyed.brix }), "", [["stay", say("reading.unsaved.stay")], ["store", say("reading.unsaved.store")], ["drop", say("reading.unsaved.drop")]]);
      if (answer === "stay") return;
      if (answer === "store") {
        await store();
        if (keyed.brix) return; // something was asked or refused
      }
    }
    const left = outbox.current(await outbox.ofRound(round.id)), taken = left.some((entry) => entry.kind === "reading");
    if (!taken) for (const entry of left.filter((one) => one.kind === "round")) await takeBack(entry); // a visit without a reading is none
    await write("last_round", round);
    await keep("round", null);
    clear();
    undo = null;
    go(taken ? `#/done/${round.id}` : "#/");
  };

  const wounded = h("button", { type: "button", class: "act plain", id: "wounded", onclick: () => { keyed.wounded = !keyed.wounded; wounded.setAttribute("aria-pressed", keyed.wounded); } }, say("reading.wounded"));
  wounded.setAttribute("aria-pressed", keyed.wounded);
  const list = h("ul", { class: "list" });
  const fillList = () => list.childElementCount || list.append(...entries.map((entry, i) => {
    const one = outbox.record(entry);
    return h("li", null, h("a", { class: "line", href: `#/reading/mend/${entry.id}` },
      h("span", null, `${i + 1}. ${figure(one.brix_raw_deg, 1, true)} °Brix`, h("small", null, say("reading.at", { row: figure(one.row), plant: figure(one.plant), temp: figure(one.juice_temp_c, 1) }))), h("b", null, say("log.mend"))));
  }));

  show();
  return {
    title: called(plot), back: old ? "#/reading" : "#/",
    body: [
      h("div", { class: "where" }, heading(old, n, spot, plot),
        h("button", { type: "button", class: "quiet", id: "spot", onclick: elsewhere }, say("reading.elsewhere"))),
      h("div", { class: "values" }, brixButton, tempButton),
      now ? interval(now, plot.target_deg) : null,
      now ? h("p", { id: "enough", role: "status", class: now.surprise ? "warned" : null }, enoughWords(now, entries.length), entries.length ? h("small", null, ` ${say("reading.own", { n: entries.length, mean: figure(own, 1, true) })}`) : null) : h("p", { id: "enough" }, say("reading.taken", { n: entries.length })),
      fault,
      keypad(change, store),
      act(old ? say("reading.store_mended") : say("reading.store"), store, { class: "act first", id: "store" }),
      undo ? h("div", { class: "pair" }, h("p", null, say("reading.erased", { n: undo.n, value: figure(undo.value, 1, true) })),
        act(say("undo"), async () => { await takeBack(undo.entry); undo = null; await draw(true); }, { plain: true, id: "undo" })) : null,
      h("div", { class: "pair" }, wounded, old ? null : act(say("reading.erase"), eraseLast, { plain: true, id: "erase", disabled: !entries.length })),
      old ? null : h("div", { class: "pair" }, h("a", { class: "act plain", href: `#/plot/${encodeURIComponent(round.plot)}` }, say("reading.else")),
        act(say("reading.finish"), finish, { plain: true, id: "finish" })),
      entries.length && !old ? h("details", { ontoggle: fillList }, h("summary", null, say("reading.list", { n: entries.length })), list) : null,
    ],
  };
}
