// What is entered on this phone is kept here first and sent once: with or without a network, with or without a worker.

import { ask, doubt, holds, now, sure } from "./page.js";

const NAME = "tubwater";
const WAIT = 8000; // ms that an answer may take before the phone asks whether anybody is there, and else goes on alone
const SLOW = 60e3; // ms that one who is there may take

export function fresh() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
}

// ---------- the store ----------

let opened = null;
function open() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("outbox", { keyPath: "id" });
      asked.result.createObjectStore("packets", { keyPath: "visit" });
      asked.result.createObjectStore("answers", { keyPath: ["visit", "step"] });
      asked.result.createObjectStore("meta", { keyPath: "key" });
    };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

async function within(store, mode, act) {
  const transaction = (await open()).transaction(store, mode, { durability: "strict" });
  const asked = act(transaction.objectStore(store));
  return new Promise((done, failed) => {
    transaction.oncomplete = () => done(asked.result);
    transaction.onerror = transaction.onabort = () => failed(transaction.error);
  });
}

export const read = (store, key) => within(store, "readonly", (s) => s.get(key));
export const all = (store) => within(store, "readonly", (s) => s.getAll());
export const write = (store, value) => within(store, "readwrite", (s) => s.put(value));
export const drop = (store, key) => within(store, "readwrite", (s) => s.delete(key));

// ---------- words ----------

let texts = {};
try { texts = JSON.parse(localStorage.getItem("words") || "{}"); } catch { texts = {}; }
export const word = (name, gaps = {}) =>
  Object.entries(gaps).reduce((text, [gap, value]) => text.replace(`%${gap}%`, value), texts[name] || "");

async function learn() {
  const { lang, dataset } = document.documentElement;
  const [version, before] = [new URL(import.meta.url).pathname, texts.lang];
  if (texts.version === version && (before === lang || dataset.kept)) return;
  try {
    // The language in the address lets the worker's own copy of another one aside.
    texts = { ...(await (await fetch(`/offline/words?lang=${lang}`)).json()), version };
    localStorage.setItem("words", JSON.stringify(texts));
    if (before && before !== texts.lang) await speakAnew();
  } catch { /* the words of the last time do */ }
}

// The language was changed: what is kept for the time without a network is asked for in the new one.
async function speakAnew() {
  navigator.serviceWorker?.controller?.postMessage({ anew: true });
  if ((await waiting()).length) return; // what was answered by a packet goes on by it
  for (const { tub, visit } of await all("packets")) {
    const answer = await reach(`/api/tubs/${tub}/visits/${visit}/packet`, {}, 300e3);
    if (answer.ok) await write("packets", await answer.json());
  }
}

// ---------- sending ----------

export async function reach(url, options = {}, most = WAIT) {
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), most);
  try {
    return await fetch(url, { ...options, signal: stop.signal, cache: "no-store" });
  } finally { clearTimeout(timer); }
}

async function device() {
  const known = await read("meta", "device");
  if (known) return known.value;
  const made = { key: "device", value: fresh() };
  await write("meta", made);
  return made.value;
}

async function sequence() {
  // One transaction, so that two open pages never give the same number.
  const transaction = (await open()).transaction("meta", "readwrite", { durability: "strict" });
  const store = transaction.objectStore("meta");
  return new Promise((done, failed) => {
    const asked = store.get("sequence");
    let next = 1;
    asked.onsuccess = () => { next = (asked.result?.value || 0) + 1; store.put({ key: "sequence", value: next }); };
    transaction.oncomplete = () => done(next);
    transaction.onerror = () => failed(transaction.error);
  });
}

export async function keep(item) {
  await write("outbox", { ...item, seq: await sequence(), made: Date.now() });
  await tell();
}

export const waiting = async () => (await all("outbox")).sort((a, b) => a.seq - b.seq);

async function send(item, most) {
  const headers = {
    "Content-Type": item.type, "X-Device": await device(),
    "X-Sequence": String(item.seq), "X-Sent": new Date().toISOString(),
  };
  return reach(item.url, { method: item.method, headers, body: item.body, redirect: "manual" }, most);
}

// Who is there and slow is waited for: a repeat is known by its name.
async function sent(item, most) {
  try { return await send(item, most); } catch (gone) {
    if (!(await there())) throw gone;
    return send(item, SLOW);
  }
}

async function there() {
  try { return (await reach("/healthz", {}, 3000)).ok; } catch { return false; }
}

// A redirect to a page is the usual answer to a form.
const taken = (answer) => answer.ok || answer.type === "opaqueredirect";

let sending = null;
export function flush(most = WAIT) {
  sending ??= flushed(most).finally(() => { sending = null; });
  return sending;
}

