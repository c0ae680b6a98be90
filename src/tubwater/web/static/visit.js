// The visit in the browser: the timer, answers that are kept first and sent once, and the way on without a network.
// It holds no rule of its own: without a network it goes by the packet, and stops where nothing was foreseen.

import { all, drop, flush, fresh, keep, keepPages, reach, read, tell, waiting, word, write } from "./outbox.js";
import { steppers } from "./page.js";

const place = document.querySelector("#visit");
const { tub, visit } = place.dataset;
const address = `/tubs/${tub}/visit/${visit}`;
const anew = `${address}?fresh=1`;
const api = `/api/tubs/${tub}/visits/${visit}`;
const known = !document.documentElement.dataset.kept; // this page came from the network just now

// Timers follow the computer's clock where it is known; a phone may be minutes off.
let offset = Number(localStorage.getItem("offset") || 0);
if (known) {
  offset = Date.parse(place.dataset.now) - Date.now();
  if (Math.abs(offset) < 5000) offset = 0; // what loading takes
  localStorage.setItem("offset", String(offset));
}
const now = () => Date.now() + offset;

// ---------- the timer ----------

const title = document.title;
let rang = false;
let sound = null;

function two(value) { return String(value).padStart(2, "0"); }
function clock(at) { const d = new Date(at); return `${two(d.getHours())}:${two(d.getMinutes())}`; }

// The time, with its day where that is another than today's.
function moment(at) {
  const d = new Date(at);
  if (d.toDateString() === new Date(now()).toDateString()) return clock(at);
  return `${d.toLocaleDateString(word("lang"), { weekday: "short", day: "numeric", month: "short" })}, ${clock(at)}`;
}

function hours(left) {
  const minutes = Math.ceil(left / 60);
  return word("wait.hours", { HOURS: Math.floor(minutes / 60), MINUTES: two(minutes % 60) });
}

function tick() {
  const screen = place.querySelector("[data-due]"); // of a wait the screen, of a step that runs its timer
  if (!screen) return;
  const left = Math.ceil((Date.parse(screen.dataset.due) - now()) / 1000);
  const count = screen.querySelector("[data-count]");
  const on = screen.querySelector("[data-on] button");
  const over = left <= 0;
  const late = Math.floor(-left / 60);
  const long = left > 99 * 60; // more minutes than have room
  const text = over ? (late > 0 ? word("wait.over", { MINUTES: late }) : "00:00") : long ? hours(left) : `${two(Math.floor(left / 60))}:${two(left % 60)}`;
  if (count.textContent !== text) count.textContent = text;
  count.classList.toggle("words", long || late > 0);
  document.title = `${text} – ${title}`;
  if (on) {
    on.disabled = !over;
    on.querySelector("small").hidden = over;
  }
  if (over && screen.dataset.over === undefined) {
    screen.dataset.over = "";
    screen.querySelector("[data-until]").textContent = screen.dataset.overText || word("wait.over.lead");
    if (late < 1) ring();
    on?.focus({ preventScroll: true });
  }
}

function ring() {
  if (rang) return;
  rang = true;
  navigator.vibrate?.([400, 200, 400, 200, 400]);
  if (sound) [0, 0.5, 1].forEach((at) => beep(at));
}

function beep(after) {
  const tone = sound.createOscillator();
  const level = sound.createGain();
  tone.frequency.value = 880;
  level.gain.value = 0.3;
  tone.connect(level).connect(sound.destination);
  tone.start(sound.currentTime + after);
  tone.stop(sound.currentTime + after + 0.25);
}

// A browser lets a page sound only after it was asked to by a tap on it.
function offerSound() {
  const act = place.querySelector("[data-due]")?.closest(".screen").querySelector(".act");
  if (!act || act.querySelector("[data-alarm]") || !window.AudioContext) return;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "plain";
  button.dataset.alarm = "";
  button.setAttribute("aria-pressed", "false");
  button.textContent = word("wait.alarm");
  button.addEventListener("click", async () => {
    sound = new AudioContext();
    beep(0);
    button.setAttribute("aria-pressed", "true");
    button.textContent = word("wait.alarm.on");
    try { await navigator.wakeLock?.request("screen"); } catch { /* then the screen goes dark; the due time stays */ }
  });
  act.append(button);
}

