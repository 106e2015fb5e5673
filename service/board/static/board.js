// A form that takes a while says so, and is not sent twice.
"use strict";
for (const form of document.querySelectorAll("form[data-busy]:not([data-keep])")) {
  form.addEventListener("submit", () => {
    const button = form.querySelector("button");
    const said = document.createElement("p");
    said.setAttribute("role", "status");
    said.className = "note";
    form.append(said);
    said.textContent = form.dataset.busy + " …";
    setTimeout(() => { button.disabled = true; });
  });
}
// Most growers sit in their vineyard's time zone; who does not can write another.
const zone = document.querySelector("[data-own-timezone]");
if (zone && !zone.value && !document.querySelector(".faults")) zone.value = Intl.DateTimeFormat().resolvedOptions().timeZone ?? "";
// A page kept by the browser and shown again is not busy any more.
addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  for (const button of document.querySelectorAll("form[data-busy] button")) button.disabled = false;
  for (const said of document.querySelectorAll("form[data-busy] > .note")) said.remove();
});
document.querySelector("[data-focus]")?.focus();
// Paper cannot be opened: what is folded away is printed too, but for the numbers of single blocks.
addEventListener("beforeprint", () => {
  for (const folded of document.querySelectorAll("details.more, .trip details, .problem")) folded.open = true;
});
// A finger does not hover: what a mark says when pointed at is written below the picture.
addEventListener("click", (event) => {
  const told = event.target.closest?.(".plot .reading, .plot .dot, .plot .column")?.querySelector("title");
  if (told) told.closest(".chart").querySelector("[data-reading]").textContent = told.textContent;
});
// The first page of a phone is not yet seen by the script that keeps pages: it is kept from here.
navigator.serviceWorker?.register("/service-worker.js").then(async () => {
  if (navigator.serviceWorker.controller || !/^(\/growers\/[^/]+)?\/vineyards\/[^/]+(\/visit)?$/.test(location.pathname)) return;
  await navigator.serviceWorker.ready;
  await (await caches.open("capfall-pages-2")).add(location.pathname);
}).catch(() => { /* without it the open page still works */ });
// On a narrow screen the tabs are one row, which may run on beyond its edge.
document.querySelector(".top [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
// Who is asked for a key is signed in no more: what was kept of pages goes.
if (document.querySelector('form[action="/sign-in"]')) globalThis.caches?.delete("capfall-pages-1");
// After a refusal the browser still holds the form as it was filled in.
const back = document.querySelector("[data-back]");
if (back && history.length > 1) {
  back.hidden = false;
  back.addEventListener("click", () => history.back());
}
