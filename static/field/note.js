// Writing one record: place added, doubt asked once, the sender woken, the count told.

import { announce, flash } from "./app.js";
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
  outbox.waiting().then(({ count }) => { announce(say("saved", { n: count, count: figure(count) })); flash(say("saved.short")); });
  return entries;
}

/** Take an entry back: a void, itself a record; voiding the void restores. */
export const takeBack = (entry) => note({ kind: "void", plot: entry.plot || null, round: entry.round || null, replaces: entry.id, fields: {} });

/**
 * Ask once, kindly, about all unusual values of a record together. Resolves with {fields, confirmed}, with the likely
 * values put in where the crew took them, or null when they want to type again. What the office would hold for
 * certain cannot be kept as it is.
 */
export async function settleDoubts(kind, fields) {
  const found = Object.entries(fields).map(([name, value]) => ({ name, field: fieldName(kind, name), ...doubtOf(kind, name, value) })).filter((doubt) => doubt.value !== undefined);
  if (!found.length) return { fields, confirmed: false };
  const [first] = found, alone = found.length === 1, guessed = found.filter((doubt) => doubt.likely !== null), impossible = found.filter((doubt) => doubt.limit);
  const said = (doubt) => [alone ? "" : say("doubt.title", doubt), doubt.limit || doubt.usual, alone || !doubt.likely_words ? "" : say("doubt.maybe", { value: doubt.likely_words })].filter(Boolean).join(" ");
  const choices = [["again", say("doubt.again")]];
  if (guessed.length && impossible.every((doubt) => doubt.likely !== null)) choices.push(["likely", say(alone ? "doubt.likely" : "doubt.likely_all", { value: guessed.map((doubt) => doubt.likely_words).join(" · ") })]);
  if (!impossible.length) choices.push(["keep", say(alone ? "doubt.keep" : "doubt.keep_all", { value: first.value })]);
  const answer = await ask(alone ? say("doubt.title", first) : say("doubt.several", { n: found.length }), alone ? said(first) : found.map(said), choices);
  if (answer === "again") { (document.getElementById(`f-${first.name}`) ?? document.getElementById(`total-${first.name}`))?.focus(); return null; }
  const likely = answer === "likely" ? Object.fromEntries(guessed.map((doubt) => [doubt.name, doubt.likely])) : {};
  return { fields: { ...fields, ...likely }, confirmed: found.some((doubt) => !(doubt.name in likely)) };
}
