// The key of this phone: a one-time code, from the office's QR or typed. What was recorded before stays.

import { go } from "../app.js";
import { act, h } from "../elements.js";
import * as outbox from "../outbox.js";
import * as pack from "../pack.js";
import { keepSending } from "../sender.js";
import { keep } from "../state.js";
import { say, tongue } from "../words.js";

async function ask(code) {
  let response, reply;
  try {
    response = await fetch("/field/enrol", { method: "POST", credentials: "same-origin", redirect: "error", body: JSON.stringify({ code }),
      headers: { "Content-Type": "application/json", Accept: "application/json", "Accept-Language": tongue() } });
    reply = await response.json();
  } catch { return say("enrol.no_road"); }
  if (response.status !== 200 || !reply.device) return reply.title ? `${reply.title}. ${reply.do}` : say("enrol.no_road");
  await keep("device", reply.device);
  await pack.refresh(true);
  keepSending();
  return null;
}

/** The code in what was typed or pasted: the office's whole address, or the code in groups, in any case. */
export function codeIn(text) {
  const [, inAddress] = /[#?&]enrol=([^&#\s]*)/.exec(text) ?? [];
  return (inAddress ?? text).replace(/%20|[^A-Za-z0-9]/g, "").toUpperCase();
}

export async function enrol() {
  const code = new URLSearchParams(location.hash.slice(1)).get("enrol");
  if (code) history.replaceState(null, "", "/field/"); // used once: not to be reloaded or shared
  const fault = h("p", { class: "fault", role: "alert" });
  const field = h("input", { id: "code", type: "text", autocomplete: "off", autocapitalize: "characters", spellcheck: "false" });
  const heading = h("h1", null, say(code ? "enrol.trying" : "enrol.title"));
  const tryCode = async (text) => {
    fault.textContent = "";
    const wanted = codeIn(text), trouble = wanted ? await ask(wanted) : say("enrol.empty");
    if (!trouble) { go("#/"); return; }
    heading.textContent = say("enrol.title");
    fault.textContent = trouble;
  };
  const { count } = await outbox.waiting();
  const body = [
    heading,
    count ? h("p", { class: "note" }, say("enrol.safe", { n: count })) : null,
    h("p", null, say("enrol.how")), fault,
    h("label", { class: "name", for: "code" }, say("enrol.code")), field,
    act(say("enrol.go"), () => tryCode(field.value), { id: "enrol" }),
    h("p", null, h("a", { class: "act plain", href: "#/more" }, say("home.more"))),
  ];
  if (code) setTimeout(() => tryCode(code));
  return { title: "Piñario", back: null, body };
}
