// Service worker of /field/. BUILD and PRECACHE (address, SRI digest) are written above by the server.
// The shell is served from its own cache; every other request, and every POST, passes untouched.

const PREFIX = "pinario-shell-";
const CACHE = PREFIX + BUILD;
let opened = null;
const KNOWN = new Set(PRECACHE.map(([address]) => address));

self.addEventListener("install", (event) => {
  event.waitUntil((async () => {
    const cache = await caches.open(CACHE);
    try {
      await cache.addAll(PRECACHE.map(([address, integrity]) => new Request(address, { integrity, cache: "no-cache", credentials: "same-origin" })));
    } catch (error) {
      await caches.delete(CACHE); // half a shell is worse than the old one
      throw error;
    }
  })());
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name.startsWith(PREFIX) && name !== CACHE) await caches.delete(name);
    await self.clients.claim();
  })());
});

self.addEventListener("fetch", (event) => {
  const { request } = event, url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  const shell = request.mode === "navigate" && url.pathname === "/field/";
  const address = shell ? "/field/" : url.pathname;
  if (!shell && !KNOWN.has(address)) return;
  // opened once, not for every file: that was felt at the first paint of a slow phone
  opened ??= caches.open(CACHE);
  event.respondWith(opened.then((cache) => cache.match(address)).catch(() => { opened = null; }).then((kept) => kept ?? fetch(request)));
});

self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting(); // sent by a tap only
});
