// Writing one record: place added, doubt asked once, the sender woken, the count told.

import { announce } from "./app.js";
import { ask } from "./dialog.js";
import { doubtOf, fieldName } from "./fields.js";
import { position } from "./ground.js";
import * as outbox from "./outbox.js";
import { figure, say } from "./words.js";

/** Save drafts and let everyone know; resolves with the entries once they are on the disk. Each draft gets the phone's place unless it has one. */
export async function note(...drafts) {
  const place = position();
  const entries = await outbox.save(...drafts.map((draft) => ({ position: place, ...draft })));
  dispatchEvent(new Event("saved"));
  outbox.waiting().then(({ count }) => announce(say("saved", { n: count, count: figure(count) })));
  return entries;
}

/** Take an entry back: a void, itself a record; voiding the void restores. */
export const takeBack = (entry) => note({ kind: "void", plot: entry.plot || null, round: entry.round || null, replaces: entry.id, fields: {} });

/**
 * Ask once, kindly, about each unusual value. Resolves with {fields, confirmed}, with the likely value
 * put in where the crew took it, or null when they want to type it again.
 */
export async function settleDoubts(kind, fields) {
  const settled = { ...fields };
  let confirmed = false;
  for (const [name, value] of Object.entries(fields)) {
    const doubt = doubtOf(kind, name, value);
    if (!doubt) continue;
    const unit = doubt.unit ? ` ${doubt.unit}` : "", plain = name === "planting_year" ? String : (number) => figure(number, 2);
    const answer = await ask(say("doubt.title", { field: fieldName(kind, name), value: `${plain(value)}${unit}` }),
      say("doubt.usual", { low: plain(doubt.low), high: plain(doubt.high), unit: doubt.unit }),
      [["again", say("doubt.again")], ...(doubt.likely === null ? [] : [["likely", say("doubt.likely", { value: `${plain(doubt.likely)}${unit}` })]]),
        ["keep", say("doubt.keep", { value: `${plain(value)}${unit}` })]]);
    if (answer === "again") return null;
    if (answer === "likely") settled[name] = doubt.likely;
    else confirmed = true;
  }
  return { fields: settled, confirmed };
}
