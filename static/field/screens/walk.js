// The outline of a plot walked with the GPS, or taken corner by corner: start, walk, look, save once.

import { announce, draw, go } from "../app.js";
import { ask } from "../dialog.js";
import { sketch } from "../drawing.js";
import { act, h } from "../elements.js";
import { listen, standing, trust } from "../ground.js";
import { note } from "../note.js";
import * as pack from "../pack.js";
import { apart, area, crossings } from "../plane.js";
import * as trace from "../trace.js";
import { distance, figure, say } from "../words.js";
import * as walks from "../walking.js";
import { called, groundWords } from "./plots.js";

const { walking } = walks;
const HOME_M = 25, HOME_AFTER_M = 80, MOVED_M = 8, EARLY = 3;
const hectares = (value) => figure(value, value < 100 ? 2 : 1, true);
const plotOf = (code) => pack.plot(code) ?? { code };
const at = (code, step = "") => `#/walk/${encodeURIComponent(code)}${step ? `/${step}` : ""}`;
const backTo = (code) => (pack.plot(code) ? `#/plot/${encodeURIComponent(code)}` : "#/plots");

/** The plot's outline of today on the walk's plane, or null. */
function oldRing(code) {
  const outline = pack.plot(code)?.outline;
  return walking.trace.flat && outline?.length > 2 ? outline.map(walking.trace.flat.to) : null;
}

const blocked = () => ["refused", "missing"].includes(standing.state);

/** Is there a GPS to walk with? Words and a way out when not, else null. */
function noGps() {
  if (!blocked()) return null;
  return [h("p", { class: "note warn", role: "alert" }, h("b", null, say(`walk.gps.${standing.state}`)), " ", say(`walk.gps.${standing.state}.do`)),
    standing.state === "refused" ? act(say("walk.gps.again"), async () => { listen(true); await draw(true); }, { id: "ask-again" }) : null];
}

async function giveUp(code) {
  const answer = await ask(say("walk.leave.ask"), say("walk.leave.lost"), [["stay", say("walk.leave.stay")], ["leave", say("walk.leave.yes")]]);
  if (answer !== "leave") return;
  await walks.forget();
  go(backTo(code));
}

const leave = (code) => act(say("walk.leave"), () => giveUp(code), { plain: true, id: "leave" });
const screen = (code, ...body) => ({ title: called(plotOf(code)), back: backTo(code), body });

/** Keep `update` running while its element is on the page; a permission given or refused meanwhile draws the screen anew. */
function follow(element, update) {
  const before = blocked();
  const hear = () => { if (element.isConnected && blocked() !== before) draw(true); else if (element.isConnected) update(); else { removeEventListener("walk", hear); removeEventListener("ground", hear); } };
  update();
  setTimeout(() => { addEventListener("walk", hear); addEventListener("ground", hear); }, 0);
}

export async function walk(code, step) {
  await walks.load();
  listen();
  if (!code) return newLand();
  if (walking.code !== null && walking.code !== code) return other(code);
  if (walking.code === null) return choose(code);
  if (step === "look") return look(code);
  return walking.mode === "corners" ? byCorners(code) : onTheWay(code);
}

function newLand() {
  const code = h("input", { id: "code", type: "text", autocomplete: "off", autocapitalize: "characters", maxlength: "40" }), fault = h("p", { class: "fault", role: "alert" });
  const next = () => {
    const typed = code.value.trim();
    if (!typed) { fault.textContent = say("walk.new.empty"); code.focus(); return; }
    go(at(typed));
  };
  return { title: say("walk.new"), back: "#/plots", body: [h("h1", null, say("walk.new")), h("p", null, say("walk.new.say")), h("label", { class: "name", for: "code" }, say("walk.new.code")), code, fault, act(say("walk.new.go"), next, { class: "act first", id: "go" })] };
}

const other = (code) => screen(code, h("h1", null, say("walk.other", { plot: called(plotOf(walking.code)) })), h("p", null, say("walk.other.do")),
  h("a", { class: "act first", href: at(walking.code) }, say("walk.other.go")), leave(walking.code));

function choose(code) {
  const begin = (mode) => async () => { await walks.begin(code, mode); await draw(); };
  const without = noGps(), status = h("p", { class: "soft" });
  follow(status, () => { status.textContent = without ? "" : groundWords(); });
  return screen(code, h("h1", null, say("walk.title", { plot: called(plotOf(code)) })), pack.plot(code) ? null : h("p", { class: "note" }, say("walk.unknown")), without,
    without ? null : [act(say("walk.begin"), begin("walking"), { class: "act first", id: "begin-walk" }), h("p", null, say("walk.begin.say")),
      act(say("walk.corners"), begin("corners"), { class: "act first", id: "begin-corners" }), h("p", null, say("walk.corners.say"))], status);
}

