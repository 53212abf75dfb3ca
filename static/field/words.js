// Words from the one catalogue of the house, numbers as the reader writes them.

const LOCALE = { es: "es-MX", en: "en-US" };
const formats = new Map();
let table = {}, language = "es", plural = null;

// Making a formatter costs an old phone more than the rest of a screen, so each is made once.
function format(kind, options) {
  const key = `${language} ${JSON.stringify(options)}`;
  if (!formats.has(key)) formats.set(key, new kind(LOCALE[language], options));
  return formats.get(key);
}

/** Load a language's words; the page's `lang` follows. */
export async function speak(wanted) {
  language = LOCALE[wanted] ? wanted : "es";
  table = await (await fetch(new URL(`./words.${language}.json`, import.meta.url))).json();
  plural = new Intl.PluralRules(LOCALE[language]);
  document.documentElement.lang = LOCALE[language];
}

export const tongue = () => language;
export const locale = () => LOCALE[language];
export const known = (code) => code in table;

/** The sentence `code` with its parameters; a pair of forms is chosen by `n`. */
export function say(code, params = {}) {
  let words = table[code];
  if (words === undefined) throw new Error(`no words for ${code}`);
  if (Array.isArray(words)) words = words[plural.select(params.n) === "one" ? 0 : 1];
  return words.replace(/\{(\w+)\}/g, (_, name) => params[name] ?? "–");
}

/** A number with up to `digits` decimals (`fixed` keeps them all). */
export function figure(value, digits = 0, fixed = false) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  return format(Intl.NumberFormat, { maximumFractionDigits: digits, minimumFractionDigits: fixed ? digits : 0 }).format(value);
}

/** "Lun 23 nov" or "Mon, Nov 23" of an ISO day or a Date. */
export function day(value) {
  const date = typeof value === "string" ? new Date(`${value.slice(0, 10)}T12:00`) : value;
  return format(Intl.DateTimeFormat, { weekday: "short", day: "numeric", month: "short" }).format(date);
}

/** "07:12" of a moment in ms or a Date. */
export const hour = (value) => format(Intl.DateTimeFormat, { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(value);

/** A moment in words: only the hour when it is of today. */
export function when(ms, now = new Date()) {
  return new Date(ms).toDateString() === now.toDateString() ? hour(ms) : `${day(new Date(ms))} ${hour(ms)}`;
}

/** Length in words: 40 m, 900 m, 2.1 km. */
export function distance(metres) {
  return metres < 995 ? `${figure(metres < 20 ? metres : Math.round(metres / 10) * 10)} m` : `${figure(metres / 1000, 1, true)} km`;
}

/**
 * A typed number, comma or point as decimal sign; null when it is none. A comma before exactly three
 * figures groups thousands, as people here write 18,640 kg; 0,250 stays a quarter.
 */
export function typed(text) {
  const clean = String(text).trim().replace(/[\s\u00a0]/g, "").replace(/−/g, "-");
  const grouped = /^-?[1-9]\d{0,2}(,\d{3})+(\.\d+)?$/.test(clean);
  const plain = grouped ? clean.replace(/,/g, "") : clean.replace(",", ".");
  return /^-?(\d+\.?\d*|\.\d+)$/.test(plain) ? Number(plain) : null;
}
