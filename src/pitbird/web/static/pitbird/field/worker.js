// The service worker of the field page. FILES (address to hash) and VERSION stand above this, put there by the server.
//
// What makes up the page is taken from the phone at once, whether there is network or not; everything under /api/ goes
// to the server and nowhere else. Another content is another VERSION, hence another cache, filled before it is used.

const CACHE = `pitbird-field-${VERSION}`;
const SHELL = "/field/";

self.addEventListener("install", (event) => event.waitUntil(fill()));

async function fill() {
  const cache = await caches.open(CACHE);
  await Promise.all(Object.entries(FILES).map(async ([address, hash]) => {
    const answer = await fetch(address, { cache: "no-cache", credentials: "omit", redirect: "error" });
    if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
    const bytes = await answer.clone().arrayBuffer();
    const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
    const found = Array.from(digest.slice(0, 8), (byte) => byte.toString(16).padStart(2, "0")).join("");
    if (found !== hash) throw new Error(`${address} is of another version`);
    await cache.put(address, answer);
  }));
}

self.addEventListener("activate", (event) => event.waitUntil(take()));

async function take() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name.startsWith("pitbird-field-") && name !== CACHE).map((name) => caches.delete(name)));
  await self.clients.claim();
}

// The page says when it stands at its beginning: a test under way is not carried over to another version.
self.addEventListener("message", (event) => { if (event.data === "take-over") self.skipWaiting(); });

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  if (event.request.method !== "GET" || address.origin !== self.location.origin) return;
  const shell = event.request.mode === "navigate" && ["/field/", "/field/pair"].includes(address.pathname);
  const name = shell ? SHELL : address.pathname;
  if (Object.hasOwn(FILES, name)) event.respondWith(held(name, event.request));
});

async function held(name, request) {
  return (await (await caches.open(CACHE)).match(name)) ?? fetch(request);
}
