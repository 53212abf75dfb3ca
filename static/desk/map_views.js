// Where one looks: the whole estate, one zone, or a step nearer, which never ends on empty ground and on request goes where every plot can be read.
"use strict";
(() => {
  const ENOUGH = 0.75;
  const NEARLY_ALL = 0.9;
  const SAMPLED = 400;
  const RIPE = 3;
  const WORLD_PX = 256;
  const ROOM = [8, 8];

  window.pinarioMap.viewsOf = (map, plots, painter, select, button, say) => {
    const { n, all, w, zone, state, shape } = plots;
    const { box, middle, first } = shape;
    const drawn = Array.from({ length: all }, (_, i) => i).filter((i) => first[i] < first[i + 1]);
    const members = new Map(plots.zones.map((name, z) => [name, drawn.filter((i) => i < n && zone[i] === z)]));
    const scaleOf = (zoom) => map.options.crs.scale(zoom);
    const place = (px, py) => map.options.crs.pointToLatLng(L.point(px * WORLD_PX, py * WORLD_PX), 0);
    const readable = (i, scale) => painter.places.scaleFor(i, painter.markFor(i)) <= scale;
    let going = false;

    const boundsOf = (some) => {
      const [west, north, east, south] = some.reduce((b, i) => [Math.min(b[0], box[4 * i]), Math.min(b[1], box[4 * i + 1]), Math.max(b[2], box[4 * i + 2]), Math.max(b[3], box[4 * i + 3])], [Infinity, Infinity, -Infinity, -Infinity]);
      return west < east ? L.latLngBounds(place(west, south), place(east, north)) : null;
    };

    // Part of some plots in which a mark could be read if all of them were in view; of many, a sample.
    const legible = (some) => {
      const every = Math.ceil(some.length / SAMPLED);
      const few = some.filter((_, k) => k % every === 0);
      const bounds = boundsOf(some);
      if (!bounds || !few.length) return 0;
      const scale = scaleOf(map.getBoundsZoom(bounds, false, L.point(ROOM).multiplyBy(2)));
      return few.filter((i) => readable(i, scale)).length / few.length;
    };

    // A move of ours leaves the choice as it is; what a hand moves is somewhere else.
    const move = (act) => {
      going = true;
      map.once("moveend", () => { going = false; });
      act();
    };

    // The whole estate for "", a zone for its name; false where there is nothing to look at.
    const look = (name, animate) => {
      const bounds = boundsOf(name && members.has(name) ? members.get(name) : drawn);
      if (!bounds) return false;
      move(() => map.fitBounds(bounds, { animate, padding: ROOM }));
      if (select) select.value = name;
      return true;
    };

    // Letters can be read at first sight: of the whole estate where it is large enough on the screen, else of the zone that has most ripe plots.
    const begin = (asked, week) => {
      if (asked && members.has(asked)) return look(asked, false);
      if (!select || legible(drawn) >= ENOUGH) return look("", false);
      const ripe = (some) => some.filter((i) => Math.floor(state[i * w + week] / 7) % 5 >= RIPE).length;
      const order = [...members].map(([name, some]) => [ripe(some), some.length, name]).sort((a, b) => b[0] - a[0] || b[1] - a[1]);
      const found = order.find(([, count, name]) => count && legible(members.get(name)) >= ENOUGH);
      return look(found ? found[2] : "", false);
    };

    // Plots with their middle in a view of the screen's size (or a part of it) around a place at a scale.
    const around = (some, px, py, scale, part = 1) => {
      const half = map.getSize().multiplyBy(part / 2 / scale);
      return some.filter((i) => Math.abs(middle[2 * i] - px) < half.x && Math.abs(middle[2 * i + 1] - py) < half.y);
    };
    const nearest = (some, px, py) => some.reduce((best, i) => {
      const far = Math.hypot(middle[2 * i] - px, middle[2 * i + 1] - py);
      return far < best[0] ? [far, i] : best;
    }, [Infinity, -1])[1];
    // The middle of the plots that come into view around one of them, so that it doesn't stand alone at the edge.
    const amid = (i, scale) => {
      let [px, py] = [middle[2 * i], middle[2 * i + 1]];
      for (let k = 0; k < 12; k += 1) {
        const near = around(drawn, px, py, scale, 0.6);
        if (!near.length) break;
        [px, py] = [0, 1].map((d) => near.reduce((sum, j) => sum + middle[2 * j + d], 0) / near.length);
      }
      return around(drawn, px, py, scale).length ? [px, py] : [middle[2 * i], middle[2 * i + 1]];
    };
    const centre = () => {
      const point = map.options.crs.latLngToPoint(map.getCenter(), 0);
      return [point.x / WORLD_PX, point.y / WORLD_PX];
    };

    // Nearer by button or key keeps its middle where that is a plot, or where about as many come into view as a little aside; else it goes towards the plots that lie nearest.
    map.setZoom = (zoom, options) => {
      const level = map._limitZoom(zoom);
      let [px, py] = centre();
      if (level > map.getZoom() && drawn.length && painter.plotAt(map.getCenter()) < 0) {
        const scale = scaleOf(level);
        const aside = amid(nearest(drawn, px, py), scale);
        if (2 * around(drawn, px, py, scale, 0.7).length < around(drawn, ...aside, scale, 0.7).length) [px, py] = aside;
      }
      return map.setView(place(px, py), level, { zoom: options });
    };

    // As near as needed to read the plots that can't be read from here, those nearest the middle of the view.
    const nearer = () => {
      const left = painter.unread().filter((i) => painter.places.scaleFor(i, painter.markFor(i)) < Infinity);
      const i = nearest(left, ...centre());
      if (i < 0) return;
      let level = map.getZoom() + 0.5;
      const most = map.getZoom() + 8;
      for (; level < most; level += 0.25) {
        const scale = scaleOf(level);
        const there = around(left, ...amid(i, scale), scale);
        if (there.length && there.filter((j) => readable(j, scale)).length >= NEARLY_ALL * there.length) break;
      }
      map.setView(place(...amid(i, scaleOf(level))), map._limitZoom(level));
    };

    const count = () => {
      const left = painter.unread().length;
      button.hidden = !left;
      if (left) button.textContent = say(left);
    };
    const resting = () => {
      window.clearTimeout(resting.later);
      resting.later = window.setTimeout(count, 120);
    };
    painter.on("painted", resting);
    map.on("moveend", resting);
    button.addEventListener("click", () => {
      nearer();
      map.getContainer().focus({ preventScroll: true });
    });
    map.on("movestart", () => { if (select && !going) select.value = "elsewhere"; });
    if (select) select.addEventListener("change", () => look(select.value, true));
    return { begin, look, zone: () => (select && select.value !== "elsewhere" ? select.value : "") };
  };
})();