// A step that runs for minutes has a timer as well, which a tap starts; it goes on over a reload.
async function offerRun() {
  const box = place.querySelector("[data-runs]");
  if (!box) return;
  const key = `run-${visit}-${box.closest(".screen").querySelector("[name='step']").value}`;
  const start = (due) => {
    box.dataset.due = new Date(due).toISOString();
    box.querySelector(".count").hidden = false;
    box.querySelector("[data-until]").textContent = box.dataset.untilText.replace("%AT%", moment(due));
    box.querySelector("button").hidden = true;
    offerSound();
    tick();
  };
  box.querySelector("button").addEventListener("click", async () => {
    const due = now() + 60e3 * Number(box.dataset.runs);
    start(due);
    await write("meta", { key, value: due });
  });
  box.hidden = false;
  const begun = await read("meta", key);
  if (begun) start(begun.value);
}

// ---------- where the visit stands, by the packet and what was answered on this phone ----------

const seconds = (text) => Date.parse(text);

export function stand(packet, answers, at) {
  let rows = packet.steps;
  let since = seconds(rows[0]?.since || packet.made);
  let [from, done, before, jumped] = [0, 0, 0, null];
  const given = { ...packet.answered, ...Object.fromEntries(answers.map((a) => [a.step, a.at])) };
  const said = Object.fromEntries(answers.map((a) => [a.step, a]));
  for (let hops = 0; hops < 2; hops += 1) {
    let jump = null;
    for (let i = from; i < rows.length; i += 1) {
      const row = rows[i];
      if (row.beside) continue;
      if (row.kind === "wait") {
        const due = row.due ? seconds(row.due) : since + row.minutes * 60e3;
        if (at < due) return { row, due, number: done, count: before + counted(rows) };
        since = due;
        continue;
      }
      if (!given[row.key]) return open(row, since, at, { number: done + 1, count: before + counted(rows) }, jumped);
      done += 1;
      since = seconds(given[row.key]);
      const answer = said[row.key];
      if (answer?.stop) return { stop: true };
      if (answer && answer.plan !== undefined) { jump = answer; break; }
    }
    if (!jump) return { end: true };
    rows = packet.plans[jump.plan].steps.map((row, i) => ({ ...row, key: `${packet.number}.${i}` }));
    from = 0;
    before = done;
    jumped = jump;
  }
  return { stop: true };
}

// A dose that was shown for long is asked about; one whose test is too old is not given without another.
function open(row, since, at, place, jumped) {
  if (row.tested === undefined) return { row, ...place };
  const tested = jumped?.reads?.includes(row.rests) ? seconds(jumped.at) : seconds(row.tested);
  if (row.tested && at > tested + row.fresh * 3600e3) return { stop: true };
  const said = Math.max(since, seconds(row.settled || 0) || 0);
  return { row, ...place, asks: at - said > row.pause * 60e3 };
}

const counted = (rows) => rows.filter((row) => !row.beside && row.kind !== "wait").length;

function rowOf(packet, key) {
  const later = packet.plans.flatMap((plan) => plan.steps.map((row, i) => ({ ...row, key: `${packet.number}.${i}`, later: true })));
  return packet.steps.find((row) => row.key === key) || later.find((row) => row.key === key);
}

// What an answer means for the rest: nothing (go on), a plan of the packet, or stop.
export function meaning(packet, row, told) {
  const cases = packet.cases.filter((one) => one.step === told.step);
  const followed = (found) => (found ? { plan: found.plan, case: found.id } : { stop: true });
  if (told.what === "done" || told.what === "answered") return {};
  if (told.what === "skipped") return row.kind === "dose" || row.kind === "test" ? followed(cases.find((c) => c.what === "skipped")) : {};
  if (told.what === "not in hand") return followed(cases.find((c) => c.what === "not in hand"));
  if (told.what === "other amount") return amounts(row, cases, told, followed);
  if (told.what === "retest") return followed(reading(packet, cases, told));
  return { stop: true };
}