async function flushed(most) {
  const items = (await waiting()).filter((item) => !item.parked);
  if (!items.length) return true;
  if (!(await clocks(items))) return false;
  for (const item of items) {
    let answer;
    try { answer = await sent((await read("outbox", item.id)) || item, most); } catch { await tell(); return false; }
    if (taken(answer)) await drop("outbox", item.id);
    else if ([401, 429].includes(answer.status) || answer.status >= 500) { await tell(); return false; }
    else await write("outbox", { ...item, parked: { status: answer.status, text: await reason(answer) } });
  }
  await tell();
  return true;
}

async function reason(answer) {
  try {
    const said = await answer.clone().json();
    const problems = (said.problems || []).map((p) => `${p.field}: ${p.given}. ${p.expected}`);
    return problems.join(" ") || said.error;
  } catch {
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    return page.querySelector(".says")?.textContent.trim() || page.querySelector("h1")?.textContent || String(answer.status);
  }
}

// ---------- the clock ----------

// Entries carry the phone's own times. Where its clock is off, nobody but the keeper can say which is right.
async function clocks(items) {
  if (!items.some((item) => item.offline && !item.asked)) return true;
  let skew;
  try {
    const before = Date.now();
    const answer = await reach("/api/clock");
    if (!answer.ok) return false; // nobody is logged in, or the logbook is out of reach: later
    const there = Date.parse((await answer.json()).now);
    skew = there - (before + Date.now()) / 2;
  } catch { return false; }
  const shift = Math.abs(skew) > 120e3 ? await askShift(skew) : false;
  if (shift === null) return false;
  for (const item of items) {
    const moved = shift && item.offline ? shifted(item, skew) : item.body;
    await write("outbox", { ...item, body: moved, asked: true });
  }
  return true;
}

function shifted(item, skew) {
  const move = (at) => new Date(Date.parse(at) + skew).toISOString();
  if (item.type === "application/json") {
    const body = JSON.parse(item.body);
    return JSON.stringify(body.at ? { ...body, at: move(body.at) } : body);
  }
  const fields = new URLSearchParams(item.body);
  if (fields.get("at")) fields.set("at", move(fields.get("at")));
  return fields.toString();
}

let question = null;
function askShift(skew) {
  question ??= new Promise((done) => {
    const minutes = Math.round(Math.abs(skew) / 60e3);
    const box = says([word("queue.clock", { MINUTES: minutes })]);
    for (const [name, value] of [["queue.clock.yes", true], ["queue.clock.no", false]]) {
      box.lastChild.append(button(word(name), () => { box.remove(); question = null; done(value); }));
    }
    document.querySelector("main").prepend(box);
  });
  return question;
}

// ---------- what the page says of it ----------

function says(lines) {
  const box = document.createElement("div");
  box.className = "says";
  box.innerHTML = '<svg width="24" height="24" aria-hidden="true"><use href="#care"/></svg><div></div>';
  for (const line of lines) {
    const p = document.createElement("p");
    p.textContent = line;
    box.lastChild.append(p);
  }
  return box;
}

function button(text, act, kind = "alt") {
  const made = document.createElement("button");
  made.type = "button";
  made.className = kind;
  made.textContent = text;
  made.addEventListener("click", act);
  return made;
}

export async function tell() {
  const items = await waiting();
  const parked = items.filter((item) => item.parked);
  const count = items.length - parked.length;
  let line = document.querySelector("[data-unsent]");
  if (!line) {
    line = document.createElement("p");
    line.className = "unsent";
    line.dataset.unsent = "";
    line.setAttribute("role", "status");
    document.querySelector("main").before(line);
  }
  line.hidden = !count;
  line.textContent = count === 1 ? word("queue.one") : word("queue.more", { COUNT: count });
  document.querySelectorAll("[data-parked]").forEach((old) => old.remove());
  for (const item of parked) {
    const box = says([item.label || "", word("queue.parked", { TEXT: item.parked.text })]);
    box.dataset.parked = "";
    box.lastChild.append(
      button(word("queue.retry"), async () => { await write("outbox", { ...item, parked: null }); await flush(); }),
      button(word("queue.drop"), async () => { await drop("outbox", item.id); await tell(); }, "plain"),
    );
    document.querySelector("main").prepend(box);
  }
  await honest(items.length > 0);
  dispatchEvent(new CustomEvent("outbox", { detail: { count } }));
}

// A page that was kept says fit only while that is fresh, nothing is unsent, and no wait is known to run.
async function honest(unsent) {
  const held = (await all("meta")).some((row) => row.key.startsWith("hold-"));
  for (const place of document.querySelectorAll("template[data-verdict-kept]")) {
    const shown = place.content.querySelector("[data-verdict]");
    const old = place.nextElementSibling;
    if (shown && !unsent && !held && holds(shown, shown.dataset.asOf || place.dataset.keptAt)) {
      if (old?.matches("[data-not-known]")) old.replaceWith(place.content.cloneNode(true));
      place.remove();
    } else if (shown && !sure()) {
      if (old?.matches("[data-not-known]")) doubt(old);
      ask().then(() => { if (sure()) tell(); });
    }
  }
  document.documentElement.toggleAttribute("data-not-sent", unsent);
  if (!unsent) return;
  for (const shown of document.querySelectorAll('[data-verdict="fit"]')) {
    const stale = document.querySelector("template[data-verdict-stale]");
    if (stale) shown.replaceWith(stale.content.cloneNode(true)); else shown.remove();
  }
}

