// A visit is first kept on this device, then sent; it leaves the device once the service has it.
"use strict";
(() => {
  const form = document.getElementById("visit");
  if (!form) return;
  const vineyard = form.dataset.vineyard;
  const within = location.pathname.match(/^\/growers\/[^/]+/)?.[0] ?? ""; // whose page this is, of several growers
  const key = "capfall-visits-" + within + vineyard;
  const said = document.getElementById("said");
  const exact = document.getElementById("exact");
  const tiles = [...form.querySelectorAll("input[type=radio]")];
  const RETRY_MS = 15000;
  const GIVE_UP_MS = 8000; // a connection may hang rather than fail, and must not hold up the next try
  let sending = false;
  class SignedOut extends Error {}

  const read = () => JSON.parse(localStorage.getItem(key) || "[]");
  const write = (visits) => localStorage.setItem(key, JSON.stringify(visits));
  const words = (visit) => `${visit.block}, ${visit.date}: ${visit.percent_open} % of caps off`;
  function say(text) { said.textContent = text; said.hidden = false; }

  function show() {
    const visits = read();
    document.getElementById("kept").hidden = visits.length === 0;
    document.getElementById("kept-list").replaceChildren(...visits.map((visit) => {
      const line = document.createElement("li");
      line.textContent = words(visit) + (visit.refused ? ` – refused: ${visit.refused} ` : " – waiting ");
      if (visit.refused) {
        const drop = document.createElement("button");
        drop.type = "button";
        drop.className = "quiet";
        drop.textContent = "Discard";
        drop.addEventListener("click", () => { write(read().filter((other) => other.id !== visit.id)); show(); });
        line.append(drop);
      }
      return line;
    }));
  }

  async function refusal(answer) {
    try {
      const problem = await answer.json();
      return problem.errors?.map((error) => error.problem).join("; ") || problem.detail;
    } catch { return "status " + answer.status; }
  }

  async function sendOne(visit) {
    const { block, date, percent_open, observer, note } = visit;
    const answer = await fetch(`${within}/v1/vineyards/${vineyard}/visits`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify([{ block, date, percent_open, observer, note }]),
      signal: AbortSignal.timeout(GIVE_UP_MS),
    });
    if (answer.status === 401) throw new SignedOut();
    if (answer.status >= 500) throw new Error("the service is not ready");
    const refused = answer.ok ? null : await refusal(answer);
    if (answer.ok) visit.warnings = (await answer.json()).warnings;
    // read anew: another entry may have been added meanwhile
    write(read().flatMap((other) => {
      if (other.id !== visit.id) return [other];
      return refused === null ? [] : [{ ...other, refused }];
    }));
    return refused === null;
  }

  async function send() {
    if (sending) return;
    sending = true;
    const sent = [];
    try {
      for (;;) {
        const next = read().find((visit) => !visit.refused);
        if (!next) break;
        if (await sendOne(next)) sent.push(next);
      }
    } catch (error) {
      say(error instanceof SignedOut ? "This phone is signed in no more. The visit is kept on it and is sent once it is." :
        "No connection. The visit is kept on this phone and is sent when the connection is back.");
    } finally {
      sending = false;
    }
    if (sent.length) {
      const refused = read().length ? " Others were refused, see below." : "";
      const doubtful = sent.flatMap((visit) => visit.warnings);
      say(`Sent: ${sent.map(words).join("; ")}. The windows on the board know of it.` + refused +
        (doubtful.length ? ` Please look again: ${doubtful.join(" ")}` : ""));
      const latest = [form.elements.as_of.value, ...sent.map((visit) => visit.date)].sort().at(-1);
      if (form.elements.as_of.value) {
        document.getElementById("to-board").href = `${within}/vineyards/${vineyard}?as_of=${latest}&recorded=${sent.at(-1).block}`;
      }
    } else if (read().some((visit) => visit.refused)) {
      say("The service refused a visit, see below.");
    }
    show();
  }

  document.getElementById("exact-field").hidden = false;
  exact.addEventListener("input", () => {
    for (const tile of tiles) {
      tile.required = exact.value === "";
      if (exact.value !== "") tile.checked = false;
    }
  });
  for (const tile of tiles) {
    tile.addEventListener("change", () => { exact.value = ""; for (const other of tiles) other.required = true; });
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const told = new FormData(form);
    const visit = {
      id: `${Date.now()}-${Math.random()}`,
      block: told.get("block"),
      date: told.get("date"),
      percent_open: Number(exact.value === "" ? told.get("percent_open") : exact.value),
      observer: told.get("observer").trim() || null,
      note: told.get("note").trim() || null,
    };
    write([...read(), visit]);
    for (const tile of tiles) { tile.checked = false; tile.required = true; }
    exact.value = "";
    form.elements.note.value = "";
    show();
    send();
  });
  document.getElementById("send-now").addEventListener("click", send);
  addEventListener("online", send);
  setInterval(() => { if (read().some((visit) => !visit.refused)) send(); }, RETRY_MS);
  show();
  if (read().length) send();
  navigator.serviceWorker?.register("/service-worker.js").then(async () => {
    await navigator.serviceWorker.ready;
    const cache = await caches.open("capfall-visit-form");
    await cache.addAll([location.pathname, "/static/board.css", "/static/board.js", "/static/visit.js", "/static/icon.svg"]);
  }).catch(() => { /* without it the open page still keeps visits */ });
})();