function amounts(row, cases, told, followed) {
  const grams = told.measures !== null && !told.amount ? told.measures * row.one : weighed(told.amount);
  if (!(grams >= 0) || !row.grams) return { stop: true };
  const share = grams / row.grams;
  if (share === 0) return followed(cases.find((c) => c.what === "skipped"));
  const found = cases.filter((c) => c.what === "other amount" && c.factor >= share - 1e-6).sort((a, b) => a.factor - b.factor)[0];
  // The next amount upwards that was foreseen: what is in the water counts as more rather than less.
  if (share <= 1 + 1e-6 && (!found || found.factor > 1)) return {};
  return followed(found);
}

function weighed(text) {
  const found = /^\s*(\d+(?:[.,]\d+)?)\s*g\s*$/.exec(text);
  return found ? Number(found[1].replace(",", ".")) : NaN;
}

function reading(packet, cases, told) {
  const table = packet.tables.find((one) => one.step === told.step);
  if (!table || table.method !== told.test.method || ["hazy", "cloudy"].includes(told.noticed.clarity)) return null;
  let rows = cases.filter((one) => one.what === "retest");
  for (const axis of table.axes) {
    const nodes = around(axis.values, told.test[axis.quantity.replaceAll(" ", "_")]);
    if (!nodes) return null;
    rows = rows.filter((one) => nodes.includes(one.reads[axis.quantity]));
    if (!rows.length) return null;
  }
  // Between two readings of the table the smaller dose of the same product, otherwise no answer.
  const first = rows.map((one) => packet.plans[one.plan].first);
  if (new Set(first.map((dose) => dose?.product || "")).size > 1) return null;
  return rows.sort((a, b) => (packet.plans[a.plan].first?.grams || 0) - (packet.plans[b.plan].first?.grams || 0))[0];
}

function around(values, read) {
  if (read === undefined) return null;
  const ends = (Array.isArray(read) ? read : [read]).map((value) => Number(String(value).replace(",", ".")));
  if (ends.some((end) => !Number.isFinite(end))) return null;
  const [low, high] = [Math.min(...ends), Math.max(...ends)];
  if (low < values[0] || high > values.at(-1)) return null;
  return [values.filter((v) => v <= low + 1e-9).at(-1), values.find((v) => v >= high - 1e-9)];
}

// ---------- the screen without a network ----------

async function mine() { return (await all("answers")).filter((row) => row.visit === visit); }

async function showAlone() {
  const packet = await read("packets", visit);
  const found = packet ? stand(packet, await mine(), now()) : { stop: true };
  await hold(found);
  if (found.row) put(found, packet);
  else message(found.end ? "offline.end" : "stop");
}

function put({ row, due, number, count, asks }, packet) {
  const gaps = { KEY: row.key, NUMBER: Math.max(number, 1), COUNT: count, TIME: due ? moment(due) : "" };
  let markup = packet.screens[asks ? row.asks : row.screen];
  for (const [gap, value] of Object.entries(gaps)) markup = markup.replaceAll(`%${gap}%`, value);
  place.innerHTML = markup;
  const screen = place.querySelector(".screen");
  if (due) screen.dataset.due = new Date(due).toISOString();
  rang = false;
  steppers(place);
  offerSound();
  offerRun();
  tick();
  const head = place.querySelector("h1");
  head.tabIndex = -1;
  head.focus();
  scrollTo(0, 0);
}

function message(kind) {
  const names = kind === "stop" ? ["stop.title", "stop.more"] : ["offline.end", "offline.end.more"];
  place.replaceChildren();
  const head = document.createElement("h1");
  const more = document.createElement("p");
  [head.textContent, more.textContent] = names.map((name) => word(name));
  more.className = "standfirst";
  head.tabIndex = -1;
  place.append(head, more);
  head.focus();
}

// What is known here to run keeps every kept page from saying fit.
async function hold(found) {
  if (found.closed) await drop("meta", `hold-${tub}`);
  else await write("meta", { key: `hold-${tub}`, value: found.due || "running" });
}

// ---------- answers ----------

