// Static files come from the phone, pages from the network while it answers within four seconds, else as they were kept.

const STATIC = "static-%VERSION%";
const PAGES = "pages";
const WORDS = ["/offline", "/offline/words"];
const FILES = ["%FILES%", ...WORDS];
const MOST = 4000;

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(STATIC).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    await self.clients.claim();
    const old = (await caches.keys()).filter((name) => name.startsWith("static-") && name !== STATIC);
    await pagesAnew();
    await Promise.all(old.map((name) => caches.delete(name)));
  })());
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(fixed(event.request));
  else if (event.request.mode === "navigate") event.respondWith(page(event.request));
  else if (url.pathname === "/offline/words") event.respondWith(fixed(event.request));
});

self.addEventListener("message", (event) => {
  const { keep = [], anew = false } = event.data || {};
  event.waitUntil(Promise.all([...keep.map((url) => fetched(url).catch(() => {})), anew ? wordsAnew() : null]));
});

// Every kept page as it is now; one that cannot be had stays as it was: an old one is better than none.
async function pagesAnew() {
  const pages = await caches.open(PAGES);
  await Promise.all((await pages.keys()).map((request) => fetched(new URL(request.url).pathname).catch(() => {})));
}

// In another language.
async function wordsAnew() {
  const cache = await caches.open(STATIC);
  await Promise.all([cache.addAll(WORDS).catch(() => {}), pagesAnew()]);
}

async function fixed(request) {
  return (await caches.match(request)) || fetch(request);
}

async function page(request) {
  const { pathname: path, searchParams: said } = new URL(request.url);
  const asked = fetch(request).then(async (answer) => {
    if (answer.ok && answer.type === "basic" && !answer.redirected) await store(path, answer.clone());
    return answer;
  });
  asked.catch(() => {}); // it may fail after a kept page was shown
  // A page that just heard from the server asks for a fresh one, however slow.
  const late = said.has("fresh") ? new Promise(() => {}) : new Promise((_, failed) => setTimeout(() => failed(new Error("late")), MOST));
  try {
    return await Promise.race([asked, late]);
  } catch {
    const kept = await (await caches.open(PAGES)).match(path);
    return kept || asked.catch(() => caches.match("/offline"));
  }
}

async function fetched(url) {
  const answer = await fetch(url, { credentials: "same-origin", headers: { Accept: "text/html" } });
  if (answer.ok && !answer.redirected) await store(new URL(url, location.href).pathname, answer);
}

// A page that is kept never says that a tub is fit: that part is put aside, and the page's script brings it back only
// while it is fresh, nothing is unsent and no wait runs.
async function store(path, answer) {
  if (/^\/(login|pair|phones|trust)\b/.test(path)) return; // of this moment and this person only
  const type = answer.headers.get("Content-Type") || "";
  if (!type.startsWith("text/html")) return;
  const at = new Date().toISOString();
  let text = await answer.text();
  const stale = /<template data-verdict-stale>([\s\S]*?)<\/template>/.exec(text);
  const unknown = (stale ? stale[1] : "").replace(/<(\w+)/, "<$1 data-not-known") || "<p data-not-known></p>";
  if (text.includes('data-verdict="fit"')) text = text.replace(/<title>[^<]*<\/title>/, "<title>Tubwater</title>");
  text = text.replace(/<!--verdict:begin-->([\s\S]*?)<!--verdict:end-->/g, (whole, inner) =>
    inner.includes('data-verdict="fit"')
      ? `<template data-verdict-kept data-kept-at="${at}">${inner.trim()}</template>${unknown.trim()}` : whole);
  text = text.replace("<html ", `<html data-kept="${at}" `);
  const headers = new Headers(answer.headers);
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  const cache = await caches.open(PAGES);
  await cache.put(path, new Response(text, { status: 200, headers }));
}
