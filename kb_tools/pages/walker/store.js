/**
 * Visits on this device: IndexedDB, one database for each library, every write durable at once.
 * Where the browser refuses storage the same calls work in memory, and `kept` is false.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const TABLE = "visits";
  const PATIENCE = 4000;

  /** @type {IDBDatabase | null} */
  let database = null;
  /** @type {Map<string, any>} */
  const memory = new Map();
  let name = "";
  /** Visits as they were put, to be taken in when the browser has drawn what the reader waits for. @type {Map<string, any>} */
  const fresh = new Map();
  /** Visits that wait to be written; a newer state of the same visit takes the older one's place. @type {Map<string, any>} */
  const waiting = new Map();
  /** @type {Promise<void> | null} */
  let writing = null;

  /** @type {Store} */
  const store = (faultTrees.store = { kept: false, onrefused: () => {}, open, all, put, remove, settled });

  /** @template T @param {Promise<T>} answer @returns {Promise<T>} */
  function inTime(answer) {
    return Promise.race([answer, new Promise((_, reject) => setTimeout(() => reject(new Error("no answer")), PATIENCE))]);
  }

  /** @template T @param {IDBRequest<T>} request @returns {Promise<T>} */
  function asked(request) {
    return new Promise((resolve, reject) => {
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => reject(request.error);
    });
  }

  /** From here on nothing is kept; what is there stays in memory. */
  function refused() {
    const before = store.kept;
    database = null;
    store.kept = false;
    if (before) store.onrefused();
  }

  /**
   * @param {string} key the library's key
   * @returns {Promise<boolean>} whether what is put will be kept
   */
  async function open(key) {
    name = "fault-trees " + key;
    try {
      database = await connected();
      for (const visit of await asked(database.transaction(TABLE).objectStore(TABLE).getAll())) memory.set(visit.id, visit);
      store.kept = true;
    } catch {
      database = null;
      store.kept = false;
    }
    return store.kept;
  }

  /** @returns {Promise<IDBDatabase>} */
  async function connected() {
    const request = indexedDB.open(name, 1);
    request.onupgradeneeded = () => request.result.createObjectStore(TABLE, { keyPath: "id" });
    const base = await inTime(asked(request));
    base.onversionchange = () => base.close();
    base.onclose = () => base === database && refused();
    return base;
  }

  /** @returns {any[]} every visit known here, as stored: judge it before use */
  function all() {
    takeIn();
    return [...memory.values()];
  }

  /**
   * Write, and once more on a new connection if there is no answer: a device that slept may have used up the
   * time. WebKit gives none at all where a page was left while it made the database; that has to be told.
   * @param {(table: IDBObjectStore) => void} change
   */
  async function write(change) {
    if (!database) return;
    try {
      await inTime(written(database, change));
    } catch {
      database = await connected();
      await inTime(written(database, change));
    }
  }

  /** @param {IDBDatabase} base @param {(table: IDBObjectStore) => void} change */
  function written(base, change) {
    return new Promise((/** @type {(value?: unknown) => void} */ resolve, reject) => {
      const transaction = base.transaction(TABLE, "readwrite", { durability: "strict" });
      transaction.oncomplete = () => resolve();
      transaction.onabort = transaction.onerror = () => reject(transaction.error);
      change(transaction.objectStore(TABLE));
    });
  }

  async function drain() {
    while (waiting.size) {
      const [[id, visit]] = waiting;
      waiting.delete(id);
      try {
        await write((table) => (visit ? table.put(visit) : table.delete(id)));
      } catch {
        refused();
      }
    }
    writing = null;
  }

  /** @param {string} id @param {any} visit null deletes */
  function later(id, visit) {
    waiting.delete(id);
    waiting.set(id, visit);
    if (!writing) writing = drain();
  }

  /** @param {any} visit plain data with an `id`; stored as it is when the present task is done */
  function put(visit) {
    if (!fresh.size) setTimeout(takeIn);
    fresh.set(visit.id, visit);
  }

  function takeIn() {
    for (const visit of fresh.values()) {
      const copy = JSON.parse(JSON.stringify(visit));
      memory.set(copy.id, copy);
      later(copy.id, copy);
    }
    fresh.clear();
  }

  /** @param {string} id */
  function remove(id) {
    fresh.delete(id);
    memory.delete(id);
    later(id, null);
  }

  /** Resolves when everything put so far is on the device. */
  function settled() {
    takeIn();
    return writing || Promise.resolve();
  }

  window.addEventListener("pagehide", takeIn);
})();