const FIXED = new Set(["what", "step", "key", "amount", "measures", "about", "to", "method", "clarity", "locked", "saw_kind", "saw_product"]);

function toldBy(form, submitter) {
  const fields = new FormData(form, submitter);
  const text = (name) => String(fields.get(name) ?? "").trim();
  const told = { what: text("what"), step: text("step"), at: new Date(now()).toISOString(), about: text("about"), to: text("to") };
  told.amount = text("amount");
  told.measures = !told.amount && text("measures") !== "" ? Number(text("measures")) : null;
  told.saw = Object.fromEntries([["kind", text("saw_kind")], ["product", text("saw_product")]].filter(([, v]) => v));
  told.test = {};
  told.noticed = text("clarity") ? { clarity: text("clarity") } : {};
  if (told.what === "retest") {
    told.test.method = text("method");
    for (const [name, value] of fields) {
      if (!FIXED.has(name) && value !== "") told.test[name] = String(value).includes(":") ? String(value).split(":") : String(value);
    }
  }
  return told;
}

let busy = false;
let leaving = false; // the page makes way for the next one
function leave() {
  leaving = true;
  location.replace(anew);
}

function works(on) { place.toggleAttribute("data-working", on); }

addEventListener("submit", async (event) => {
  const form = event.target;
  if (event.defaultPrevented) return;
  if (form.dataset.on !== undefined) { event.preventDefault(); await onward(); return; }
  if (form.dataset.tell === undefined) return;
  event.preventDefault();
  if (busy || leaving) return;
  busy = true;
  works(true);
  try { await answered(form, event.submitter); } finally {
    busy = false;
    works(leaving);
  }
});

async function answered(form, submitter) {
  const told = toldBy(form, submitter);
  const corrects = told.what === "other amount" && (await mine()).some((a) => a.step === told.step);
  if (form.closest("[data-screen='wait']") && told.what === "other amount") delete told.at; // the wait stays as it is
  const id = fresh();
  form.elements.key.value = id;
  const body = () => JSON.stringify({ ...told, at: told.at ?? null });
  let answer = null;
  if (!(await waiting()).some((item) => item.url.startsWith(api) && !item.parked)) {
    await keep({ id, url: `${api}/told/${id}`, method: "PUT", type: "application/json", body: body(), offline: false, asked: false, parked: null, label: document.querySelector("h1")?.textContent || "" });
    await flush((await read("packets", visit)) ? 8000 : 60e3); // without a packet there is no way on but to wait
    answer = await read("outbox", id);
    if (!answer) { leave(); return; }
    if (answer.parked) { await drop("outbox", id); form.submit(); return; } // the page says what is wrong, or who was quicker
  }
  await goAlone(told, id, answer, corrects);
}

// There is no network: the answer waits, and the packet says how it goes on.
let alone = false; // the screen goes by the packet until everything is sent
async function goAlone(told, id, stored, corrects) {
  alone = true;
  const packet = await read("packets", visit);
  const row = packet && rowOf(packet, told.step);
  const means = !row || (row.later && told.what !== "done" && told.what !== "skipped") ? { stop: true } : meaning(packet, row, told);
  if (row?.later && told.what === "skipped" && ["dose", "test"].includes(row.kind)) means.stop = true;
  if (told.what === "undone") { await takeBack(stored); return; }
  const body = JSON.stringify({ ...told, at: told.at ?? null, case: means.case || "" });
  const item = stored || { id, url: `${api}/told/${id}`, method: "PUT", type: "application/json", asked: false, parked: null, label: document.querySelector("h1")?.textContent || "" };
  if (stored) await write("outbox", { ...item, body, offline: true });
  else await keep({ ...item, body, offline: true });
  if (told.what === "answered" && packet) { // no, it is not in: the step stands as before, from now on
    for (const one of [...packet.steps, ...packet.plans.flatMap((plan) => plan.steps)]) one.settled = told.at;
    await write("packets", packet);
  } else if (told.step) {
    const before = (await mine()).find((a) => a.step === told.step);
    await write("answers", { visit, step: told.step, at: corrects && before ? before.at : told.at || new Date(now()).toISOString(), id, reads: Object.keys(told.test), ...means });
  }
  if (["left", "closed", "taken up"].includes(told.what)) message("offline.end"); else await showAlone();
}

