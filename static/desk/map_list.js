// The list by planting year: the picture's table, the same figures for the same week and layer. A year opens to its plots.
"use strict";
(() => {
  const AT_ONCE = 60;
  const element = (name, text, classes) => {
    const made = document.createElement(name);
    if (text !== undefined) made.textContent = text;
    if (classes) made.className = classes;
    return made;
  };

  window.pinarioMap.listOf = (table, plots, layers, said, choose, full) => {
    const bodies = [...table.tBodies];
    const members = said.years.map((year) => plots.year.flatMap((y, i) => (y === year ? [i] : [])));
    const index = new Map(plots.codes.map((code, i) => [code, i]));
    const open = new Map();
    let shown = { layer: "share", week: 0, chosen: -1 };

    // The map's own hatching, beside a plot's name and the year of its planting.
    const hatch = (wanted) => {
      const box = element("i", undefined, "hatch");
      box.setAttribute("role", "img");
      box.setAttribute("aria-label", said.hatched_word[shown.layer] ?? "");
      box.hidden = !wanted;
      return box;
    };

    // Beneath the map: which plots are hatched. The first by name, to be chosen; all of them in the full table.
    const line = document.getElementById("hatched");
    const byAge = said.years.flatMap((_, y) => [...members[y]].sort((a, b) => (plots.codes[a] < plots.codes[b] ? -1 : 1)));
    line.addEventListener("click", (event) => {
      const link = event.target.closest("a[data-plot]");
      if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      choose(index.get(link.dataset.plot), "line");
    });
    const name = (href, text, code) => {
      const link = element("a", text, "tap");
      link.href = href;
      if (code) link.dataset.plot = code;
      return link;
    };
    const nameHatched = (layer, week) => {
      const these = byAge.filter((i) => layers.of(layer).hatched(i, week));
      const key = `${layer} ${these}`;
      line.hidden = !these.length;
      if (line.dataset.shown === key) return;
      line.dataset.shown = key;
      if (!these.length) return;
      const asked = `week=${plots.weeks[week]}&layer=${layer}`;
      const links = these.slice(0, said.named).map((i) => name(`?${asked}&plot=${encodeURIComponent(plots.codes[i])}`, layers.name(i), plots.codes[i]));
      if (these.length > said.named) links.push(name(`${full}?${asked}&only=hatched`, layers.put(said.and_more, { n: layers.whole(these.length - said.named) })));
      line.replaceChildren(line.querySelector(".hatch"), " ", element("span", `${layers.put(said.hatched[layer][these.length > 1 ? 1 : 0], { n: layers.whole(these.length) })}:`), ...links.flatMap((link) => [" ", link]));
    };

    bodies.forEach((body, y) => {
      const head = body.querySelector("th");
      const button = element("button", head.textContent, "year");
      button.type = "button";
      button.setAttribute("aria-expanded", "false");
      button.addEventListener("click", () => { toggle(y, !open.has(y)); });
      head.replaceChildren(button, hatch(false));
    });

    const toggle = (y, wanted) => {
      if (wanted === open.has(y)) return;
      bodies[y].querySelector("button.year").setAttribute("aria-expanded", String(wanted));
      if (wanted) {
        open.set(y, { limit: AT_ONCE, order: null });
        const row = element("tr", undefined, "under");
        const cell = element("td");
        cell.colSpan = 4;
        row.append(cell);
        bodies[y].append(row);
        fill(y);
      } else {
        open.delete(y);
        bodies[y].querySelector("tr.under").remove();
      }
    };

    // The plots of an open year, most of what the layer shows first; the chosen one always among them. The order stays
    // while the weeks go by, so that the eye can follow a plot.
    const fill = (y) => {
      const cell = bodies[y].querySelector("tr.under > td");
      const layer = layers.of(shown.layer);
      const kept = open.get(y);
      kept.order ??= members[y].map((i) => [layer.order(i, shown.week), i]).sort((a, b) => b[0] - a[0] || a[1] - b[1]).map((pair) => pair[1]);
      const { order } = kept;
      const first = order.slice(0, kept.limit);
      if (shown.chosen >= 0 && plots.year[shown.chosen] === said.years[y] && !first.includes(shown.chosen)) first.push(shown.chosen);
      const inner = element("table", undefined, "plots");
      inner.setAttribute("aria-label", layers.put(said.of_year, { year: bodies[y].querySelector("button.year").textContent }));
      const head = inner.createTHead().insertRow();
      [table.dataset.plot, ...said.layers[shown.layer].plot_columns].forEach((name, k) => {
        const th = element("th", name, k ? "n" : "");
        th.scope = "col";
        head.append(th);
      });
      const body = inner.createTBody();
      for (const i of first) body.append(rowOf(i, layer));
      cell.replaceChildren(inner);
      if (order.length > first.length) {
        const more = element("button", layers.put(said.more, { n: layers.whole(order.length - first.length) }), "link more");
        more.type = "button";
        more.addEventListener("click", () => {
          kept.limit += 2 * AT_ONCE;
          fill(y);
          const next = cell.querySelectorAll("tbody button.plot")[first.length];
          if (next) next.focus();
        });
        cell.append(more);
      }
    };

    const rowOf = (i, layer) => {
      const row = element("tr");
      row.dataset.code = plots.codes[i];
      const th = element("th");
      th.scope = "row";
      const pick = element("button", `${plots.names[i]}, `, "plot");
      pick.append(element("span", plots.codes[i], "code"));
      pick.type = "button";
      pick.setAttribute("aria-pressed", String(i === shown.chosen));
      pick.addEventListener("click", () => choose(i, "list"));
      pick.append(hatch(layer.hatched(i, shown.week)));
      th.append(pick);
      row.append(th);
      for (const value of layer.cells(i, shown.week)) {
        const cell = element("td", undefined, "n");
        write(cell, value);
        row.append(cell);
      }
      row.classList.toggle("us", i === shown.chosen);
      return row;
    };

    const write = (cell, value) => {
      const worded = typeof value === "string";
      if (worded && cell.firstElementChild) cell.replaceChildren(); // planted until then, or no longer
      if (!worded && !cell.firstElementChild) cell.replaceChildren(element("span"));
      const holder = worded ? cell : cell.firstElementChild;
      const text = worded ? value : value.letter;
      if (holder.textContent !== text) holder.textContent = text;
      if (holder !== cell) holder.className = `letter ${value.tone}`;
    };

    // Another week: the same rows, other figures.
    const step = (y) => {
      const layer = layers.of(shown.layer);
      for (const row of bodies[y].querySelectorAll("tr[data-code]")) {
        row.querySelector(".hatch").hidden = !layer.hatched(index.get(row.dataset.code), shown.week);
        layer.cells(index.get(row.dataset.code), shown.week).forEach((value, k) => write(row.cells[k + 1], value));
      }
    };

    const show = (layer, week, chosen) => {
      const before = shown;
      shown = { layer, week, chosen };
      const words = said.layers[layer];
      if (before.layer !== layer) [...table.tHead.rows[0].cells].slice(1).forEach((cell, k) => { cell.textContent = words.columns[k]; });
      bodies.forEach((body, y) => {
        const cells = body.rows[0].cells;
        const box = body.querySelector("th > .hatch");
        box.hidden = !members[y].some((i) => layers.of(layer).hatched(i, week));
        if (before.layer !== layer) box.setAttribute("aria-label", said.hatched_word[layer] ?? "");
        words.cells[week][y].forEach((text, k) => { if (cells[k + 1].textContent !== text) cells[k + 1].textContent = text; });
      });
      nameHatched(layer, week);
      for (const [y, kept] of open) {
        if (before.layer !== layer) kept.order = null;
        if (before.layer !== layer || before.chosen !== chosen) fill(y);
        else step(y);
      }
    };

    // Opens the chosen plot's year and brings its row into the list's own view; the page itself stays where it is.
    const reveal = (i) => {
      const y = said.years.indexOf(plots.year[i]);
      if (y < 0) return;
      toggle(y, true);
      const row = bodies[y].querySelector(`tr[data-code="${CSS.escape(plots.codes[i])}"]`);
      const frame = table.closest(".scroll");
      if (row && frame.scrollHeight > frame.clientHeight + 1) frame.scrollTop += row.getBoundingClientRect().top - frame.getBoundingClientRect().top - frame.clientHeight / 2;
    };

    const focusOn = (i) => {
      const row = table.querySelector(`tr[data-code="${CSS.escape(plots.codes[i])}"] button.plot`);
      if (row) row.focus({ preventScroll: true });
    };

    return { show, reveal, focusOn };
  };
})();
