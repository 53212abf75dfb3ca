// Reads the files that webapp/pages/map_packed.py writes: outlines, conditions by week, figures by week.
"use strict";
window.pinarioMap ??= {};
(() => {
  const GRID_PER_DEGREE = 100000;

  // A file's head and its sections, each a view of the same bytes.
  const opened = (buffer) => {
    const length = new DataView(buffer).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
    const parts = {};
    let from = 4 + length;
    for (const [name, size] of head.sections) {
      parts[name] = new Uint8Array(buffer, from, size);
      from += size;
    }
    return { head, parts };
  };

  // All whole numbers of a section, seven bits a byte, lowest first.
  const numbers = (bytes, limit) => {
    const out = new Int32Array(limit);
    let n = 0;
    let value = 0;
    let shift = 0;
    for (let k = 0; k < bytes.length; k += 1) {
      value |= (bytes[k] & 127) << shift;
      if (bytes[k] > 127) shift += 7;
      else {
        out[n] = value;
        n += 1;
        value = 0;
        shift = 0;
      }
    }
    return out.subarray(0, n);
  };

  const signed = (v) => (v >>> 1) ^ -(v & 1);

  // Figures [plot * weeks + week] from their differences along the weeks.
  const series = (bytes, plots, weeks) => {
    const steps = numbers(bytes, plots * weeks);
    const out = new Int32Array(plots * weeks);
    for (let i = 0; i < plots; i += 1) {
      let value = 0;
      for (let k = i * weeks; k < (i + 1) * weeks; k += 1) {
        value += signed(steps[k]);
        out[k] = value;
      }
    }
    return out;
  };

  // Small numbers [plot * weeks + week] from (value, how many weeks) pairs.
  const runs = (bytes, plots, weeks) => {
    const out = new Uint8Array(plots * weeks);
    let at = 0;
    for (let k = 0; k < bytes.length; k += 2) {
      out.fill(bytes[k], at, at + bytes[k + 1]);
      at += bytes[k + 1];
    }
    return out;
  };

  // Corners as parts of the world's width and height (Web Mercator), rings by plot, of each a box (west, north, east, south), a middle and a breadth (four areas over the perimeter: a square's side).
  const outlines = (parts, plots) => {
    const counts = numbers(parts.counts, parts.counts.length);
    const steps = numbers(parts.steps, parts.steps.length);
    const x = new Float64Array(steps.length / 2);
    const y = new Float64Array(x.length);
    const first = new Int32Array(plots + 1);
    const ring = [0];
    const box = new Float64Array(plots * 4);
    const middle = new Float64Array(plots * 2);
    const breadth = new Float64Array(plots);
    let lon = 0;
    let lat = 0;
    let corner = 0;
    let read = 0;
    for (let i = 0; i < plots; i += 1) {
      const start = corner;
      for (let left = counts[read++]; left > 0; left -= 1) {
        corner += counts[read++];
        ring.push(corner);
      }
      first[i + 1] = ring.length - 1;
      let west = Infinity;
      let north = Infinity;
      let east = -Infinity;
      let south = -Infinity;
      for (let k = start; k < corner; k += 1) {
        lon += signed(steps[2 * k]);
        lat += signed(steps[2 * k + 1]);
        x[k] = lon / GRID_PER_DEGREE / 360 + 0.5;
        y[k] = 0.5 - Math.asinh(Math.tan((lat / GRID_PER_DEGREE) * (Math.PI / 180))) / (2 * Math.PI);
        west = Math.min(west, x[k]);
        east = Math.max(east, x[k]);
        north = Math.min(north, y[k]);
        south = Math.max(south, y[k]);
      }
      box.set([west, north, east, south], 4 * i);
      const whole = centre(x, y, start, first[i] < first[i + 1] ? ring[first[i] + 1] : start);
      middle.set(whole.slice(0, 2), 2 * i);
      breadth[i] = whole[2];
    }
    return { x, y, first, ring: Int32Array.from(ring), box, middle, breadth };
  };

  // [x, y, breadth]: the centre of mass of a ring, where a letter stands best, and how broad it is there.
  const centre = (x, y, from, to) => {
    let twice = 0;
    let cx = 0;
    let cy = 0;
    let around = 0;
    for (let k = from, j = to - 1; k < to; j = k, k += 1) {
      const across = (x[j] - x[from]) * (y[k] - y[from]) - (x[k] - x[from]) * (y[j] - y[from]);
      twice += across;
      around += Math.hypot(x[k] - x[j], y[k] - y[j]);
      cx += (x[j] + x[k] - 2 * x[from]) * across;
      cy += (y[j] + y[k] - 2 * y[from]) * across;
    }
    return twice ? [x[from] + cx / (3 * twice), y[from] + cy / (3 * twice), (2 * Math.abs(twice)) / around] : [x[from], y[from], 0];
  };

  window.pinarioMap.plotsFrom = (buffer) => {
    const { head, parts } = opened(buffer);
    const n = head.codes.length;
    const all = n + head.cut.length;
    return { ...head, n, all, w: head.weeks.length, shape: outlines(parts, all), state: runs(parts.state, n, head.weeks.length) };
  };

  window.pinarioMap.figuresFrom = (buffer, plots) => {
    const { head, parts } = opened(buffer);
    const out = { tag: head.tag, unvisited: head.unvisited, sick: head.sick, mass_wide: runs(parts.mass_wide, plots.n, plots.w) };
    for (const name of ["share", "low", "high", "chance", "mass", "mass_low", "mass_high", "mass_ha"]) out[name] = series(parts[name], plots.n, plots.w);
    return out;
  };
})();
