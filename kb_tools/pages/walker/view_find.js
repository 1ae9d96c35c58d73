/** The finder's box: results while one types, trees first, other pages after, with the words that counted. */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { words } = faultTrees;
  const { h, fill } = view;
  const SHOWN = 8;
  const PAGES = 4;
  const NEAREST = 3;
  /** Milliseconds without another letter after which the nearest symptoms are looked for: it takes long. */
  const REST = 200;

  document.addEventListener("DOMContentLoaded", () => {
    document.querySelectorAll("[data-ft-finder]").forEach((finder) => {
      const box = finder.querySelector("input");
      const place = finder.querySelector("[data-ft-found]");
      if (!box || !place) return;
      finder.removeAttribute("hidden");
      // Made between frames, so that a large library does not keep the first letter waiting.
      const ready = Promise.resolve(faultTrees.ready).then(faultTrees.wholeIndex).then(faultTrees.prepare);
      let resting = 0;
      const show = () => ready.then(() => {
        place.replaceChildren(...results(box.value));
        clearTimeout(resting);
        const list = place.querySelector(".fw-nearest");
        if (list) resting = setTimeout(() => list.append(...nearest(box.value)), REST);
      });
      box.addEventListener("input", show);
      // Pages that are no trees; the pocket file has none, and without their titles trees are found alone.
      if (!faultTrees.pocket) box.addEventListener("focus", () => void faultTrees.fetchScript("pages", () => faultTrees.data.pages).then(faultTrees.prepare).then(show, () => {}), { once: true });
      box.addEventListener("change", () => {
        const kept = faultTrees.record.searches();
        if (kept && box.value.trim() && !faultTrees.find(box.value, 1).length) faultTrees.record.searches([...kept, box.value]);
      });
      box.addEventListener("keydown", (event) => {
        const first = place.querySelector("a");
        if (event.key === "Enter" && first) first.click();
      });
      if (box.value) show();
    });
  });

  /** @param {string[]} matched */
  const told = (matched) => matched.length > 0 && h("span.fw-meta", fill(words.find_matched, { words: matched.join(", ") }));

  /** @param {any} tree @param {string[]} matched */
  const link = (tree, matched) =>
    h("li", h("a", { ft: "find-result", "data-ft-value": tree.id, href: view.root() + tree.url, class: "fw-found-link" }, h("strong", tree.title), told(matched)),
      !tree.url.includes("#") && h("a.fw-found-known", { ft: "find-known", href: view.root() + tree.url + "#known", "aria-label": words.known.title + ": " + tree.title }, words.known.title));

  /** @param {string} text @returns {any[]} trees first, pages after */
  function results(text) {
    if (!text.trim()) return [];
    const found = faultTrees.find(text, SHOWN);
    const { trees } = faultTrees.data.index;
    const entry = (/** @type {string} */ id) => trees.find((/** @type {any} */ tree) => tree.id === id);
    const pages = faultTrees.findPages(text, PAGES).map((page) =>
      h("li", h("a.fw-found-link", { ft: "find-page", href: view.root() + page.tree }, h("strong", page.title), told(page.matched))));
    const others = pages.length ? [h("p.fw-meta", words.find_pages), h("ul.fw-plain", pages)] : [];
    if (found.length) {
      return [h("p.fw-meta", fill(found.length === 1 ? words.find_one : words.find_many, { n: found.length })),
        h("ol.fw-plain", found.map((one) => link(entry(one.tree), one.matched))), ...others];
    }
    return [h("p", words.find_none), h("ul.fw-plain.fw-nearest"), h("p", words.find_escalate), ...others];
  }

  /** Where no word is known: the symptoms that look most alike, by shared groups of three letters. @param {string} text @returns {any[]} */
  function nearest(text) {
    const threes = (/** @type {string} */ of) => new Set([...of.toLowerCase()].map((_, at) => of.toLowerCase().slice(at, at + 3)));
    const wanted = threes(text);
    const likeness = (/** @type {any} */ tree) => Math.max(...[tree.title, ...tree.heard_as].map((said) => {
      const has = threes(said);
      return [...wanted].filter((three) => has.has(three)).length / (has.size + wanted.size);
    }));
    return faultTrees.data.index.trees.map((/** @type {any} */ tree) => ({ tree, like: likeness(tree) })).sort((/** @type {any} */ a, /** @type {any} */ b) => b.like - a.like).slice(0, NEAREST).map((/** @type {any} */ one) => link(one.tree, []));
  }
})();
