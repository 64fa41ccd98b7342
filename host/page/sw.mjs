// Keeps the page's own files, so that it starts without a network. A new version has another name of the cache and takes
// over when the page is opened next. Nothing else is kept here: neither runs nor keys.

const worker = /** @type {any} */ (self);
const VERSION = "1";
const FILES = [
  "./", "app.mjs", "style.css", "manifest.webmanifest", "icon.svg", "live.mjs", "checks.mjs", "figure.mjs", "curve.mjs",
  "afterwards.mjs", "share.mjs", "sound.mjs", "store.mjs", "views/board.mjs", "views/dom.mjs", "views/kept.mjs", "views/pull.mjs",
  "station/station.mjs", "station/alone.mjs", "station/computer.mjs", "link/bluetooth.mjs", "link/serial.mjs",
  "weighing.mjs", "wire/client.mjs", "wire/frame.mjs", "wire/layout.mjs", "wire/reading.mjs", "wire/records.mjs", "wire/run.mjs", "wire/seal.mjs",
];
const CACHE = `breakyard-${VERSION}`;

let cache = null;
/** The cache, opened once for all of a start's files. */
const opened = () => (cache ??= caches.open(CACHE));

worker.addEventListener("install", (event) => {
  // Where the browser takes files out of the cache by itself, a start does not wait for this worker to wake up (Chromium 123;
  // from memory). What is not in the cache goes on to "fetch" below, as everywhere else.
  event.addRoutes?.({ condition: { requestMethod: "GET" }, source: { cacheName: CACHE } });
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(FILES.map((file) => new Request(file, { cache: "reload" })))));
});
worker.addEventListener("activate", (event) => {
  event.waitUntil(caches.keys().then((names) => Promise.all(names.filter((one) => one !== CACHE).map((one) => caches.delete(one)))));
});
worker.addEventListener("fetch", (event) => {
  if (event.request.method !== "GET") return;
  event.respondWith(opened().then((cache) => cache.match(event.request, { ignoreSearch: true })).then((kept) => kept ?? fetch(event.request)));
});
