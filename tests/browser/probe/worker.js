// Service worker of offline.html: keeps the page and answers from what it keeps.
self.addEventListener("install", (event) => {
  /** @type {any} */ (event).waitUntil(caches.open("probe").then((cache) => cache.addAll(["offline.html"])));
});
self.addEventListener("activate", (event) => {
  /** @type {any} */ (event).waitUntil(/** @type {any} */ (self).clients.claim());
});
self.addEventListener("fetch", (event) => {
  const fetched = /** @type {any} */ (event);
  fetched.respondWith(caches.match(fetched.request).then((kept) => kept || fetch(fetched.request)));
});
