// Service worker: the page opens without a network, where the browser allows one (https, localhost).
// The network comes first, so that a new version is shown at once; laps and lists never pass here.

const CACHE = "bench-page";
const PAGE = "/bench";
const ASSETS = [
  "app.js",
  "asks.js",
  "bench.css",
  "catalogue.js",
  "choosing.js",
  "clock.js",
  "csv.js",
  "dom.js",
  "drying.js",
  "figures.js",
  "icon.svg",
  "ids.js",
  "laps.js",
  "light.js",
  "machine.js",
  "main.js",
  "mending.js",
  "next.js",
  "pace.js",
  "pairing.js",
  "press.js",
  "running.js",
  "sender.js",
  "sheet.js",
  "sheets_mend.js",
  "sheets_phone.js",
  "sheets_work.js",
  "slots.js",
  "sound.js",
  "state.js",
  "storage.js",
  "tally.js",
  "tapping.js",
  "view.js",
  "words.js",
];
const PATIENCE_MS = 2_500; // a dead access point answers nothing at all

self.addEventListener("install", (event) => {
  const paths = [PAGE, ...ASSETS.map((name) => `/bench/assets/${name}`)];
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(paths)));
  self.skipWaiting();
});

self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { pathname } = new URL(event.request.url);
  const ours = pathname === PAGE || pathname.startsWith("/bench/assets/");
  if (event.request.method === "GET" && ours)
    event.respondWith(networkFirst(event.request, pathname));
});

async function networkFirst(request, pathname) {
  const cache = await caches.open(CACHE);
  const kept = await cache.match(pathname);
  const fresh = fetch(request).then(async (answer) => {
    if (answer.ok) await cache.put(pathname, answer.clone());
    return answer;
  });
  if (!kept) return fresh;
  const slow = new Promise((resolve) => setTimeout(() => resolve(kept), PATIENCE_MS));
  return Promise.race([fresh.then((answer) => (answer.status < 500 ? answer : kept)), slow]).catch(
    () => kept,
  );
}
