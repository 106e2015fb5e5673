// Keeps the form, the board and the trips of the last visit within reach without a connection. With one, everything
// comes from the service, always.
"use strict";
const CACHE = "capfall-pages-2";
// A connection may hang rather than fail; then what is held is shown. The board is computed, the form must open.
const GIVE_UP_MS = { form: 4000, other: 15000 };
const STATIC = ["/static/board.css", "/static/board.js", "/static/visit.js", "/static/icon.svg"];
const PAGE = /^(\/growers\/[^/]+)?\/vineyards\/[^/]+(\/(visit|sheet|map))?$/;
const late = (ms) => new Promise((_, fail) => setTimeout(() => fail(new Error("no answer")), ms));
const isStatic = (url) => url.pathname.startsWith("/static/");
// A network's sign-in page answers in place of the service, with 200 too: it lacks the mark that our pages carry.
const isOurs = (url, answer) =>
  isStatic(url) ? answer.ok && !answer.headers.get("content-type")?.startsWith("text/html") : answer.headers.has("Capfall-Page");
const worthKeeping = (url, answer) =>
  answer.ok && !answer.redirected && isOurs(url, answer) && (isStatic(url) || url.pathname.endsWith("/visit") || !url.searchParams.get("as_of"));

async function asItWas(held) {
  const when = new Date(held.headers.get("date") ?? Date.now());
  const page = await held.text();
  const language = page.match(/<html lang="([\w-]+)"/)?.[1];
  // the note stands in the page, in its language, as a comment
  const text = page.replace(/<!--held (.*?)-->/s, (_, note) => note.replace("{when}", when.toLocaleString(language)));
  return new Response(text, { headers: held.headers });
}

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(STATIC)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) if (name !== CACHE) await caches.delete(name);
    await self.clients.claim();
  })());
});
self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (!isStatic(url) && !PAGE.test(url.pathname)) return;
  event.respondWith((async () => {
    const cache = await caches.open(CACHE);
    const held = await cache.match(url.pathname);
    try {
      const asked = fetch(event.request);
      const answer = await (held ? Promise.race([asked, late(url.pathname.endsWith("/visit") ? GIVE_UP_MS.form : GIVE_UP_MS.other)]) : asked);
      if (held && !isOurs(url, answer) && !answer.redirected) throw new Error("something else answered");
      if (worthKeeping(url, answer)) await cache.put(url.pathname, answer.clone());
      return answer;
    } catch (error) {
      if (!held) throw error;
      return isStatic(url) ? held : asItWas(held);
    }
  })());
});
