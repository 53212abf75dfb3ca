// What each layer shows of a plot in a week: its class of colour, hatching, the mark inside, the sentence, the cells of the list.
"use strict";
(() => {
  const put = (text, values) => text.replace(/\[(\w+)\]/g, (_, name) => values[name]);
  const whole = (value) => value.toLocaleString("en-US");

  const TO_COME = 70;

  window.pinarioMap.layersOf = (plots, said, language) => {
    const { n, w, state } = plots;
    const day = new Intl.DateTimeFormat(language, { day: "numeric", month: "short", year: "numeric", timeZone: "UTC" });
    let figures = null;
    const at = (name, i, week) => figures[name][i * w + week];
    const step = (layer, value) => said.layers[layer].steps.reduce((count, from) => count + (value >= from ? 1 : 0), 0);
    const unvisited = (i, week) => (figures.unvisited[i] < 0 ? -1 : figures.unvisited[i] + week);
    const toCome = (i, week) => state[i * w + week] === TO_COME;
    const unread = new Set(plots.unread);
    // near, ripe and passing are a "maybe" where nobody has read the plot: their words stand three further on
    const condition = (i, week) => {
      const plain = Math.floor(state[i * w + week] / 7) % 5;
      return plain >= 2 && unread.has(i) ? plain + 3 : plain;
    };
    const range = (name, low, high, i, week, unit) => `${whole(at(name, i, week))}${unit} (${whole(at(low, i, week))}–${whole(at(high, i, week))})`;
    const letterCell = (i, week) => ({ letter: said.letters[condition(i, week)], tone: `c${state[i * w + week] % 7}` });
    const sure = (percent) => (percent >= 100 ? "> 99" : percent <= 0 ? "< 1" : String(percent)); // nothing is sure
    const shareCell = (i, week) => range("share", "low", "high", i, week, " %");

    const layers = {
      share: {
        light: 5,
        colour: (i, week) => state[i * w + week] % 7,
        hatched: (i, week) => state[i * w + week] >= 35,
        mark: (i, week) => said.letters[condition(i, week)],
        order: (i, week) => at("share", i, week),
        cells: (i, week) => [letterCell(i, week), shareCell(i, week)],
        tell: (i, week) => put(said.tell.share, { share: at("share", i, week), low: at("low", i, week), high: at("high", i, week), word: said.conditions[condition(i, week)] }),
      },
      chance: {
        light: 4,
        colour: (i, week) => step("chance", at("chance", i, week)),
        hatched: () => false,
        mark: (i, week) => String(at("chance", i, week)),
        order: (i, week) => at("chance", i, week),
        cells: (i, week) => [letterCell(i, week), `${sure(at("chance", i, week))} %`],
        tell: (i, week) => put(said.tell.chance, { chance: sure(at("chance", i, week)) }),
      },
      mass: {
        light: 4,
        colour: (i, week) => step("mass", at("mass_ha", i, week)),
        hatched: (i, week) => figures.mass_wide[i * w + week] === 1,
        mark: (i, week) => String(at("mass_ha", i, week)),
        order: (i, week) => at("mass", i, week),
        cells: (i, week) => [range("mass", "mass_low", "mass_high", i, week, ""), whole(at("mass_ha", i, week))],
        tell: (i, week) => put(said.tell.mass, { mass: whole(at("mass", i, week)), low: whole(at("mass_low", i, week)), high: whole(at("mass_high", i, week)), ha: whole(at("mass_ha", i, week)) }),
      },
      unvisited: {
        light: 4,
        colour: (i, week) => (unvisited(i, week) < 0 ? 5 : step("unvisited", unvisited(i, week))),
        hatched: (i, week) => unvisited(i, week) < 0,
        mark: (i, week) => (unvisited(i, week) < 0 ? "–" : String(unvisited(i, week))),
        order: (i, week) => (unvisited(i, week) < 0 ? 1e6 : unvisited(i, week)),
        cells: (i, week) => [unvisited(i, week) < 0 ? said.never : whole(unvisited(i, week)), shareCell(i, week)],
        tell: (i, week) => {
          const weeks = unvisited(i, week);
          const which = weeks < 0 ? "unvisited_never" : weeks === 0 ? "unvisited_none" : weeks === 1 ? "unvisited_one" : "unvisited";
          return put(said.tell[which], { n: whole(weeks) });
        },
      },
      sick: {
        light: 4,
        colour: (i) => (figures.sick[i] ? step("sick", figures.sick[i][0]) : 0),
        hatched: (i) => !figures.sick[i],
        mark: (i) => (figures.sick[i] ? `${figures.sick[i][1] ?? (figures.sick[i][2] === null ? 0 : "")}${figures.sick[i][2] === null ? "" : said.cause_letters[figures.sick[i][2]]}` : "–"),
        order: (i) => (figures.sick[i] ? figures.sick[i][0] : -1),
        cells: (i) => {
          const seen = figures.sick[i];
          if (!seen) return ["–", "–"];
          const grade = seen[1] === null ? "" : put(said.grade, { grade: seen[1] });
          return [`${seen[0].toFixed(1)} %`, seen[2] === null ? grade || "–" : `${grade}${grade ? ", " : ""}${said.causes[seen[2]]}`];
        },
        tell: (i) => {
          const seen = figures.sick[i];
          if (!seen) return said.tell.sick_never;
          const values = { percent: seen[0].toFixed(1), cause: seen[2] === null ? "" : said.causes[seen[2]], grade: seen[1] ?? "–", day: day.format(new Date(`${seen[3]}T00:00:00Z`)) };
          return put(seen[2] === null ? said.tell.sick_sound : said.tell.sick, values);
        },
      },
    };
    // Before it is planted a plot looks the same in every layer: its own letter, no colour, no figure.
    const [letter, word] = said.to_come;
    for (const [name, own] of Object.entries(layers)) {
      layers[name] = {
        light: own.light,
        colour: (i, week) => (toCome(i, week) ? 0 : own.colour(i, week)),
        hatched: (i, week) => !toCome(i, week) && own.hatched(i, week),
        mark: (i, week) => (toCome(i, week) ? letter : own.mark(i, week)),
        order: (i, week) => (toCome(i, week) ? -2 : own.order(i, week)),
        cells: (i, week) => (toCome(i, week) ? [word, "–"] : own.cells(i, week)),
        tell: (i, week) => (toCome(i, week) ? word : own.tell(i, week)),
      };
    }
    return {
      of: (name) => layers[name],
      whole,
      put,
      known: () => figures !== null,
      learn: (read) => { figures = read; },
      name: (i) => (i < n ? `${plots.names[i]}, ${plots.codes[i]}` : `${plots.cut_names[i - n]}, ${plots.cut[i - n]}`),
      code: (i) => (i < n ? plots.codes[i] : plots.cut[i - n]),
    };
  };
})();
