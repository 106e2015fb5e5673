// A form with files is sent from here, so that the files stay chosen: its answer takes the place of the one before.
"use strict";
for (const form of document.querySelectorAll("form[data-keep]")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const told = new FormData(form, event.submitter); // before the button leaves with the answer that it stands in
    const answer = document.getElementById("answer");
    const buttons = [...document.querySelectorAll(`#${form.id || "none"} button, [data-keep] button`)];
    const said = document.createElement("p");
    said.className = "note";
    said.setAttribute("role", "status");
    said.textContent = form.dataset.busy + " …";
    answer.replaceChildren(said);
    for (const button of buttons) button.disabled = true;
    try {
      const sent = await fetch(form.action, { method: "POST", body: told });
      if (sent.redirected) { location.href = sent.url; return; }
      const page = new DOMParser().parseFromString(await sent.text(), "text/html");
      const said = page.getElementById("answer");
      if (sent.ok && !said) { // a page of its own, after which this one's words and forms hold no more
        document.getElementById("main").replaceChildren(...page.querySelector("main").childNodes);
        document.title = page.title;
        scrollTo(0, 0);
        document.getElementById("main").focus();
        return;
      }
      answer.replaceChildren(...(said ?? page.querySelector("main") ?? page.body).childNodes);
      for (const each of answer.querySelectorAll("[data-scripted]")) each.hidden = false; // true of a form sent from here
      const boxes = page.getElementById("confirm"); // those that answer what was refused
      if (boxes) document.getElementById("confirm")?.replaceChildren(...boxes.childNodes);
      document.title = page.title;
    } catch {
      said.textContent = form.dataset.lost;
    }
    for (const button of buttons) button.disabled = false;
    answer.scrollIntoView({ block: "start" });
    answer.querySelector("[data-focus]")?.focus();
  });
}
