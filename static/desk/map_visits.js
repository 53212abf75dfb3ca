// The visits of today that tell most of what is ripe in the chosen week: all weeks came with the page, a step only writes five rows.
"use strict";
(() => {
  window.pinarioMap.visitsOf = (box, told, plots, layers, address) => {
    const title = box.querySelector("h2");
    const table = box.querySelector("table");
    const none = box.querySelector(".none");
    const body = table.tBodies[0];
    const cell = (name, content) => {
      const made = document.createElement(name);
      made.append(content);
      return made;
    };

    return (week) => {
      const rows = told.weeks[week] ?? [];
      window.pinarioMap.wholeWeeks(title, layers.put(told.title, { week: plots.weeks[week] }));
      table.hidden = !rows.length;
      none.hidden = rows.length > 0;
      body.replaceChildren(...rows.map(([i, work, before, after]) => {
        const row = document.createElement("tr");
        row.dataset.code = layers.code(i);
        const link = document.createElement("a");
        link.href = address.replace("CODE", encodeURIComponent(layers.code(i)));
        const code = document.createElement("span");
        code.className = "day";
        code.textContent = layers.code(i);
        link.append(`${plots.names[i]}, `, code);
        const head = cell("th", link);
        head.scope = "row";
        row.append(head, cell("td", told.works[work]), cell("td", layers.put(told.narrowed, { before: layers.whole(before), after: layers.whole(after) })));
        return row;
      }));
    };
  };
})();
