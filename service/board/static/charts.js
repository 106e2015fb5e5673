// Hand each chart that the page holds to the chart library.
"use strict";
for (const held of document.querySelectorAll("script[data-chart]")) {
  Bokeh.embed.embed_item(JSON.parse(held.textContent), held.dataset.chart);
}
// A finger does not hover: after a tap the library is told of a pointer there, so that it gives the numbers.
// Without the window a made event does not know how far the page is scrolled.
addEventListener("click", (event) => {
  if (!event.isTrusted || !event.target.closest?.(".chart")) return;
  const { clientX, clientY } = event;
  const there = { clientX, clientY, view: window, isPrimary: true, pointerId: -1 };
  event.composedPath()[0].dispatchEvent(new PointerEvent("pointermove", there));
});
