/**
 * What this copy is: its edition, its age, and, where it is installed, whether it is whole and
 * whether a newer one waits. From disk only the first two are known.
 */
(function () {
  "use strict";

  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const DAY = 86400000;

  /**
   * @typedef {{edition: string, number: number | null, date: string | null, files: number}} Told
   * @typedef {{type: string, current: Told | null, waiting: Told | null, error: string}} Status
   */

  /** @returns {any} */
  const words = () => (faultTrees.words && faultTrees.words.app) || {};

  /** @param {string} text @param {Record<string, string | number>} values */
  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));

  /** @param {string | null | undefined} date as in 2026-10-14 */
  function spoken(date) {
    if (!date) return words().no_date;
    const language = document.documentElement.lang || "en";
    return new Date(date + "T12:00:00").toLocaleDateString(language, { day: "numeric", month: "long", year: "numeric" });
  }

  /** @param {Told} told */
  const name = (told) => fill(words().edition, { number: told.number || "–", date: spoken(told.date) });

  /**
   * @param {string} tag
   * @param {string} text
   * @param {string} [kind] a class
   */
  function line(tag, text, kind) {
    const element = document.createElement(tag);
    element.textContent = text;
    if (kind) element.className = kind;
    return element;
  }

  /** @param {Status | null} status what the service worker says, or null without one */
  function show(status) {
    const place = document.querySelector("[data-ft-edition]");
    const data = faultTrees.data && faultTrees.data.index;
    if (!place || !data) return;
    const { library, count } = data;
    const trees = faultTrees.counted(words().trees, count);
    const here = { number: library.edition || "–", date: spoken(library.date), trees };
    const installed = status && status.current;
    const parts = [line("p", fill(installed ? words().on_device : words().this_copy, here))];
    const days = library.date ? Math.floor((Date.now() - Date.parse(library.date + "T12:00:00")) / DAY) : 0;
    if (library.max_age_days && days > library.max_age_days) {
      parts.push(line("p", fill(words().old, { days: faultTrees.counted(words().days, days), limit: faultTrees.counted(words().days, library.max_age_days) }), "ft-edition-old"));
    }
    if (status && status.waiting) {
      const button = line("button", words().use, "ft-button");
      button.setAttribute("type", "button");
      button.dataset.ft = "edition-use";
      button.addEventListener("click", () => tell("edition-use"));
      parts.push(line("p", fill(words().waiting, { edition: name(status.waiting) })), button);
    } else if (status && status.error) {
      parts.push(line("p", fill(installed ? words().not_renewed : words().not_kept, { reason: status.error })));
    }
    place.replaceChildren(...parts);
  }

  /** @param {string} type */
  async function tell(type) {
    const registration = await navigator.serviceWorker.getRegistration(root());
    const worker = registration && (registration.active || registration.waiting || registration.installing);
    if (worker) worker.postMessage({ type });
  }

  function root() {
    const meta = document.querySelector('meta[name="ft-root"]');
    return new URL((meta && meta.getAttribute("content")) || "./", document.baseURI).href;
  }

  /** @param {string} relation @param {string} address from the site's root */
  function head(relation, address) {
    const link = document.createElement("link");
    link.rel = relation;
    link.href = root() + address;
    document.head.append(link);
  }

  async function start() {
    await faultTrees.ready;
    show(null);
    if (!faultTrees.installable || !/^https?:$/.test(location.protocol) || !window.isSecureContext || !("serviceWorker" in navigator)) return;
    navigator.serviceWorker.addEventListener("message", (event) => {
      if (event.data && event.data.type === "edition-status") show(event.data);
    });
    navigator.serviceWorker.startMessages();
    try {
      await navigator.serviceWorker.register(root() + "sw.js", { scope: root(), updateViaCache: "none" });
    } catch (error) {
      // A site that was copied without its worker, or a browser that refuses one: the page works all the same.
      return;
    }
    // From disk a browser would refuse the manifest with a line in the console, so only here.
    head("manifest", "kb/app.webmanifest");
    head("apple-touch-icon", "kb/icon-180.png");
    await tell("edition-status");
    if (navigator.onLine) await tell("edition-look");
  }

  document.addEventListener("DOMContentLoaded", () => void start());
})();
