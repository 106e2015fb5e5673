// A visit is first kept on this device, then sent; it leaves the device only once the service itself says that it has it.
"use strict";
(() => {
  const form = document.getElementById("visit");
  if (!form) return;
  const vineyard = form.dataset.vineyard;
  const within = location.pathname.match(/^\/growers\/[^/]+/)?.[0] ?? ""; // whose page this is, of several growers
  const key = "capfall-visits-" + within + vineyard;
  const said = document.getElementById("said");
  const undo = document.getElementById("undo");
  const exact = document.getElementById("exact");
  const tiles = [...form.querySelectorAll("input[type=radio]")];
  const trip = [...form.querySelectorAll("[data-block]")];
  const RETRY_MS = 15000;
  const GIVE_UP_MS = 8000; // a connection may hang rather than fail, and must not hold up the next try
  const REFUSALS = [404, 409, 413, 422]; // what another try would not change
  const texts = JSON.parse(form.dataset.words);
  const fill = (name, values = {}) => texts[name].replace(/\{(\w+)\}/g, (_, value) => values[value]);
  const KEPT = texts.kept;
  let sending = false;
  let mayRecord = true; // as the service said last

  class NotTaken extends Error {}

  const read = () => JSON.parse(localStorage.getItem(key) || "[]");
  const write = (visits) => localStorage.setItem(key, JSON.stringify(visits));
  const refusal = ({ refused }) => `. ${fill("refused", { why: refused.replace(/[.!?]$/, "") })} `;
  const found = ({ percent_open, bbch }) => percent_open === null ? `BBCH ${bbch}` : fill("found", { percent: percent_open });
  const words = (visit) => `${visit.block}, ${visit.date}: ${found(visit)}`;
  function say(text, change, corrects) {
    said.firstElementChild.textContent = text;
    said.hidden = false;
    undo.hidden = !change;
    undo.dataset.change = change ?? "";
    undo.dataset.corrects = corrects ? "true" : ""; // a visit that was there before, which counts again without it
  }

  function show() {
    const visits = read();
    document.getElementById("kept").hidden = visits.length === 0;
    const waits = visits.some((visit) => !visit.refused);
    document.getElementById("sent-soon").hidden = !waits || !mayRecord;
    document.getElementById("send-now").hidden = !waits;
    document.getElementById("kept-list").replaceChildren(...visits.map((visit) => {
      const line = document.createElement("li");
      const stands = ` – ${mayRecord ? texts.waiting : texts.mayNot} `;
      line.textContent = words(visit) + (visit.refused ? refusal(visit) : stands);
      if (visit.refused) {
        const drop = document.createElement("button");
        drop.type = "button";
        drop.className = "quiet";
        drop.textContent = texts.discard;
        drop.addEventListener("click", () => { write(read().filter((other) => other.id !== visit.id)); show(); });
        line.append(drop);
      }
      return line;
    }));
  }

  function choose(block) {
    form.elements.block.value = block;
    for (const each of trip) {
      if (each.dataset.block === block) each.setAttribute("aria-current", "true");
      else each.removeAttribute("aria-current");
    }
  }

  // The list as the service has it: a second look of one day and observer takes the first one's place.
  async function listRecorded() {
    const list = document.getElementById("today");
    const day = list.dataset.date;
    const answer = await fetch(`${within}/v1/vineyards/${vineyard}/visits?from=${day}&to=${day}`, { cache: "no-store" });
    const told = await own(answer);
    if (!answer.ok || !told?.visits) return;
    if (told.visits.length) document.getElementById("none-yet")?.remove();
    list.replaceChildren(...told.visits.map((seen) => {
      const line = document.createElement("li");
      const change = document.createElement("a");
      change.href = `${within}/vineyards/${vineyard}/visits/${seen.visit}`;
      change.textContent = list.dataset.change;
      line.append(`${seen.block ?? seen.cultivar}: ${found(seen)}${seen.observer ? `, ${seen.observer}` : ""} `, change);
      return line;
    }));
  }

  function recorded(visit) {
    const here = trip.findIndex((each) => each.dataset.block === visit.block);
    if (here < 0) return;
    trip[here].classList.add("done");
    const next = [...trip.slice(here + 1), ...trip.slice(0, here)].find((each) => !each.classList.contains("done"));
    choose(next ? next.dataset.block : "");
  }

  // The service names stages to programs by their keys: bloom_end.
  const plain = (said) => said.replace(/\b[a-z]+_[a-z]+\b/g, (key) => key.replace("_", " "));

  // JSON of the service's own making, or null: a network's sign-in page answers 200 too, or 403, and knows nothing.
  async function own(answer) {
    const type = answer.headers.get("content-type") ?? "";
    if (!/^application\/(problem\+)?json/.test(type)) return null;
    try { return await answer.json(); } catch { return null; }
  }

  // Why the service refuses the visit, or null if it has it. Anything else is no answer to it.
  async function sendOne(visit) {
    const { block, date, percent_open, observer, note } = visit;
    const answer = await fetch(`${within}/v1/vineyards/${vineyard}/visits`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify([{ block, date, percent_open, observer, note }]),
      signal: AbortSignal.timeout(GIVE_UP_MS),
    });
    const told = await own(answer);
    if (answer.ok && told?.vineyard === vineyard && told.rows_read === 1) {
      return { refused: null, change: answer.headers.get("Capfall-Change"), corrects: told.rows_replaced > 0, warnings: (told.warnings ?? []).map(plain) };
    }
    if (told?.type?.startsWith("/problems/") && REFUSALS.includes(answer.status)) {
      return { refused: told.errors?.map((error) => error.problem).join("; ") || told.detail };
    }
    if (told && answer.status === 401) throw new NotTaken(`${texts.signedOut} ${KEPT}`);
    if (told?.type === "/problems/forbidden") {
      mayRecord = false;
      throw new NotTaken(fill("forbidden", { why: told.detail }));
    }
    if (told?.type?.startsWith("/problems/")) throw new NotTaken(`${fill("serviceSays", { why: told.detail })} ${KEPT}`);
    throw new NotTaken(`${texts.notOurs} ${KEPT}`);
  }

  async function send() {
    if (sending) return;
    sending = true;
    mayRecord = true;
    const sent = [];
    const doubtful = [];
    let last = null;
    let corrected = false;
    let trouble = null;
    try {
      for (;;) {
        const next = read().find((visit) => !visit.refused);
        if (!next) break;
        const { refused, change, corrects, warnings } = await sendOne(next);
        // read anew: another entry may have been added meanwhile
        write(read().flatMap((other) => {
          if (other.id !== next.id) return [other];
          return refused === null ? [] : [{ ...other, refused }];
        }));
        if (refused !== null) continue;
        sent.push(next);
        last = change;
        corrected = corrects;
        doubtful.push(...warnings);
        recorded(next);
      }
    } catch (error) {
      trouble = error instanceof NotTaken ? error.message : `${texts.noConnection} ${KEPT}`;
    } finally {
      sending = false;
    }
    const others = read().some((visit) => visit.refused) ? ` ${texts.othersRefused}` : "";
    if (sent.length) {
      listRecorded().catch(() => { /* it stands there when the page is opened again */ });
      const look = doubtful.length ? ` ${texts.lookAgain} ${doubtful.join(" ")}` : "";
      say(`${fill("recorded", { visits: sent.map(words).join("; ") })}${others}${look} ${trouble ?? ""}`, sent.length === 1 && last, corrected);
      const latest = [form.elements.as_of.value, ...sent.map((visit) => visit.date)].sort().at(-1);
      if (form.elements.as_of.value) {
        document.getElementById("to-board").href = `${within}/vineyards/${vineyard}?as_of=${latest}&recorded=${sent.at(-1).block}`;
      }
    } else if (trouble || others) {
      say(trouble ?? others.trim());
    }
    show();
  }

  undo.addEventListener("click", async () => {
    const { change, corrects } = undo.dataset;
    undo.hidden = true;
    try {
      const answer = await fetch(`${within}/v1/changes/${change}/undo`, { method: "POST" });
      const told = await own(answer);
      if (!answer.ok || !told) { say(fill("notUndone", { why: told?.detail ?? texts.noAnswer })); return; }
      await listRecorded();
      say(corrects ? texts.correctionUndone : texts.undone);
    } catch { say(texts.notUndoneYet, change, corrects); }
  });

  for (const each of trip) {
    each.addEventListener("click", (event) => { event.preventDefault(); choose(each.dataset.block); });
  }
  form.elements.block.addEventListener("change", () => choose(form.elements.block.value));

  // The page may be from yesterday: kept by the browser, or by the phone while there was no connection.
  let touched = false;
  form.elements.date.addEventListener("input", () => { touched = true; });
  function today() {
    if (touched || form.elements.as_of.value) return;
    const timeZone = form.dataset.timezone || undefined;
    form.elements.date.value = new Intl.DateTimeFormat("en-CA", { timeZone, year: "numeric", month: "2-digit", day: "2-digit" }).format(new Date());
  }
  addEventListener("pageshow", today);
  document.addEventListener("visibilitychange", today);
  today();
  const asked = new URLSearchParams(location.search).get("block");
  if (asked && [...form.elements.block.options].some((option) => option.value === asked)) choose(asked);

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
    said.scrollIntoView({ block: "nearest" });
    show();
    send();
  });
  document.getElementById("send-now").addEventListener("click", send);
  addEventListener("online", send);
  setInterval(() => { if (mayRecord && read().some((visit) => !visit.refused)) send(); }, RETRY_MS);
  show();
  if (read().length) send();
})();
