// Keeps the visit form within reach without a connection. Everything else comes from the service, always.
"use strict";
const CACHE = "capfall-visit-form";
const kept = (url) => url.pathname.startsWith("/static/") || /^\/vineyards\/[^/]+\/visit$/.test(url.pathname);
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin || !kept(url)) return;
  event.respondWith((async () => {
    const cache = await caches.open(CACHE);
    try {
      const answer = await fetch(event.request);
      if (answer.ok) await cache.put(url.pathname, answer.clone());
      return answer;
    } catch (error) {
      const held = await cache.match(url.pathname);
      if (held) return held;
      throw error;
    }
  })());
});