/** What became of the last fix, in words that change only with the matter; the figure stands beside it. */
function told() {
  if (walking.paused) return say("walk.told.paused");
  const sure = trust();
  if (sure !== "good" && sure !== "coarse") return sure === "old" || sure === "seeking" ? say("walk.told.seeking") : groundWords();
  if (!walking.trace.told) return say("walk.told.seeking");
  return say(`walk.told.${walking.trace.told}`);
}

function area2(stand) {
  return [h("p", { class: "sum" }, h("span", { class: "big" }, hectares(stand.area_ha)), " ha ", stand.area_ha ? h("span", null, say("walk.give", { ha: hectares(stand.doubt_ha) })) : "")];
}

function picture(words, code, extra = {}) {
  const { points, last } = walking.trace, old = oldRing(code);
  const layers = [...(old ? [{ points: old, name: "old" }] : []), { points, name: walking.mode === "corners" ? "new area" : "new", close: walking.mode === "corners" && points.length > 2 }];
  return sketch(layers, words, { own: last ? { at: last.at, accuracy_m: last.accuracy_m } : null, ...extra });
}

function onTheWay(code) {
  const sum = h("div"), status = h("p", { id: "told", role: "status" }), facts = h("p", { class: "soft", id: "facts" }), drawn = h("div"), awake = h("p", { class: "soft" });
  const pause = act("", async () => { await (walking.paused ? walks.goOn() : walks.pause()); }, { plain: true, id: "pause" });
  const close = act(say("walk.close"), () => go(at(code, "look")), { class: "act first", id: "close" });
  const undo = act(say("walk.undo", { metres: trace.UNDO_M }), async () => { await walks.takeBack(); announce(say("walk.undone")); }, { plain: true, id: "undo" });
  follow(status, () => {
    if (walking.code !== code) return;
    const stand = trace.standOf(walking.trace), nearHome = stand.way_m > HOME_AFTER_M && stand.home_m !== null && stand.home_m < HOME_M;
    const words = nearHome && !walking.paused && ["kept", "still"].includes(walking.trace.told) ? say("walk.home.near") : told(), gps = standing.state === "here" ? say("walk.gps", { metres: figure(standing.accuracy_m) }) : "";
    sum.replaceChildren(...area2(stand));
    if (status.textContent !== words) status.textContent = words;
    facts.textContent = [gps, say("walk.way", { distance: distance(stand.way_m) }), stand.way_m > HOME_AFTER_M ? say("walk.home", { distance: distance(stand.home_m) }) : ""].filter(Boolean).join(" · ");
    drawn.replaceChildren(picture(say("walk.picture", { area: hectares(stand.area_ha), distance: distance(stand.way_m) }), code) ?? "");
    pause.textContent = say(walking.paused ? "walk.go_on" : "walk.pause");
    undo.disabled = !walking.trace.points.length;
    close.disabled = walking.trace.points.length < 3;
    awake.textContent = walking.paused || walking.awake ? "" : say("walk.awake");
  });
  return screen(code, h("h1", { class: "step" }, say("walk.title", { plot: called(plotOf(code)) })), noGps(), sum, status, drawn, facts, close, h("div", { class: "pair" }, pause, undo), awake, leave(code));
}

/** The corner being averaged: null, or the fixes so far. Ten seconds at most, so it lives in memory, and goes with the address. */
let averaging = null, storing = false;
addEventListener("hashchange", () => { averaging = null; });

/** Change the corners kept and draw them; a tap meanwhile belongs to neither the old corner nor the next. */
async function change(work) {
  storing = true;
  averaging = null;
  try { await work(); await draw(true); } finally { storing = false; }
}

