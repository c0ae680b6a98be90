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
