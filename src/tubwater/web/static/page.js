// What every page does in the browser. Each part is a help only: no page needs it to show its content.

// ---------- the time ----------

// A verdict holds until a time of the computer that sent the page. A device's own clock is believed where it stood within
// two minutes of that computer's when the page came, and was not set back since; else the computer is asked.
const OFF = 120e3;
const root = document.documentElement;
const sent = Date.parse(document.querySelector("main")?.dataset.now);
const came = root.dataset.kept ? Date.parse(root.dataset.kept) : Date.now();
let from = {
  at: Math.max(Date.now(), sent), device: Date.now(), steady: performance.now(),
  sure: Math.abs(came - sent) <= OFF && Date.now() >= came - OFF,
};
// A steady count may stand still while the device sleeps, its clock may be set: the longer of the two counts.
const gone = () => Math.max(Date.now() - from.device, performance.now() - from.steady);

export const now = () => from.at + gone();
export const sure = () => from.sure && Date.now() - from.device > performance.now() - from.steady - OFF;

// Whether a verdict holds; since is the earliest that it can be from.
export function holds(shown, since = shown.dataset.asOf) {
  const until = Date.parse(shown.dataset.goodUntil);
  const begun = since ? Date.parse(since) : until - 3 * 86400e3;
  return sure() && now() < until && now() >= begun - OFF;
}

async function hear() {
  const [device, steady] = [Date.now(), performance.now()];
  const answer = await fetch("/api/clock", { cache: "no-store", signal: AbortSignal.timeout(8000) });
  const at = answer.ok ? Date.parse((await answer.json()).now) : NaN;
  if (at) from = { at, device, steady, sure: true };
}

let asked = null;
export function ask() {
  asked ??= hear().catch(() => {}).finally(() => { asked = null; });
  return asked;
}

// Says that it is the device's clock that keeps the verdict from being known.
export function doubt(said) {
  for (const line of said.querySelectorAll("[data-clock]")) line.textContent = line.dataset.clock;
}

// ---------- what is not known any more ----------

const unknown = () => document.querySelector("template[data-verdict-stale]")?.content.firstElementChild.cloneNode(true);
const aside = new Map(); // what stands in the place of a verdict, until the computer has told the time

function away(shown) {
  const said = unknown();
  if (!said) { shown.remove(); return; }
  shown.replaceWith(said);
  if (sure()) return;
  doubt(said);
  aside.set(said, shown);
}

function back() {
  for (const [said, shown] of sure() ? aside : []) {
    const kept = "notSent" in root.dataset;
    if (said.isConnected) said.replaceWith(holds(shown) && !kept ? shown : unknown());
    aside.delete(said);
  }
}

// A page that stays open, or comes back from memory, no longer says fit once its time is over.
function expire() {
  for (const shown of document.querySelectorAll('[data-verdict="fit"]')) if (!holds(shown)) away(shown);
  if (aside.size) ask().then(back);
}
addEventListener("pageshow", expire);
document.addEventListener("visibilitychange", expire);
setInterval(expire, 10e3);
expire();

// Steppers: the first tap lands on what was read last, each further one goes by the kit's increment.
export function steppers(inside) {
  for (const box of inside.querySelectorAll(".stepper")) {
    const input = box.querySelector("input");
    const step = Number(input.dataset.step);
    const places = Math.max(0, Math.ceil(-Math.log10(step) - 1e-9), (String(step).split(".")[1] || "").length);
    for (const button of box.querySelectorAll("button")) {
      button.addEventListener("click", () => {
        const now = input.value === "" ? null : Number(input.value);
        const next = now === null ? Number(box.dataset.start) : now + step * Number(button.dataset.by);
        const most = Math.min(Math.max(next, Number(input.min)), Number(input.max));
        input.value = most.toFixed(places);
        input.dispatchEvent(new Event("change", { bubbles: true }));
        if (Math.abs(most - next) > step / 1000) say(input); // the last of what the method reads
      });
    }
  }
}
steppers(document);

// What a field does not take is said beside it, as the server says it; the browser would say it in its own language.
const name = (field) => field.id || `f-${field.name}`;
const marked = (field) => (field.type === "radio" && field.closest("fieldset")) || field;

function sentence(field) {
  if (field.dataset.takes) return field.dataset.takes;
  const words = document.querySelector("main").dataset;
  if (!field.validity.valueMissing) return words.wrong;
  return field.type === "radio" || field.matches("select") ? words.choose : words.missing;
}

function say(field) {
  const id = `${name(field)}-e`;
  const said = document.getElementById(id) || Object.assign(document.createElement("span"), { id, className: "wrong" });
  said.setAttribute("role", "status");
  const caption = marked(field).querySelector("legend") || field.labels[0];
  (caption.closest("h2") || caption).after(said);
  said.textContent = sentence(field);
  const others = (marked(field).getAttribute("aria-describedby") || "").split(" ").filter((one) => one && one !== id);
  marked(field).setAttribute("aria-describedby", [id, ...others].join(" "));
}

function refuses(field) {
  const wrong = !field.validity.valid;
  const said = document.getElementById(`${name(field)}-e`);
  if (wrong) say(field);
  else said?.replaceChildren();
  if (wrong && marked(field) !== field) marked(field).setAttribute("role", "radiogroup");
  if (wrong || said) marked(field).setAttribute("aria-invalid", String(wrong));
  return wrong;
}
document.addEventListener("change", ({ target }) => {
  if (target.dataset.takes || document.getElementById(`${name(target)}-e`)) refuses(target);
});
for (const form of document.forms) form.noValidate = true;
addEventListener("submit", (event) => {
  const [first] = [...event.target.elements].filter((field) => field.willValidate && refuses(field));
  if (!first) return;
  event.preventDefault();
  first.focus();
}, true);

// The short wait before a strip is read.
for (const strip of document.querySelectorAll(".strip[data-seconds]")) {
  strip.hidden = false;
  const [shown, says, button] = [strip.querySelector(".num"), strip.querySelector("[data-ready]"), strip.querySelector("button")];
  button.addEventListener("click", () => {
    const due = Date.now() + 1000 * Number(strip.dataset.seconds);
    button.disabled = true;
    const tick = setInterval(() => {
      const left = Math.max(0, Math.ceil((due - Date.now()) / 1000));
      shown.textContent = left;
      if (left) return;
      clearInterval(tick);
      button.disabled = false;
      says.textContent = says.dataset.ready;
      if (navigator.vibrate) navigator.vibrate(200);
    }, 200);
  });
}
