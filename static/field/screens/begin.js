// Opening a round: the instrument and how it corrects, asked once and remembered; zero with water; where to walk.

import { go } from "../app.js";
import { act, h } from "../elements.js";
import { read, write } from "../db.js";
import { fieldsOf } from "../fields.js";
import { form } from "../form.js";
import { note, settleDoubts } from "../note.js";
import * as outbox from "../outbox.js";
import { pack, plot as plotOf } from "../pack.js";
import { drawWalk, placeOf, stillNeeded } from "../sampling.js";
import { keep, state } from "../state.js";
import { uuid7 } from "../uuid7.js";
import { figure, say, tongue } from "../words.js";
import { called } from "./plots.js";

const DRAFT = "draft:round", KEPT_MS = 12 * 3_600_000;
const USUAL_PLANTS = 12, FEWEST_PLANTS = 6, MOST_PLANTS = 20;
const REMEMBERED = ["instrument", "atc", "atc_low_c", "atc_high_c", "drill_height"];
const NEEDED = ["instrument", "atc"];
const ASKED = ["instrument", "atc", "atc_low_c", "atc_high_c", "zero_check_deg", "drill_height"];

/** Plants of a first pass: what would be enough by the plot's prior, within what one visit bears. */
function plantsToTake(plot) {
  const needed = plot.prior ? stillNeeded(plot.prior, 0, pack().settings.enough_narrowing_deg) : USUAL_PLANTS;
  return Math.min(Math.max(needed, FEWEST_PLANTS), MOST_PLANTS);
}

/** Cautions of the walk with drill and refractometer: the first in full, the rest behind one tap. */
function careNote() {
  const [first, ...rest] = (pack().care ?? []).map((words) => words[tongue()]);
  if (!first) return null;
  return [h("p", { class: "note warn" }, h("b", null, say("order.caution")), " ", first),
    h("details", null, h("summary", null, say("order.cautions", { n: rest.length })), h("ul", null, rest.map((words) => h("li", null, words))))];
}

/** The draw of a plot, kept until it is used: a start that does not please is not drawn again. */
async function drawn(plot) {
  const key = `walk:${plot.code}`, rows = plot.rows_counted ?? plot.rows ?? null, plants = plot.plants_per_row ?? null, old = await read(key);
  if (old && Date.now() - old.at_ms < KEPT_MS && old.from.join() === [rows, plants].join()) return old.walk;
  const walk = drawWalk(rows, plants, plantsToTake(plot));
  await write(key, { walk, from: [rows, plants], at_ms: Date.now() });
  return walk;
}

/** One round at a time: the open one goes on, or is finished first. */
async function openElsewhere(code) {
  const open = state.round, other = plotOf(open.plot) ?? { code: open.plot };
  const n = outbox.current(await outbox.ofRound(open.id)).filter((entry) => entry.kind === "reading").length;
  return {
    title: called(other), back: "#/",
    body: [h("h1", null, say("begin.open", { plot: called(other), n })), h("a", { class: "act first", href: "#/reading", id: "go-on" }, say("begin.open.go_on")),
      act(say("begin.open.close"), async () => { await write("last_round", open); await keep("round", null); go(`#/begin/${encodeURIComponent(code)}`); }, { plain: true, id: "close-open" })],
  };
}

export async function begin(code) {
  if (state.round) return openElsewhere(code);
  const plot = plotOf(code) ?? { code };
  const walk = await drawn(plot), start = placeOf(walk, 0), next = placeOf(walk, 1);
  const fields = fieldsOf("round").filter((field) => ASKED.includes(field.name)).map((field) => ({ ...field, required: field.required || NEEDED.includes(field.name) }));
  const sheet = form("round", fields, { ...(state.tools ?? {}), ...((await read(DRAFT)) ?? {}) }, (values) => write(DRAFT, values));
  return {
    title: called(plot), back: `#/plot/${encodeURIComponent(code)}`,
    body: [
      h("h1", null, say("begin.title")),
      h("p", { class: "note" }, h("b", null, say("begin.walk")), " ", say("begin.start", { row: figure(start.row), plant: figure(start.plant) }), " ",
        say("begin.step", { n: walk.n, row: figure(next.row), plant: figure(next.plant) }), " ", say("begin.no_pretty")),
      h("p", null, say("begin.clean")),
      careNote(),
      sheet.element,
      act(say("begin.go"), async () => {
        const values = sheet.values();
        if (!values) return;
        const settled = await settleDoubts("round", values);
        if (!settled) return;
        const id = uuid7();
        await note({ id, kind: "round", plot: code, round: id, confirmed: settled.confirmed,
          fields: { crew: state.device.crew ?? "", people: state.me.name, start_row: start.row, ...settled.fields } });
        await write(`walk:${code}`, undefined);
        await write(DRAFT, undefined);
        await keep("tools", Object.fromEntries(REMEMBERED.map((name) => [name, settled.fields[name] ?? null])));
        await keep("round", { id, plot: code, walk, prior: plot.prior ?? null, ...settled.fields, temp: "", temp_ms: 0 });
        go("#/reading");
      }, { class: "act first", id: "start-round" }),
    ],
  };
}