// Undo without a network: an answer that was not sent yet never leaves this phone; one that was sent is undone later.
async function takeBack(stored) {
  const items = (await waiting()).filter((item) => item.url.startsWith(api));
  const last = (await mine()).sort((a, b) => Date.parse(a.at) - Date.parse(b.at)).at(-1);
  const unsent = last && items.find((item) => item.id === last.id);
  if (!unsent) { message("stop"); return; }
  if (stored) await drop("outbox", stored.id);
  await drop("outbox", unsent.id);
  await drop("answers", [visit, last.step]);
  await tell();
  await showAlone();
}

async function onward() {
  try { if ((await reach(api, {}, 4000)).ok) { location.replace(anew); return; } } catch { /* alone then */ }
  await showAlone();
}

// ---------- start ----------

async function settled() {
  const mineUnsent = (await waiting()).filter((item) => item.url.startsWith(api) && !item.parked);
  if (!known || mineUnsent.length) {
    await showAlone();
    await retry(mineUnsent.length > 0);
    return;
  }
  for (const row of await mine()) await drop("answers", [visit, row.step]);
  const over = ["finished", "closed"].includes(place.dataset.phase);
  await hold({ closed: over || place.dataset.phase === "left", due: place.dataset.due });
  if (over) { await forget(); return; }
  wanted = true;
  packetLine("packet.not");
  await fetchPacket();
}

// A visit that is over needs its packet and its timers no more.
async function forget() {
  await drop("packets", visit);
  for (const { key } of await all("meta")) if (key.startsWith(`run-${visit}-`)) await drop("meta", key);
}

// What came from the phone's own store makes way for what the server says, once it answers again.
async function retry(unsent) {
  if (unsent && !(await flush())) return;
  try { if (!busy && (await reach(api, {}, 20e3)).ok) location.replace(anew); } catch { /* alone then */ }
}

let wanted = false; // the packet of this page, until it is here
let asking = false;
const packetLine = (name) => { const line = document.querySelector("[data-packet]"); line.hidden = false; line.textContent = word(name); };

// The server may take a minute over it, and the network may be gone meanwhile: it is asked for until it is here.
async function fetchPacket() {
  if (!wanted || asking || alone) return;
  asking = true;
  try {
    const answer = await reach(`${api}/packet`, {}, 300e3);
    if (answer.ok) await packed(await answer.json());
  } catch { /* the page stays, says that it is not ready, and asks again */ } finally { asking = false; }
}

async function packed(packet) {
  if (alone) return; // the screens go by the packet that was here
  await write("packets", packet);
  wanted = false;
  const kept = await keepPages([address, `/tubs/${tub}`, `/tubs/${tub}/test`, `/tubs/${tub}/card`, "/"]);
  packetLine(kept ? "packet.ready" : "packet.open");
}

// What can only be settled with the network is tried now and then: the packet, and a screen that says to stop.
async function goOn() {
  if (known && !alone) await fetchPacket();
  else if (!place.querySelector("[data-screen]")) await retry(true);
}

// Whoever comes back to the page sees what others did meanwhile.
async function again() {
  tick();
  if (document.hidden || busy) return;
  try {
    const state = await (await reach(api, {}, 4000)).json();
    const shown = place.querySelector("[data-screen]") ? place.dataset : {};
    if (known && (String(state.plans) !== place.dataset.plans || state.phase !== place.dataset.phase || (state.due || "") !== (shown.due || "") && shown.due)) location.replace(anew);
  } catch { /* no network: what stands here stands */ }
}

setInterval(tick, 250);
setInterval(goOn, 15e3);
addEventListener("online", goOn);
addEventListener("pageshow", () => { leaving = false; works(busy); tick(); });
document.addEventListener("visibilitychange", again);
addEventListener("outbox", async (event) => { if (!event.detail.count && (alone || !known)) { try { if ((await reach(api, {}, 4000)).ok) location.replace(anew); } catch { /* later */ } } });
offerSound();
offerRun();
tick();
await settled();
offerSound();
