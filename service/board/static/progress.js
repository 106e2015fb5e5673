// Ask how far the job is, and show the page anew once it has ended.
"use strict";
const shown = document.querySelector("[data-job]");
const bar = shown.querySelector("progress");
const within = location.pathname.match(/^\/growers\/[^/]+/)?.[0] ?? ""; // whose page this is, of several growers
const said = document.getElementById("job-said");
async function look() {
  try {
    const answer = await fetch(within + "/v1/jobs/" + encodeURIComponent(shown.dataset.job), { cache: "no-store" });
    const job = await answer.json();
    if (["done", "failed", "cancelled"].includes(job.state)) { location.reload(); return; }
    if (answer.ok) {
      bar.value = job.progress;
      // what a job is at is told in English
      const at = job.message && document.documentElement.lang === "en" ? ": " + job.message : "";
      said.textContent = Math.round(100 * job.progress) + " %" + at;
    }
  } catch { /* the connection dropped: the next look may get through */ }
  setTimeout(look, 1500);
}
setTimeout(look, 1000);
