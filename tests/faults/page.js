(async (base) => {
  if (globalThis.faults) return true;
  const [outbox, sender, photos, db, remembered] = await Promise.all(["outbox.js", "sender.js", "photos.js", "db.js", "state.js"].map((name) => import(`${base}/${name}`)));
  const Real = Date, told = new Set(), toldPhotos = new Set();
  let shift_ms = 0;
  globalThis.Date = class extends Real {
    constructor(...given) { if (given.length) super(...given); else super(Real.now() + shift_ms); }
    static now() { return Real.now() + shift_ms; }
  };
  const all = (store) => db.within(store, "readonly", (tx) => db.got(tx.objectStore(store).getAll()));
  const picture = (size, seed) => {
    const bytes = new Uint8Array(size);
    let x = seed >>> 0;
    for (let i = 0; i < size; i += 1) { x = (Math.imul(x, 1664525) + 1013904223) >>> 0; bytes[i] = x >>> 24; }
    bytes.set([0xff, 0xd8, 0xff, 0xe0]);
    return new Blob([bytes], { type: "image/jpeg" });
  };
  const caught = async (work) => { try { return await work(); } catch (error) { return { error: error?.name || String(error) }; } };
  const news = async () => {
    const pictures = await photos.sendPhotos.waiting(), records = await all("records");
    const unsent = records.filter((entry) => entry.state === "unsent").length;
    const acked = records.filter((entry) => entry.state !== "unsent" && !told.has(entry.id)).map((entry) => entry.id);
    const kept = (await all("photos")).filter((photo) => photo.state === "kept" && !toldPhotos.has(photo.digest)).map((photo) => photo.digest);
    acked.forEach((id) => told.add(id));
    kept.forEach((digest) => toldPhotos.add(digest));
    const { outcome, next_ms, enrol } = sender.sending;
    return { unsent: unsent + pictures, acked, kept, outcome, enrol, wait_ms: next_ms === null ? null : next_ms - Date.now() };
  };
  globalThis.faults = {
    save: (drafts) => caught(async () => {
      const ready = [];
      for (const draft of drafts) {
        if (!draft.photo) { ready.push(draft); continue; }
        const digest = await photos.keep(picture(draft.photo.size, draft.photo.seed), draft.id);
        ready.push({ id: draft.id, kind: draft.kind, plot: draft.plot, fields: { digest } });
      }
      return (await outbox.save(...ready)).map(({ id, seq, bytes }) => ({ id, seq, bytes, digest: JSON.parse(bytes).digest ?? null }));
    }),
    send: () => caught(async () => { // one that never ends is the phone's fault and must be told, not waited for
      const hung = new Promise((resolve, reject) => setTimeout(() => reject(new DOMException("", "SendNeverEnded")), 70_000));
      await Promise.race([sender.send(true), hung]);
      return news();
    }),
    kick: () => { sender.send(true); return true; },
    news: () => caught(news),
    everything: () => caught(async () => ({ records: (await all("records")).map(({ id, bytes, state }) => ({ id, bytes, state })),
      photos: (await all("photos")).map(({ digest, state }) => ({ digest, state })) })),
    enrol: (code) => caught(async () => {
      const response = await fetch("/field/enrol", { method: "POST", credentials: "same-origin", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ code }) });
      const reply = await response.json();
      if (response.status !== 200) return { error: JSON.stringify(reply) };
      await remembered.keep("device", reply.device);
      await remembered.keep("me", { name: "Chuy", role: "sampler" });
      return reply.device;
    }),
    shift: (ms) => { shift_ms = ms; return new Date().toISOString(); },
    lookForUpdate: () => caught(async () => {
      const registration = await navigator.serviceWorker.getRegistration("/field/");
      await registration.update();
      for (let n = 0; n < 100 && !registration.waiting; n += 1) await new Promise((resolve) => setTimeout(resolve, 50));
      return Boolean(registration.waiting);
    }),
    takeUpdate: () => caught(async () => {
      const { waiting } = await navigator.serviceWorker.getRegistration("/field/");
      sender.send(true);
      waiting.postMessage("take over");
      return true;
    }),
    workers: () => caught(async () => {
      const registration = await navigator.serviceWorker.getRegistration("/field/"), state = (worker) => worker?.state ?? null;
      return { here: base, controller: state(navigator.serviceWorker.controller), active: state(registration?.active), waiting: state(registration?.waiting), installing: state(registration?.installing), caches: await caches.keys() };
    }),
    forgetAll: () => caught(async () => {
      (await new Promise((resolve, reject) => { const request = indexedDB.open("pinario"); request.onsuccess = () => resolve(request.result); request.onerror = () => reject(request.error); })).close();
      await new Promise((resolve, reject) => { const request = indexedDB.deleteDatabase("pinario"); request.onsuccess = resolve; request.onerror = () => reject(request.error); });
      return true;
    }),
    named: () => base.split("/").pop(),
  };
  return true;
})
