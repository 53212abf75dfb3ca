// An order as a picture: black on white, large, for a chat or a print. Drawn here, so that it needs no signal.

import { say } from "./words.js";

const WIDTH = 1080, EDGE = 60, INK = "#12211d", SOFT = "#3c4d47", RULE = "#c3cfc9", WARN = "#7a3210", GROUND = "#ffffff";
const FAMILY = '"Segoe UI", Roboto, "Noto Sans", "Liberation Sans", system-ui, sans-serif';

/** Lines of `text` no wider than `width` pixels in the pen's present font; a word longer than that is broken. */
function broken(pen, text, width) {
  const lines = [];
  let line = "";
  for (const word of text.split(/\s+/)) {
    const tried = line ? `${line} ${word}` : word;
    if (pen.measureText(tried).width <= width) { line = tried; continue; }
    if (line) lines.push(line);
    line = word;
    while (pen.measureText(line).width > width) {
      let n = line.length;
      while (n > 1 && pen.measureText(line.slice(0, n)).width > width) n -= 1;
      lines.push(line.slice(0, n));
      line = line.slice(n);
    }
  }
  return line ? [...lines, line] : lines;
}

/** What is written where: [{text, x, y, font, colour} or {rule: y}] and the height it takes. */
function laidOut(pen, { title, who, facts, cautions }) {
  const parts = [];
  let y = EDGE;
  const write = (text, size, { weight = 400, colour = INK, x = EDGE, width = WIDTH - 2 * EDGE } = {}) => {
    pen.font = `${weight} ${size}px ${FAMILY}`;
    for (const line of broken(pen, text, width)) {
      y += size * 1.3;
      parts.push({ text: line, x, y, font: pen.font, colour });
    }
  };
  const rule = () => { y += 22; parts.push({ rule: y }); };
  write(who, 34, { colour: SOFT });
  write(title, 62, { weight: 650 });
  rule();
  for (const [term, words] of facts) {
    y += 10;
    write(term, 30, { colour: SOFT });
    write(words, 44, { weight: 600 });
    rule();
  }
  y += 10;
  write(cautions.title, 40, { weight: 650, colour: WARN });
  for (const line of cautions.lines) write(`· ${line}`, 32);
  return { parts, height: Math.ceil(y + EDGE) };
}

/** A PNG of the order. */
export async function orderPicture(order) {
  const canvas = document.createElement("canvas"), pen = canvas.getContext("2d");
  const { parts, height } = laidOut(pen, order);
  Object.assign(canvas, { width: WIDTH, height });
  pen.fillStyle = GROUND;
  pen.fillRect(0, 0, WIDTH, height);
  for (const part of parts) {
    if (part.rule) { pen.fillStyle = RULE; pen.fillRect(EDGE, part.rule, WIDTH - 2 * EDGE, 2); continue; }
    Object.assign(pen, { font: part.font, fillStyle: part.colour });
    pen.fillText(part.text, part.x, part.y);
  }
  return new Promise((resolve) => canvas.toBlob(resolve, "image/png"));
}

/** Hand the picture to the phone's own sharing, or save it as a file where there is none. */
export async function shareOrder(order) {
  const file = new File([await orderPicture(order)], order.name, { type: "image/png" });
  if (navigator.canShare?.({ files: [file] })) {
    try { await navigator.share({ files: [file], title: say("orders.title") }); return "shared"; } catch (error) { if (error.name === "AbortError") return "left"; }
  }
  const link = document.createElement("a");
  Object.assign(link, { href: URL.createObjectURL(file), download: order.name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  return "saved";
}
