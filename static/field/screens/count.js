// A row count: one big button per thing seen. Every touch is kept, so a dead battery loses none.

import { draw, go } from "../app.js";
import { read, write } from "../db.js";
import { act, h } from "../elements.js";
import { COUNTERS, faultOf, fieldName, fieldsOf } from "../fields.js";
import { clean, form, tell } from "../form.js";
import { note, settleDoubts, takeBack } from "../note.js";
import * as outbox from "../outbox.js";
import { pack, plot as plotOf } from "../pack.js";
import { rowsStand, rowToCount } from "../sampling.js";
import { figure, say, typed } from "../words.js";
import { called } from "./plots.js";

const KIND = "row_count";
const ROWS = 8, KEPT_MS = 7 * 86_400_000;
const SICK_GRADED = ["sick_wilt", "sick_bud_rot", "sick_weevil"];

/** A counter and what is wrong with it, "" when nothing is: a draft keeps the text that is no whole number. */
const counterFault = (name, draft) => faultOf(KIND, fieldsOf(KIND).find((field) => field.name === name), typeof draft[name] === "string" ? Number.NaN : draft[name] ?? 0);

function tally(name, draft, changed) {
  const set = (value) => { draft[name] = value; changed(); tell(part, name, counterFault(name, draft)); };
  const keyed = () => { const text = clean(total.value), value = text ? typed(text) : 0; set(Number.isInteger(value) ? value : text); };
  const total = h("input", { id: `total-${name}`, type: "text", inputmode: "numeric", maxlength: "5", "aria-label": fieldName(KIND, name), value: String(draft[name] ?? 0),
    oninput: keyed, onfocus: () => total.select() });
  const step = (by) => { set(Math.max(0, (typeof draft[name] === "number" ? draft[name] : 0) + by)); total.value = String(draft[name]); };
  const element = h("div", null, h("div", { class: "tally" },
    h("button", { type: "button", "aria-label": say("count.less", { what: fieldName(KIND, name) }), onclick: () => step(-1) }, "−"), total,
    h("button", { type: "button", class: "more", id: `more-${name}`, onclick: () => step(1) }, `+ ${fieldName(KIND, name)}`)));
  const part = { element, control: total };
  tell(part, name, counterFault(name, draft));
  return { name, element, check: () => { const words = counterFault(name, draft); tell(part, name, words); if (words) total.focus(); return !words; } };
}

/** Rows drawn at equal distance from a start drawn afresh, kept for a week so that a crew finishes what it began. */
async function drawn(code, rows) {
  const key = `rows:${code}`, old = await read(key);
  if (old && old.rows === rows && Date.now() - old.at_ms < KEPT_MS) return old;
  const fresh = { rows, n: Math.min(ROWS, rows), row_draw: Math.random(), at_ms: Date.now() };
  await write(key, fresh);
  return fresh;
}

/** How many plants a row hold so far and whether that is enough, in words; the counts are whole rows' worth. */
function standWords(records, rows) {
  const counts = records.map((record) => record.plants_standing / (record.part_of_row || 1));
  const share = pack().settings.enough_rows_share ?? 0.05, now = rowsStand(counts, rows, share), percent = figure(100 * share);
  const mean = now.low === null ? say("count.mean_one", { mean: figure(now.mean) }) : say("count.mean", { n: counts.length, mean: figure(now.mean), low: figure(now.low), high: figure(now.high) });
  return `${mean} ${now.more ? say("count.more_rows", { n: now.more, percent }) : say("count.enough", { percent })}`;
}

export async function count(code, what, id) {
  const plot = plotOf(code) ?? { code }, key = `draft:count:${code}`;
  const old = what === "mend" ? (await outbox.latest(500)).find((entry) => entry.id === id) : null;
  const before = (await outbox.latest(200)).filter((entry) => entry.kind === KIND && entry.plot === code);
  const living = outbox.current(before), last = living.at(0);
  const lastRecord = last ? outbox.record(last) : {};
  const draft = old ? outbox.record(old) : (await read(key)) ?? { rows_in_plot: lastRecord.rows_in_plot ?? plot.rows_counted ?? null, row_length_m: lastRecord.row_length_m ?? null };
  const rows = (typeof draft.rows_in_plot === "number" ? draft.rows_in_plot : null) ?? plot.rows_counted ?? plot.rows ?? null;
  const counted = living.filter((entry) => Date.now() - entry.saved_ms < KEPT_MS).map(outbox.record);
  const next = !old && rows ? rowToCount(await drawn(code, rows), counted.length) : null;
  if (next && !draft.row) draft.row = next;
  let writing = Promise.resolve();
  const gradeSick = () => rest.show("sick_grade", SICK_GRADED.some((name) => draft[name]));
  const changed = () => { gradeSick(); if (!old) writing = write(key, { ...draft }); };
  const part = (mine) => form(KIND, fieldsOf(KIND).filter((field) => !COUNTERS.includes(field.name) && mine(field.name)), draft, (values) => { Object.assign(draft, values); changed(); });
  const sheet = part((name) => name === "row"), rest = part((name) => name !== "row");
  const counters = fieldsOf(KIND).map((field) => field.name).filter((name) => COUNTERS.includes(name));
  const tallies = counters.map((name) => tally(name, draft, changed));
  gradeSick();
  const store = async () => {
    const typedRow = sheet.values(), typedRest = typedRow && rest.values();
    const unread = tallies.filter((one) => !one.check());
    if (unread.length || !typedRest) return;
    const typedIn = { ...typedRow, ...typedRest };
    const seen = Object.fromEntries(counters.map((name) => [name, draft[name] ?? 0]));
    if (!SICK_GRADED.some((name) => seen[name])) delete typedIn.sick_grade;
    const settled = await settleDoubts(KIND, { ...typedIn, ...seen });
    if (!settled) return;
    await note({ kind: KIND, plot: code, round: old?.round || null, replaces: old ? id : null, ...settled });
    await writing;
    await write(key, undefined);
    if (old) go("#/log"); else await draw();
  };
  return {
    title: called(plot), back: old ? "#/log" : `#/plot/${encodeURIComponent(code)}`,
    body: [
      h("h1", null, old ? say("count.mending") : say("count.title")),
      next ? h("p", null, say(plot.rows_counted || draft.rows_in_plot ? "count.next" : "count.next_guessed", { row: figure(next) })) : null,
      counted.length && !old ? h("p", { id: "rows-stand", role: "status" }, standWords(counted, rows)) : null,
      last && !old ? h("p", { class: "soft" }, say("count.last", { row: figure(lastRecord.row), n: figure(lastRecord.plants_standing) })) : null,
      sheet.element,
      h("h2", null, say("count.seen")), h("div", null, tallies.map((one) => one.element)),
      rest.element,
      act(say(old ? "count.store_mended" : "count.store"), store, { class: "act first", id: "store" }),
      last && !old ? act(say("reading.erase"), async () => { await takeBack(last); await draw(); }, { plain: true, id: "erase" }) : null,
    ],
  };
}