// ---------- forms ----------

// Without a network a form is kept as it is, with the time at which it was filled in, and sent under its own key.
addEventListener("submit", async (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.getAttribute("method") !== "post" || form.dataset.tell !== undefined || !form.elements.key) return;
  event.preventDefault();
  // A page that was kept may be filled in more than once; each time it is another entry.
  if (document.documentElement.dataset.kept) form.elements.key.value = fresh();
  const fields = new FormData(form, event.submitter);
  let there = false;
  try { there = (await reach("/api/clock", {}, 4000)).ok; } catch { there = false; }
  if (there) { await (form.dataset.inPlace === undefined ? submit(form) : inPlace(form, fields)); return; }
  if (!fields.get("at")) fields.set("at", new Date().toISOString());
  await keep({
    id: String(fields.get("key")) || fresh(), url: new URL(form.getAttribute("action") || location.href, location.href).href, method: "POST", offline: true, asked: false, parked: null,
    type: "application/x-www-form-urlencoded", body: new URLSearchParams(fields).toString(),
    label: document.querySelector("h1")?.textContent || "",
  });
  const box = says([word("queue.kept")]);
  box.setAttribute("role", "status");
  form.replaceWith(box);
  box.scrollIntoView({ block: "center" });
});

const submit = (form) => HTMLFormElement.prototype.submit.call(form);

// What the form leads to takes the place of its page, so that Back does not lead through it; saying it twice is harmless.
async function inPlace(form, fields) {
  form.toggleAttribute("data-working", true);
  const body = new URLSearchParams(fields);
  const answer = await reach(form.getAttribute("action") || location.href, { method: "POST", body }, SLOW).catch(() => null);
  if (answer?.redirected) location.replace(answer.url); else submit(form); // the page says what is wrong
}

// ---------- the worker ----------

const worker = navigator.serviceWorker?.register("/sw.js").catch(() => null);

// Asks the worker to keep pages; false where there is none, as on a page that came without HTTPS.
export async function keepPages(urls) {
  if (!(await worker)) return false;
  const tooLong = new Promise((done) => setTimeout(done, 20e3, null));
  const ready = await Promise.race([navigator.serviceWorker.ready, tooLong]);
  ready?.active.postMessage({ keep: urls });
  return Boolean(ready);
}

async function start() {
  await learn();
  await tell();
  await flush();
}
addEventListener("online", () => flush());
addEventListener("pageshow", (event) => { if (event.persisted) start(); });
document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
setInterval(async () => { if ((await waiting()).some((item) => !item.parked)) flush(); }, 15e3);

for (const place of document.querySelectorAll("[data-pages]")) {
  const list = place.querySelector(".index");
  if (!list || !("caches" in window)) continue;
  const cache = await caches.open("pages");
  for (const request of await cache.keys()) {
    const page = new DOMParser().parseFromString(await (await cache.match(request)).text(), "text/html");
    const row = document.createElement("li");
    row.innerHTML = '<a><span class="what"></span></a>';
    row.firstChild.href = new URL(request.url).pathname;
    row.querySelector(".what").textContent = page.title;
    list.append(row);
  }
  place.hidden = !list.children.length;
}

for (const card of document.querySelectorAll("[data-card]")) {
  if (!sure()) await ask();
  const [at, { made }] = [now(), card.dataset];
  if (!sure() || at >= Date.parse(card.dataset.void) || at < Date.parse(made) - 120e3) {
    card.replaceWith(says([card.dataset.voidText]));
  }
}

// A day's tubs onto the phone: their pages and cards, and the packet of each visit that is under way.
for (const load of document.querySelectorAll("[data-load-round]")) {
  load.hidden = !("serviceWorker" in navigator);
  load.addEventListener("click", async () => {
    load.disabled = true;
    const paths = ["/"];
    for (const tub of load.dataset.loadRound.split(" ")) {
      paths.push(`/tubs/${tub}`, `/tubs/${tub}/test`, `/tubs/${tub}/card`);
      try {
        const { visit } = await (await reach(`/api/tubs/${tub}/visit`)).json();
        if (visit) {
          paths.push(`/tubs/${tub}/visit/${visit}`);
          await write("packets", await (await reach(`/api/tubs/${tub}/visits/${visit}/packet`, {}, 300e3)).json());
        }
      } catch { load.disabled = false; return; }
    }
    await keepPages(paths);
    load.textContent = load.dataset.loaded;
  });
}

await start();
