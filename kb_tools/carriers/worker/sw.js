/**
 * The service worker of the installed app: keeps one whole edition on the device.
 *
 * An edition is taken over only when every file of it has arrived and its hash fits the edition's
 * own list; until then, and if anything fails, the one that is here goes on. Pages are served from
 * one edition and nothing else, so two are never mixed. The swap happens when no other page of the
 * site is open, or when a person asks for it; then every open page is loaded anew.
 */
(function () {
  "use strict";

  /**
   * @typedef {{edition: string, number: number | null, date: string | null, files: Record<string, string>}} Edition
   * @typedef {{current: string, waiting: string, error: string}} State
   */

  const worker = /** @type {ServiceWorkerGlobalScope} */ (/** @type {unknown} */ (self));
  const scope = worker.registration.scope;
  const EDITION_FILE = "kb/edition.json";
  const KEPT = "ft-edition " + scope + " ";
  const NOTES = "ft-notes " + scope;
  const STATE_KEY = scope + "kb/state";
  const AT_ONCE = 6;

  /** @type {Promise<void> | null} the download under way */
  let busy = null;

  /** Why the last download failed: on a full device there may be no room to write it down. */
  let failure = "";

  /** @returns {Promise<State>} */
  async function readState() {
    const notes = await caches.open(NOTES);
    const found = await notes.match(STATE_KEY);
    return found ? found.json() : { current: "", waiting: "", error: "" };
  }

  /** @param {Partial<State>} change */
  async function writeState(change) {
    const state = { ...(await readState()), ...change };
    const notes = await caches.open(NOTES);
    await notes.put(STATE_KEY, new Response(JSON.stringify(state)));
    return state;
  }

  /**
   * @param {string} hash
   * @returns {Promise<Edition | null>} the list of an edition that is kept here
   */
  async function kept(hash) {
    if (!hash || !(await caches.has(KEPT + hash))) return null;
    const found = await (await caches.open(KEPT + hash)).match(scope + EDITION_FILE);
    return found ? found.json() : null;
  }

  /** @param {ArrayBuffer} bytes */
  async function sha256(bytes) {
    const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));
    return Array.from(digest, (byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  /** @param {string} path */
  async function fetchFresh(path) {
    const response = await fetch(scope + path.split("/").map(encodeURIComponent).join("/"), { cache: "no-store" });
    if (!response.ok) throw new Error(path + ": the server answered " + response.status);
    return response;
  }

  /**
   * @param {unknown} value
   * @returns {Edition}
   */
  function edition(value) {
    const found = /** @type {Edition} */ (value);
    const sound =
      found &&
      /^[0-9a-f]{8,64}$/.test(found.edition) &&
      found.files &&
      Object.entries(found.files).every(([path, hash]) => /^[0-9a-f]{64}$/.test(hash) && !/^\/|\.\.|\\|:/.test(path));
    if (!sound) throw new Error(EDITION_FILE + " is no list of an edition");
    return found;
  }

  /** Take the server's edition whole, or change nothing. */
  async function download() {
    const response = await fetchFresh(EDITION_FILE);
    const text = await response.text();
    const next = edition(JSON.parse(text));
    const state = await readState();
    if (next.edition === state.current || next.edition === state.waiting) {
      failure = "";
      await writeState({ error: "" });
      return;
    }
    const name = KEPT + next.edition;
    const cache = await caches.open(name);
    try {
      await fill(cache, next, state.current);
      await cache.put(scope + EDITION_FILE, new Response(text, { headers: { "Content-Type": "application/json" } }));
      await writeState(state.current ? { waiting: next.edition, error: "" } : { current: next.edition, error: "" });
    } catch (error) {
      await caches.delete(name);
      throw error;
    }
    failure = "";
    if (state.waiting) await caches.delete(KEPT + state.waiting);
    await tellAll();
  }

  /**
   * Fill a cache with every file of an edition; files that the present one has alike are copied.
   * @param {Cache} cache
   * @param {Edition} next
   * @param {string} currentHash
   */
  async function fill(cache, next, currentHash) {
    const current = await kept(currentHash);
    const store = current ? await caches.open(KEPT + currentHash) : null;
    const rest = Object.entries(next.files);
    /** @type {unknown[]} */
    const failed = [];
    const line = async () => {
      for (let item = rest.pop(); item && !failed.length; item = rest.pop()) {
        const [path, hash] = item;
        const same = store && current && current.files[path] === hash ? await store.match(scope + path) : undefined;
        const response = same || (await fetchFresh(path));
        const bytes = await response.arrayBuffer();
        if ((await sha256(bytes)) !== hash) throw new Error(path + " is not the file of this edition");
        const type = response.headers.get("Content-Type") || "application/octet-stream";
        await cache.put(scope + path, new Response(bytes, { headers: { "Content-Type": type } }));
      }
    };
    // Every line is at rest before the cache goes: a file on its way would hold its room on a full device.
    await Promise.all(Array.from({ length: AT_ONCE }, () => line().catch((error) => failed.push(error))));
    if (failed.length) throw failed[0];
  }

  /** Look for a newer edition; one search at a time; a failure is kept to be told. */
  function look() {
    if (!busy) {
      busy = download()
        .catch(async (error) => {
          failure = reason(error);
          await writeState({ error: failure }).catch(() => undefined);
          await tellAll();
          throw error;
        })
        .finally(() => {
          busy = null;
        });
    }
    return busy;
  }

  /** Make the waiting edition the present one and drop the old. */
  async function swap() {
    const state = await readState();
    if (!state.waiting || !(await kept(state.waiting))) return false;
    await writeState({ current: state.waiting, waiting: "" });
    for (const name of await caches.keys()) {
      if (name.startsWith(KEPT) && name !== KEPT + state.waiting) await caches.delete(name);
    }
    return true;
  }

  async function status() {
    const state = await readState();
    const current = await kept(state.current);
    const waiting = await kept(state.waiting);
    /** @param {Edition | null} one */
    const told = (one) =>
      one && { edition: one.edition, number: one.number, date: one.date, files: Object.keys(one.files).length };
    return { type: "edition-status", current: told(current), waiting: told(waiting), error: failure || state.error };
  }

  /** @param {{waiting?: null, error?: string}} otherwise what to tell in place of what is kept here */
  async function tellAll(otherwise = {}) {
    const message = { ...(await status()), ...otherwise };
    for (const client of await worker.clients.matchAll({ type: "window" })) client.postMessage(message);
  }

  /** Make the waiting edition the present one in every open page, or say why that cannot be. */
  async function use() {
    let swapped = false;
    try {
      swapped = await swap();
    } catch (error) {
      // A full device: the button would do nothing, so the reason stands in its place.
      return tellAll({ waiting: null, error: reason(error) });
    }
    if (!swapped) return tellAll();
    for (const client of await worker.clients.matchAll({ type: "window" })) await client.navigate(client.url);
  }

  /** @param {any} error */
  function reason(error) {
    return String((error && error.message) || error);
  }

  /**
   * Serve a request from the present edition; with none here, from the network.
   * @param {FetchEvent} event
   */
  async function serve(event) {
    const { request } = event;
    if (request.mode === "navigate") {
      const open = await worker.clients.matchAll({ type: "window", includeUncontrolled: true });
      // On a full device the swap may find no room to be written down; then the present edition goes on.
      if (open.length <= 1) await swap().catch(() => false);
    }
    const state = await readState();
    if (!state.current) return fetch(request);
    const cache = await caches.open(KEPT + state.current);
    const url = new URL(request.url);
    let path = url.pathname;
    if (path.endsWith("/")) path += "index.html";
    const found = (await cache.match(url.origin + path)) || (await cache.match(decodeURI(url.origin + path)));
    if (found) return found;
    if (!(await caches.has(KEPT + state.current))) return fetch(request);
    return new Response("This page is not part of the edition on this device.", {
      status: 404,
      headers: { "Content-Type": "text/plain; charset=utf-8" },
    });
  }

  worker.addEventListener("install", (event) => {
    event.waitUntil(look().then(() => worker.skipWaiting()));
  });

  worker.addEventListener("activate", (event) => {
    event.waitUntil(worker.clients.claim().then(tellAll));
  });

  worker.addEventListener("fetch", (event) => {
    const { request } = event;
    if (request.method === "GET" && request.url.startsWith(scope)) event.respondWith(serve(event));
  });

  worker.addEventListener("message", (event) => {
    const asked = event.data && event.data.type;
    if (asked === "edition-status") event.waitUntil(tellAll());
    if (asked === "edition-look") event.waitUntil(look().catch(() => undefined));
    if (asked === "edition-use") event.waitUntil(use());
  });
})();