function byCorners(code) {
  const { points, acc } = walking.trace, n = points.length, stand = trace.standOf(walking.trace, true);
  const status = h("p", { id: "told", role: "status" }), bar = h("progress", { max: String(trace.AVERAGED), value: "0", "aria-label": say("walk.corner.progress") });
  const done = () => {
    const fixes = averaging;
    return change(async () => {
      await walks.corner(trace.averaged(fixes));
      announce(say("walk.corner.kept", { n: n + 1 }));
    });
  };
  const take = act("", async () => { if (storing) return; if (!averaging) averaging = []; else if (averaging.length >= EARLY) { await done(); return; } show(); }, { class: "act first", id: "take" });
  function show(words = "") {
    bar.value = averaging?.length ?? 0;
    take.textContent = averaging === null ? say("walk.corner.take", { n: n + 1 }) : averaging.length < EARLY ? say("walk.corner.still") : say("walk.corner.enough", { n: averaging.length });
    const line = words || (averaging === null ? say(n ? "walk.corner.next" : "walk.corner.first") : say("walk.corner.taking", { n: averaging.length, all: trace.AVERAGED }));
    if (status.textContent !== line) status.textContent = line;
  }
  let latest = null;
  follow(status, () => { if (averaging === null) show(["good", "coarse"].includes(trust()) ? "" : groundWords()); });
  const hear = ({ detail: { fix } }) => {
    if (!status.isConnected) { removeEventListener("ground", hear); return; }
    if (averaging === null || !fix || standing.doubt || fix.t_ms === latest) return;
    latest = fix.t_ms;
    if (!(fix.accuracy_m <= trace.FILTER.accuracy_m)) { show(say("walk.told.coarse")); return; }
    const { flat } = trace.add(trace.blank(), { corner: averaging.length ? trace.averaged(averaging) : fix }), here = flat.to([fix.lon, fix.lat]);
    if (apart(here, [0, 0]) > Math.max(MOVED_M, fix.accuracy_m)) { averaging = [fix]; show(say("walk.corner.moved")); return; }
    averaging.push(fix);
    if (averaging.length < trace.AVERAGED) show(); else done().catch((error) => dispatchEvent(new CustomEvent("trouble", { detail: error })));
  };
  setTimeout(() => addEventListener("ground", hear), 0);
  show();
  const marks = points.map((point, i) => ({ at: point, name: "corner", text: String(i + 1) }));
  return screen(code, h("h1", { class: "step" }, say("walk.title", { plot: called(plotOf(code)) })), noGps(), status, bar, take,
    n ? picture(say("walk.corners.picture", { n, area: hectares(stand.area_ha) }), code, { marks, own: null }) : null,
    n < 3 ? null : crossings(points).length ? h("p", { class: "note warn", role: "status" }, say("walk.corner.crossed")) : area2(stand),
    n > 2 ? act(say("walk.close"), () => go(at(code, "look")), { id: "close" }) : null,
    n ? h("ol", { class: "list corners" }, points.map((point, i) => h("li", null, h("span", { class: "row" }, h("span", null, say("walk.corner", { n: i + 1 }), h("small", null, [i ? say("walk.corner.from", { distance: distance(apart(points[i - 1], point)) }) : "", `±${figure(acc[i])} m`].filter(Boolean).join(" · "))))))) : null,
    n ? act(say("walk.corner.back", { n }), () => change(walks.takeBack), { plain: true, id: "undo" }) : null, leave(code));
}

function look(code) {
  const corners = walking.mode === "corners", ring = trace.closed(walking.trace, corners), old = oldRing(code), problems = trace.problemsOf(ring, old);
  const accuracy_m = trace.accuracyOf(walking.trace), now = { area_ha: area(ring) / 10_000, doubt_ha: trace.areaDoubt(ring, accuracy_m, corners) / 10_000 };
  const impossible = ring.length < 3, crossed = impossible ? [] : crossings(ring);
  const save = async () => {
    const fields = { geometry: trace.geometryOf(walking.trace, ring), walk_minutes: walks.minutes(), walk_mode: walking.mode, gps_accuracy_m: Math.round(accuracy_m * 10) / 10 };
    try { await note({ id: walking.id, kind: "outline", plot: code, confirmed: problems.length > 0, fields }); } catch (error) { if (error?.name !== "ConstraintError") throw error; }
    await walks.forget();
    go(backTo(code));
  };
  const was = old ? plotOf(code).area_ha ?? area(old) / 10_000 : null, change = was === null ? 0 : now.area_ha - was, sign = change < 0 ? "−" : "+";
  return {
    title: called(plotOf(code)), back: at(code),
    body: [
      h("h1", null, impossible ? say("walk.problem.corners") : crossed.length ? say("walk.look.crossed") : say("walk.look", { area: hectares(now.area_ha), give: hectares(now.doubt_ha) })),
      was === null || crossed.length ? null : h("p", null, say("walk.look.was", { area: hectares(was), change: `${sign}${hectares(Math.abs(change))}` })),
      sketch([...(old ? [{ points: old, name: "old" }] : []), { points: ring, name: "new area" }], say("walk.look.picture", { area: hectares(now.area_ha), n: ring.length }),
        { height: 300, marks: crossed.map(([, , place], i) => ({ at: place, name: "crossed", text: String(i + 1) })) }),
      old ? h("p", { class: "soft" }, say("walk.look.key")) : null,
      problems.length ? h("div", { class: "note warn" }, h("ul", null, problems.filter(([what]) => what !== "corners" || !impossible).map(([what, params]) => h("li", null, say(`walk.problem.${what}`, { ...params, distance: distance(params.metres ?? 0), m2: figure(params.m2 ?? 0) }))))) : null,
      impossible ? null : act(say(problems.length ? "walk.save.anyway" : "walk.save"), save, { class: "act first", id: "store" }),
      h("a", { class: "act plain", href: at(code), id: "go-on" }, say(corners ? "walk.more.corners" : "walk.more")), leave(code),
      h("p", { class: "soft" }, say("walk.office")),
    ],
  };
}
