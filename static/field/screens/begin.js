// Opening a round: the instrument and how it corrects, asked once and remembered; zero with water; where to walk.

import { go } from "../app.js";
import { act, h } from "../elements.js";
import { fieldsOf } from "../fields.js";
import { form } from "../form.js";
import { note, settleDoubts } from "../note.js";
import { plot as plotOf } from "../pack.js";
import { systematicStart } from "../sampling.js";
import { keep, state } from "../state.js";
import { uuid7 } from "../uuid7.js";
import { figure, say } from "../words.js";
import { called } from "./plots.js";

const REMEMBERED = ["instrument", "atc", "atc_low_c", "atc_high_c"];
const ASKED = ["instrument", "atc", "atc_low_c", "atc_high_c", "zero_check_deg"];

/** Where a fresh systematic walk starts and how it goes on. */
function drawWalk(plot) {
  return systematicStart(plot.rows ?? null, plot.plants_per_row ?? null, plot.sample_plants ?? 12);
}

export async function begin(code) {
  const plot = plotOf(code) ?? { code };
  const walk = drawWalk(plot);
  const fields = fieldsOf("round").filter((field) => ASKED.includes(field.name))
    .map((field) => (field.name.startsWith("atc_") ? { ...field, only_if: { field: "atc", is: 1 } } : field));
  const sheet = form("round", fields, { ...(state.tools ?? {}) });
  return {
    title: called(plot), back: `#/plot/${encodeURIComponent(code)}`,
    body: [
      h("h1", null, say("begin.title")),
      h("p", { class: "note" }, h("b", null, say("begin.walk")), " ", say("begin.start", { row: figure(walk.row), plant: figure(walk.plant) }), " ",
        say("begin.step", { rows: figure(walk.row_step), plants: figure(walk.plant_step) }), " ", say("begin.no_pretty")),
      h("p", null, say("begin.clean")),
      sheet.element,
      act(say("begin.go"), async () => {
        const values = sheet.values();
        if (!values) return;
        const settled = await settleDoubts("round", values);
        if (!settled) return;
        const id = uuid7();
        await note({ id, kind: "round", plot: code, round: id, confirmed: settled.confirmed,
          fields: { crew: state.device.crew ?? "", people: state.me.name, start_row: walk.row, ...settled.fields } });
        await keep("tools", Object.fromEntries(REMEMBERED.map((name) => [name, settled.fields[name] ?? null])));
        await keep("round", { id, plot: code, walk, ...settled.fields, temp: "", temp_ms: 0 });
        go("#/reading");
      }, { class: "act first", id: "start-round" }),
    ],
  };
}
