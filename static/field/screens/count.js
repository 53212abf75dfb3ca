// A row count: one big button per thing seen. Every touch is kept, so a dead battery loses none.

import { draw, go } from "../app.js";
import { read, write } from "../db.js";
import { act, h } from "../elements.js";
import { COUNTERS, fieldName, fieldsOf } from "../fields.js";
import { form } from "../form.js";
import { note, settleDoubts, takeBack } from "../note.js";
import * as outbox from "../outbox.js";
import { plot as plotOf } from "../pack.js";
import { figure, say, typed } from "../words.js";
import { called } from "./plots.js";

const KIND = "row_count";
const SICK_GRADED = ["sick_wilt", "sick_bud_rot", "sick_weevil"];

function tally(name, draft, changed) {
  const set = (value) => { draft[name] = Math.max(0, value); changed(); };
  const total = h("input", { id: `total-${name}`, type: "text", inputmode: "numeric", maxlength: "5", "aria-label": fieldName(KIND, name), value: String(draft[name] ?? 0),
    oninput: () => set(Math.trunc(typed(total.value) ?? 0)), onfocus: () => total.select() });
  const step = (by) => { set((draft[name] ?? 0) + by); total.value = String(draft[name]); };
  return h("div", { class: "tally" },
    h("button", { type: "button", "aria-label": say("count.less", { what: fieldName(KIND, name) }), onclick: () => step(-1) }, "−"), total,
    h("button", { type: "button", class: "more", id: `more-${name}`, onclick: () => step(1) }, `+ ${fieldName(KIND, name)}`));
}

export async function count(code, what, id) {
  const plot = plotOf(code) ?? { code }, key = `draft:count:${code}`;
  const old = what === "mend" ? (await outbox.latest(500)).find((entry) => entry.id === id) : null;
  const before = (await outbox.latest(200)).filter((entry) => entry.kind === KIND && entry.plot === code);
  const last = outbox.current(before).at(0);
  const lastRecord = last ? outbox.record(last) : {};
  const draft = old ? outbox.record(old) : (await read(key)) ?? { rows_in_plot: lastRecord.rows_in_plot ?? plot.rows_counted ?? null, row_length_m: lastRecord.row_length_m ?? null };
  let writing = Promise.resolve();
  const changed = () => { if (!old) writing = write(key, { ...draft }); };
  const part = (mine) => form(KIND, fieldsOf(KIND).filter((field) => !COUNTERS.includes(field.name) && mine(field.name)), draft, (values) => { Object.assign(draft, values); changed(); });
  const sheet = part((name) => name === "row"), rest = part((name) => name !== "row");
  const counters = fieldsOf(KIND).map((field) => field.name).filter((name) => COUNTERS.includes(name));
  const store = async () => {
    const typedRow = sheet.values(), typedRest = typedRow && rest.values();
    if (!typedRest) return;
    const typedIn = { ...typedRow, ...typedRest };
    const counted = Object.fromEntries(counters.map((name) => [name, draft[name] ?? 0]));
    if (!SICK_GRADED.some((name) => counted[name])) delete typedIn.sick_grade;
    const settled = await settleDoubts(KIND, { ...typedIn, ...counted });
    if (!settled) return;
    await note({ kind: KIND, plot: code, replaces: old ? id : null, ...settled });
    await writing;
    await write(key, undefined);
    if (old) go("#/log"); else await draw();
  };
  return {
    title: called(plot), back: old ? "#/log" : `#/plot/${encodeURIComponent(code)}`,
    body: [
      h("h1", null, old ? say("count.mending") : say("count.title")),
      last && !old ? h("p", { class: "soft" }, say("count.last", { row: figure(lastRecord.row), n: figure(lastRecord.plants_standing) })) : null,
      sheet.element,
      h("h2", null, say("count.seen")), counters.map((name) => tally(name, draft, changed)),
      rest.element,
      act(say(old ? "count.store_mended" : "count.store"), store, { class: "act first", id: "store" }),
      last && !old ? act(say("reading.erase"), async () => { await takeBack(last); await draw(); }, { plain: true, id: "erase" }) : null,
    ],
  };
}
