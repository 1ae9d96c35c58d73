/**
 * The pocket file: unpacks what the one page carries, and shows one tree at a time.
 *
 * The data lie in the page as base 64 of a raw DEFLATE stream (RFC 1951); every browser of the last
 * years unpacks that by itself. Drawings are our own SVG, parsed as XML and never as HTML text.
 */
(function () {
  "use strict";

  const faultTrees = (window.faultTrees = window.faultTrees || {});
  faultTrees.pocket = true;
  /** @type {Record<string, string[]>} */
  let drawings = {};

  async function unpack() {
    const packed = /** @type {HTMLElement} */ (document.getElementById("ft-pocket-data")).textContent || "";
    const bytes = Uint8Array.from(atob(packed.trim()), (char) => char.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
    const carried = JSON.parse(await new Response(stream).text());
    faultTrees.data = { index: carried.index, trees: carried.trees };
    faultTrees.pictures = carried.pictures;
    drawings = carried.drawings;
  }

  function follow() {
    const named = location.hash.startsWith("#tree-") ? location.hash.slice(6) : "";
    const id = named && faultTrees.today(named).tree;
    // What an earlier edition called otherwise, as the site's pages lead on from old addresses.
    if (id !== named) history.replaceState(history.state, "", "#tree-" + id);
    const place = location.hash.length > 1 ? document.getElementById(location.hash.slice(1)) : null;
    const chosen = document.querySelector('[data-ft-tree="' + CSS.escape(id) + '"]') || (place && place.closest("[data-ft-figures]"));
    // An open walk hides the rest of the page; a table that it leads to is looked at meanwhile.
    document.body.classList.toggle("fp-figures", Boolean(chosen && chosen.matches("[data-ft-figures]")));
    if (location.hash.length > 1 && !chosen && location.hash !== "#home") return;
    document.querySelectorAll("[data-ft-tree], [data-ft-figures]").forEach((section) => section.toggleAttribute("hidden", section !== chosen));
    /** @type {HTMLElement} */ (document.getElementById("home")).toggleAttribute("hidden", Boolean(chosen));
    if (!chosen) return;
    draw(chosen, id);
    window.scrollTo(0, 0);
    if (place && place !== chosen) {
      // Hidden when the browser looked for it, so that it neither scrolled there nor marked it.
      place.scrollIntoView({ block: "center" });
      return;
    }
    const heading = /** @type {HTMLElement} */ (chosen.querySelector("h1"));
    heading.focus({ preventScroll: true });
  }

  /** @param {Element} section @param {string} id */
  function draw(section, id) {
    const place = section.querySelector("[data-ft-drawings]");
    if (!place || place.firstChild) return;
    for (const text of drawings[id] || []) {
      const svg = document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true);
      // The steps are walked here, not listed: the drawing's links would lead nowhere.
      svg.querySelectorAll("a").forEach((link) => link.removeAttribute("href"));
      const box = document.createElement("div");
      box.className = "ft-scroll";
      box.tabIndex = 0;
      box.setAttribute("role", "region");
      box.setAttribute("aria-label", svg.getAttribute("aria-label") || "");
      box.append(svg);
      const figure = document.createElement("figure");
      figure.className = "ft-chart";
      figure.append(box);
      place.append(figure);
    }
  }

  function colours() {
    const dark = window.matchMedia("(prefers-color-scheme: dark)");
    const set = () => document.documentElement.setAttribute("data-md-color-scheme", dark.matches ? "slate" : "default");
    dark.addEventListener("change", set);
    set();
  }

  colours();
  /** What the walk waits for before it starts. */
  faultTrees.ready = new Promise((resolve, reject) => {
    document.addEventListener("DOMContentLoaded", () => unpack().then(resolve, reject));
  });
  faultTrees.ready.then(follow, () => {
    /** @type {HTMLElement} */ (document.getElementById("ft-pocket-broken")).removeAttribute("hidden");
  });
  window.addEventListener("hashchange", follow);
})();
