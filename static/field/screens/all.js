// Every screen by its address: #/plot/VS-04 → plot("VS-04").

import { begin } from "./begin.js";
import { count } from "./count.js";
import { done } from "./done.js";
import { enrol } from "./enrol.js";
import { home } from "./home.js";
import { log } from "./log.js";
import { map } from "./map.js";
import { more } from "./more.js";
import { note } from "./note.js";
import { order, orders } from "./orders.js";
import { plot } from "./plot.js";
import { plots } from "./plots.js";
import { reading } from "./reading.js";
import { sendingScreen } from "./sending.js";
import { walk } from "./walk.js";
import { who } from "./who.js";

export const SCREENS = { enrol, who, home, plots, plot, begin, reading, count, done, note, log, map, walk, order, orders, sending: sendingScreen, more };
