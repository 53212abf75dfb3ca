// The phone's database: one promise wrapper, one upgrade function, strict durability.
// A write resolves only when its transaction is complete, so "saved" on the screen means saved on
// the disk: without "strict" Chromium flushes nothing and a dead battery takes the last readings.

const NAME = "pinario";
const VERSION = 1;
const PATIENCE_MS = 20_000;
let opening = null;

function upgrade(db, from) {
  if (from < 1) {
    const records = db.createObjectStore("records", { keyPath: "id" });
    records.createIndex("state", ["state", "seq"]);
    records.createIndex("round", ["round", "seq"]);
    records.createIndex("seq", "seq");
    db.createObjectStore("meta");
    db.createObjectStore("photos", { keyPath: "digest" }).createIndex("state", "state");
  }
}

function open() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, VERSION);
    // Storage wiped while another page lies in the back-forward cache can leave an open unanswered for ever: then say so.
    const timer = setTimeout(() => { opening = null; reject(new DOMException("no answer", "TimeoutError")); }, PATIENCE_MS);
    request.onupgradeneeded = (event) => upgrade(request.result, event.oldVersion);
    request.onblocked = () => dispatchEvent(new Event("store-blocked"));
    request.onerror = () => { clearTimeout(timer); opening = null; reject(request.error); };
    request.onsuccess = () => {
      clearTimeout(timer);
      const db = request.result;
      db.onversionchange = () => { db.close(); opening = null; }; // let a newer tab upgrade
      db.onclose = () => { opening = null; dispatchEvent(new Event("store-closed")); }; // storage cleared under us
      resolve(db);
    };
  });
  return opening;
}

/** The value of one IndexedDB request. */
export const got = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

/**
 * Run `work(tx)` in one transaction and resolve with its result once the transaction is complete.
 * `work` may await nothing but `got(...)` of this transaction, or the browser commits under it.
 */
export async function within(stores, mode, work) {
  for (let again = 0; ; again += 1) {
    const db = await open();
    try {
      return await attempt(db, stores, mode, work);
    } catch (error) {
      if (again || error?.name !== "InvalidStateError") throw error; // closed meanwhile: open once more
      opening = null;
    }
  }
}

function attempt(db, stores, mode, work) {
  return new Promise((resolve, reject) => {
    const tx = db.transaction(stores, mode, { durability: "strict" });
    let result, failure;
    tx.oncomplete = () => resolve(result);
    tx.onabort = () => reject(failure ?? tx.error ?? new DOMException("aborted", "AbortError"));
    const fail = (error) => { failure = error; try { tx.abort(); } catch { reject(error); } };
    try {
      Promise.resolve(work(tx)).then((value) => { result = value; }, fail);
    } catch (error) { fail(error); }
  });
}

/** Read one value of the `meta` store. */
export const read = (key) => within("meta", "readonly", (tx) => got(tx.objectStore("meta").get(key)));

/** Write one value of the `meta` store; `undefined` removes it. */
export const write = (key, value) => within("meta", "readwrite", (tx) => {
  const meta = tx.objectStore("meta");
  return got(value === undefined ? meta.delete(key) : meta.put(value, key));
});
