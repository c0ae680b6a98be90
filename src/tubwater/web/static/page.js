// What every page does in the browser. Each part is a help only: no page needs it to show its content.

// A page that stays open, or comes back from memory, no longer says fit once its time is over.
function expire() {
  for (const shown of document.querySelectorAll('[data-verdict="fit"]')) {
    const until = Date.parse(shown.dataset.goodUntil);
    const since = shown.dataset.asOf ? Date.parse(shown.dataset.asOf) : until - 3 * 86400e3;
    const now = Date.now();
    if (now >= until || now < since - 120e3) {
      const stale = document.querySelector("template[data-verdict-stale]");
      if (stale) shown.replaceWith(stale.content.cloneNode(true));
      else location.reload();
    }
  }
}
addEventListener("pageshow", expire);
document.addEventListener("visibilitychange", expire);
setInterval(expire, 10e3);
expire();

// Steppers: the first tap lands on what was read last, each further one goes by the kit's increment.
for (const box of document.querySelectorAll(".stepper")) {
  const input = box.querySelector("input");
  const step = Number(input.dataset.step);
  const places = Math.max(0, Math.ceil(-Math.log10(step) - 1e-9), (String(step).split(".")[1] || "").length);
  for (const button of box.querySelectorAll("button")) {
    button.addEventListener("click", () => {
      const now = input.value === "" ? null : Number(input.value);
      const next = now === null ? Number(box.dataset.start) : now + step * Number(button.dataset.by);
      const inside = Math.min(Math.max(next, Number(input.min)), Number(input.max));
      input.value = inside.toFixed(places);
      input.dispatchEvent(new Event("change", { bubbles: true }));
    });
  }
}

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
