// The plot's mean with its interval and the target on one line; the words say the same.

import { s } from "./elements.js";
import { figure, say } from "./words.js";

const WIDTH = 380, EDGE = 12, HALF_LABEL = 172;

/** `now` is {mean_deg, low_deg, high_deg}; the scale is even and holds everything drawn. */
export function interval(now, target) {
  const seen = [now.low_deg, now.high_deg, target].filter(Number.isFinite);
  let low = Math.floor((Math.min(...seen) - 0.5) / 2) * 2, high = Math.ceil((Math.max(...seen) + 0.5) / 2) * 2;
  if (high - low < 6) { low -= 2; high += 2; }
  const x = (value) => EDGE + ((value - low) / (high - low)) * (WIDTH - 2 * EDGE);
  const words = say("strip.mean", { mean: figure(now.mean_deg, 1, true), low: figure(now.low_deg, 1, true), high: figure(now.high_deg, 1, true) });
  const label = (value, y, text, anchor, name) => s("text", { x: value, y, "text-anchor": anchor, class: name }, text);
  return s("svg", { class: "strip", viewBox: `0 0 ${WIDTH} 66`, role: "img", "aria-label": words },
    label(EDGE, 13, figure(low), "start", "soft"), label(WIDTH - EDGE, 13, figure(high), "end", "soft"),
    s("path", { class: "rule", d: `M${EDGE} 30H${WIDTH - EDGE}` }),
    s("rect", { class: "band2", x: x(now.low_deg), y: 18, width: x(now.high_deg) - x(now.low_deg), height: 24 }),
    s("path", { class: "line", d: `M${x(now.mean_deg)} 14V46` }),
    Number.isFinite(target) ? s("path", { class: "target", d: `M${x(target)} 8V52` }) : null,
    label(Math.min(Math.max(x(now.mean_deg), HALF_LABEL), WIDTH - HALF_LABEL), 62, words, "middle", ""));
}
