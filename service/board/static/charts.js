// Hand each chart that the page holds to the chart library.
"use strict";
for (const held of document.querySelectorAll("script[data-chart]")) {
  Bokeh.embed.embed_item(JSON.parse(held.textContent), held.dataset.chart);
}
