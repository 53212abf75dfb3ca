// Where in a plot its mark stands best and how large it may be there: the largest box of the mark's shape that lies within the outline.
"use strict";
(() => {
  const LEAST_PX = 10;
  const LEAST_NUMBER_PX = 9;
  const USUAL_PX = 12;
  const MOST_PX = 18;
  const HEIGHTS = 9;
  // Of a mark's own box: its corners, which few letters fill, may lie on the outline, which is a hair.
  const SQUEEZED = 0.85;
  const CAPITALS = 0.74;
  // A number may be written this much narrower than its font would.
  const NARROWED = 0.78;
  // What stays free of a number's room, in units of its font: two plots' numbers beside each other must not be read as one. On a desk, where the
  // whole estate is seen at once, a number that has no room so is written without; on a phone one tap goes where it has.
  const APART = 0.35;
  const WIDTHS_AN_EM = 12;

  // How far a segment stays from the middle of a box, as a part of the box: 1 touches it. Scaled so that the box is a square of half-side 1.
  const clear = (ax, ay, bx, by) => {
    const dx = bx - ax;
    const dy = by - ay;
    let least = Math.min(Math.max(Math.abs(ax), Math.abs(ay)), Math.max(Math.abs(bx), Math.abs(by)));
    const at = (t) => {
      if (t > 0 && t < 1) least = Math.min(least, Math.max(Math.abs(ax + t * dx), Math.abs(ay + t * dy)));
    };
    at(-ax / dx);
    at(-ay / dy);
    at((ay - ax) / (dx - dy));
    at((-ay - ax) / (dx + dy));
    return least;
  };

  const leastOf = (mark) => (mark.length > 1 ? LEAST_NUMBER_PX : LEAST_PX);

  window.pinarioMap.marksOf = (plots, font) => {
    const { x, y, first, ring, box, middle, breadth } = plots.shape;
    const pen = document.createElement("canvas").getContext("2d");
    pen.font = font(100);
    const high = (SQUEEZED * CAPITALS) / 2;
    // Marks of nearly the same width share their places: by mark its width in steps, by width the places [x, y, size] of all plots.
    const widths = new Map();
    const kept = new Map();
    const inkOf = (mark) => (pen.measureText(mark).width / 100) * (mark.length > 1 ? NARROWED : 1);
    const phone = window.matchMedia("(max-width: 40rem)");
    const number = (mark) => /\d/.test(mark);
    const widthOf = (mark, apart) => {
      const key = apart ? `${mark} ` : mark;
      if (!widths.has(key)) widths.set(key, Math.ceil((apart ? (inkOf(mark) + APART) / SQUEEZED : inkOf(mark)) * WIDTHS_AN_EM));
      return widths.get(key);
    };

    // [left, right] of the widest part of a plot at a height; null where there is none.
    const widest = (i, py) => {
      const cuts = [];
      for (let r = first[i]; r < first[i + 1]; r += 1) {
        for (let k = ring[r], j = ring[r + 1] - 1; k < ring[r + 1]; j = k, k += 1) {
          if (y[k] > py !== y[j] > py) cuts.push(((x[j] - x[k]) * (py - y[k])) / (y[j] - y[k]) + x[k]);
        }
      }
      cuts.sort((a, b) => a - b);
      let found = null;
      for (let k = 0; k + 1 < cuts.length; k += 2) if (!found || cuts[k + 1] - cuts[k] > found[1] - found[0]) found = [cuts[k], cuts[k + 1]];
      return found;
    };

    const holds = (i, px, py) => {
      let within = false;
      for (let r = first[i]; r < first[i + 1]; r += 1) {
        for (let k = ring[r], j = ring[r + 1] - 1; k < ring[r + 1]; j = k, k += 1) if (y[k] > py !== y[j] > py && px < ((x[j] - x[k]) * (py - y[k])) / (y[j] - y[k]) + x[k]) within = !within;
      }
      return within;
    };

    // How large a mark may be with its middle at a place, in parts of the world's width a unit of its font.
    const room = (i, px, py, half) => {
      let least = Infinity;
      for (let r = first[i]; r < first[i + 1]; r += 1) {
        for (let k = ring[r], j = ring[r + 1] - 1; k < ring[r + 1]; j = k, k += 1) {
          least = Math.min(least, clear((x[j] - px) / half, (y[j] - py) / high, (x[k] - px) / half, (y[k] - py) / high));
        }
      }
      return least;
    };

    // The middle, where the eye looks; where a place on one of some heights is clearly better, that one, moved while it gains.
    const seek = (i, half, out) => {
      const north = box[4 * i + 1];
      const south = box[4 * i + 3];
      let [bx, by, best] = [middle[2 * i], middle[2 * i + 1], 0];
      const take = (px, py, better) => {
        const size = room(i, px, py, half);
        if (size <= best * better) return false;
        [bx, by, best] = [px, py, size];
        return true;
      };
      const level = widest(i, by);
      if (level && level[0] < bx && bx < level[1]) take(bx, by, 1);
      const atMiddle = best;
      for (let k = 0; k < HEIGHTS; k += 1) {
        const py = north + ((south - north) * (k + 0.5)) / HEIGHTS;
        const span = widest(i, py);
        if (span) take((span[0] + span[1]) / 2, py, best === atMiddle ? 1.05 : 1);
      }
      for (let step = best * half; step > (best * half) / 9; step /= 2) {
        while ([[step, 0], [-step, 0], [0, step], [0, -step]].some(([dx, dy]) => holds(i, bx + dx, by + dy) && take(bx + dx, by + dy, 1.01)));
      }
      [out[3 * i], out[3 * i + 1], out[3 * i + 2]] = [bx, by, best];
    };

    // Offset of a plot's place in the list of its mark's width; sought once, when first asked for.
    const found = (i, mark, apart) => {
      const width = widthOf(mark, apart);
      if (!kept.has(width)) kept.set(width, new Float64Array(3 * plots.all).fill(-1));
      const out = kept.get(width);
      if (out[3 * i + 2] < 0) seek(i, (SQUEEZED * width) / WIDTHS_AN_EM / 2, out);
      return [out, 3 * i];
    };

    const written = (i, mark, scale, apart) => {
      const [out, at] = found(i, mark, apart);
      const fits = Math.floor(out[at + 2] * scale);
      const px = Math.min(fits, Math.max(USUAL_PX, Math.min(Math.floor(fits / 4), MOST_PX)));
      return px < leastOf(mark) ? null : { x: out[at], y: out[at + 1], px, most: (apart ? inkOf(mark) : widthOf(mark, apart) / WIDTHS_AN_EM) * out[at + 2] * scale };
    };

    return {
      holds,
      // {x, y, px, most}: where, how large and at most how broad a mark is written at a scale (pixels the world's width); null where it can't be read.
      place: (i, mark, scale) => {
        if (!mark || breadth[i] * scale < LEAST_NUMBER_PX / 2) return null;
        return written(i, mark, scale, number(mark)) ?? (number(mark) && !phone.matches ? written(i, mark, scale, false) : null);
      },
      // Pixels the world's width from which a mark can be read in a plot; Infinity where it has no outline.
      scaleFor: (i, mark) => {
        const [out, at] = found(i, mark, number(mark) && phone.matches);
        return out[at + 2] > 0 ? leastOf(mark) / out[at + 2] : Infinity;
      },
    };
  };
})();
