/**
 * What this copy is: its edition, its age, and, where it is installed, whether it is whole and
 * whether a newer one waits. From disk only the first two are known.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const DAY = 86400000;

  /**
   * @typedef {{edition: string, number: number | null, date: string | null, files: number}} Told
   * @typedef {{type: string, current: Told | null, waiting: Told | null, error: string}} Status
   */

  const { counted, view } = faultTrees;
  const words = faultTrees.words.app;
  const { fill, h } = view;

  /** @param {string | null | undefined} date as in 2026-10-14 */
  function spoken(date) {
    return date ? new Date(date + "T12:00:00").toLocaleDateString(faultTrees.words.locale, { day: "numeric", month: "long", year: "numeric" }) : words.no_date;
  }

  /** @param {Status | null} status what the service worker says, or null without one */
  function show(status) {
    const place = document.querySelector("[data-ft-edition]");
    const data = faultTrees.data?.index;
    if (!place || !data) return;
    const { library, count } = data;
    const here = { number: library.edition || "–", date: spoken(library.date), trees: counted(words.trees, count) };
    const { current = null, waiting = null, error = "" } = status || {};
    const parts = [h("p", fill(current ? words.on_device : words.this_copy, here))];
    const days = library.date ? Math.floor((Date.now() - Date.parse(library.date + "T12:00:00")) / DAY) : 0;
    if (library.max_age_days && days > library.max_age_days) {
      parts.push(h("p.ft-edition-old", fill(words.old, { days: counted(words.days, days), limit: counted(words.days, library.max_age_days) })));
    }
    if (waiting) {
      const edition = fill(words.edition, { number: waiting.number || "–", date: spoken(waiting.date) });
      parts.push(h("p", fill(words.waiting, { edition })), h("button.ft-button", { type: "button", ft: "edition-use", click: () => tell("edition-use") }, words.use));
    } else if (error) {
      parts.push(h("p", fill(current ? words.not_renewed : words.not_kept, { reason: error })));
    }
    place.replaceChildren(...parts);
  }

  /** @param {string} type */
  async function tell(type) {
    const registration = await navigator.serviceWorker.getRegistration(root());
    const worker = registration && (registration.active || registration.waiting || registration.installing);
    if (worker) worker.postMessage({ type });
  }

  const root = () => new URL(view.root() || "./", document.baseURI).href;

  async function start() {
    await faultTrees.ready;
    show(null);
    if (!faultTrees.installable || !/^https?:$/.test(location.protocol) || !window.isSecureContext || !("serviceWorker" in navigator)) return;
    navigator.serviceWorker.addEventListener("message", (event) => {
      if (event.data?.type === "edition-status") show(event.data);
    });
    navigator.serviceWorker.startMessages();
    try {
      await navigator.serviceWorker.register(root() + "sw.js", { scope: root(), updateViaCache: "none" });
    } catch (error) {
      // A site that was copied without its worker, or a browser that refuses one: the page works all the same.
      return;
    }
    // From disk a browser would refuse the manifest with a line in the console, so only here.
    document.head.append(h("link", { rel: "manifest", href: root() + "kb/app.webmanifest" }), h("link", { rel: "apple-touch-icon", href: root() + "kb/icon-180.png" }));
    await tell("edition-status");
    if (navigator.onLine) await tell("edition-look");
  }

  document.addEventListener("DOMContentLoaded", () => void start());
})();
