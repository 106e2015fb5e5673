// Keeps the visit form within reach without a connection. Everything else comes from the service, always.
"use strict";
const CACHE = "capfall-visit-form";
const GIVE_UP_MS = 3000; // a connection may hang rather than fail; then what is held is shown
const late = () => new Promise((_, fail) => setTimeout(() => fail(new Error("no answer")), GIVE_UP_MS));
const kept = (url) => url.pathname.startsWith("/static/") || /^(\/growers\/[^/]+)?\/vineyards\/[^/]+\/visit$/.test(url.pathname);
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin || !kept(url)) return;
  event.respondWith((async () => {
    const cache = await caches.open(CACHE);
    const held = await cache.match(url.pathname);
    try {
      const asked = fetch(event.request);
      const answer = await (held ? Promise.race([asked, late()]) : asked);
      if (answer.ok) await cache.put(url.pathname, answer.clone());
      return answer;
    } catch (error) {
      if (held) return held;
      throw error;
    }
  })());
});
