/**
 * A page of a preview: shows the library's findings at the steps where they belong, and follows the
 * author's edits without losing the reader's place.
 */
(function () {
  "use strict";

  const OWN = "/_preview/";
  const PLACE = "ft-preview-place";
  const script = /** @type {HTMLScriptElement} */ (document.currentScript);
  let number = Number(script.dataset.number);

  /** @typedef {{severity: string, rule: string, place: string, text: string, path: string[], tree: string, step: string}} Found */

  /**
   * @param {string} tag with classes, as in `p.quiet`
   * @param {...(string | Node)} children
   */
  function h(tag, ...children) {
    const [name, ...classes] = tag.split(".");
    const element = document.createElement(name);
    element.className = classes.join(" ");
    element.append(...children);
    return element;
  }

  /** The tree that this page shows. */
  function shownTree() {
    const tree = document.querySelector("[data-ft-tree]");
    return (tree && tree.getAttribute("data-ft-tree")) || (location.pathname.match(/\/trees\/([^/]+)\.html$/) || ["", ""])[1];
  }

  /** @param {Found} one @param {boolean} linked */
  function item(one, linked) {
    const line = h("li.ft-found-" + one.severity, h("strong", one.severity), " ", one.text, " ", h("code", one.rule), " ", h("span", one.place));
    if (one.path.length) line.append(" ", h("span", one.path.join(" → ")));
    if (linked && one.tree) {
      const link = /** @type {HTMLAnchorElement} */ (h("a", one.step ? "Show the step" : "Show the tree"));
      link.href = "/trees/" + one.tree + ".html" + (one.step ? "#" + one.step : "");
      line.append(" ", link);
    }
    return line;
  }

  /** @param {Found[]} found */
  function list(found, linked = false) {
    return h("ul", ...found.map((one) => item(one, linked)));
  }

  /** What stands near the top of the window: it is to stay there. */
  function mark() {
    const marks = [...document.querySelectorAll(".ft-page section[id], .ft-page h2[id]")];
    const at = marks.filter((one) => one.getClientRects().length && one.getBoundingClientRect().top < innerHeight / 3).pop();
    return { id: at ? at.id : "", above: at ? at.getBoundingClientRect().top : 0 };
  }

  /** Show findings, without moving what is being read. @param {Found[]} found */
  function show(found) {
    const { id, above } = mark();
    draw(found);
    const at = id && scrollY ? document.getElementById(id) : null;
    if (at) scrollBy({ top: at.getBoundingClientRect().top - above, behavior: "instant" });
  }

  /** @param {Found[]} all findings, and hints, which stand at their steps only */
  function draw(all) {
    document.querySelectorAll("[data-ft-preview]:not(.ft-preview-old)").forEach((old) => old.remove());
    const page = document.querySelector(".ft-page");
    if (!page) return;
    const tree = shownTree();
    const found = all.filter((one) => one.severity !== "hint");
    const here = found.filter((one) => tree && one.tree === tree);
    /** @type {Map<string, Found[]>} */
    const steps = new Map();
    for (const one of all) {
      if (one.tree === tree && one.step) steps.set(one.step, [...(steps.get(one.step) || []), one]);
    }
    for (const [step, ones] of steps) {
      const section = document.getElementById(step);
      const title = section && section.querySelector("h3");
      const box = h("div.ft-preview-step", list(ones));
      box.dataset.ftPreview = "step";
      if (title) title.after(box);
    }
    if (!found.length) return;
    const errors = found.filter((one) => one.severity === "error").length;
    const told = errors ? errors + (errors === 1 ? " error" : " errors") + (found.length > errors ? ", " + (found.length - errors) + " to look at" : "") : found.length + " to look at";
    const rest = found.filter((one) => !here.includes(one));
    const top = h("div.ft-preview-top", h("p", h("strong", told + " in the library")));
    top.dataset.ftPreview = "top";
    if (here.length) top.append(h("p", "In this tree:"), list(here, true));
    if (rest.length) {
      const more = h("details", h("summary", here.length ? rest.length + " elsewhere" : "All of them"), list(rest, true));
      /** @type {HTMLDetailsElement} */ (more).open = !here.length && rest.length < 6;
      top.append(more);
    }
    page.prepend(top);
  }

  /** Keep where the reader is: what stands at the top of the window, and what was opened. */
  function keepPlace() {
    const { id, above } = mark();
    const place = {
      page: location.pathname,
      mark: id,
      above,
      scrolled: scrollY,
      open: [...document.querySelectorAll("details")].map((one) => one.open),
      walks: Boolean(document.querySelector("[data-ft-current]")),
    };
    sessionStorage.setItem(PLACE, JSON.stringify(place));
    history.scrollRestoration = "manual";
  }

  /** Go back to where the reader was; an open walk comes back by itself, from the address. */
  function findPlace() {
    const kept = sessionStorage.getItem(PLACE);
    sessionStorage.removeItem(PLACE);
    const place = kept && JSON.parse(kept);
    if (!place || place.page !== location.pathname) return;
    const all = document.querySelectorAll("details");
    if (all.length === place.open.length) all.forEach((one, at) => (one.open = place.open[at]));
    let tries = 40;
    const go = () => {
      const walk = document.querySelector("[data-ft-current]");
      if (place.walks && !walk && tries-- > 0) {
        setTimeout(go, 50);
        return;
      }
      const at = !place.walks && place.mark ? document.getElementById(place.mark) : null;
      scrollTo({ top: at ? scrollY + at.getBoundingClientRect().top - place.above : place.scrolled, behavior: "instant" });
    };
    go();
    // What the walk puts in, and pictures, arrive later and move what is below them, until somebody scrolls.
    const again = [50, 200, 500, 1000].map((wait) => setTimeout(go, wait));
    const leave = () => again.forEach((timer) => clearTimeout(timer));
    for (const act of ["wheel", "touchstart", "keydown", "pointerdown"]) addEventListener(act, leave, { once: true, passive: true });
    setTimeout(() => (history.scrollRestoration = "auto"), 1000);
  }

  /** @param {string[]} changed addresses from the site's root */
  async function take(changed) {
    await findings();
    const page = decodeURIComponent(location.pathname.slice(1)) || "index.html";
    const walks = document.querySelector("[data-ft-current]");
    const used = [...document.scripts].map((one) => one.src).filter(Boolean).map((address) => new URL(address).pathname.slice(1));
    const finder = document.querySelector("[data-ft-finder]");
    const data = used.filter((address) => walks || finder || !/^kb\/(index|visits)\.js$/.test(address));
    if (!changed.some((address) => address === "*" || address === page || data.includes(address))) return;
    const answer = await fetch(location.pathname, { method: "HEAD" });
    if (!answer.ok) {
      // The tree cannot be read at the moment, or is gone: what stands here stays.
      const old = h("p.ft-preview-old", "This page shows how it was: there is no such page now.");
      old.dataset.ftPreview = "old";
      const top = document.querySelector(".ft-page");
      if (top && !top.querySelector(".ft-preview-old")) top.prepend(old);
      return;
    }
    keepPlace();
    location.reload();
  }

  async function findings() {
    const answer = await fetch(OWN + "findings.json");
    show(await answer.json());
  }

  async function follow() {
    for (;;) {
      try {
        const answer = await fetch(OWN + "changes?since=" + number);
        const news = await answer.json();
        // A server that was started anew counts from the beginning.
        const again = news.number < number;
        const old = number;
        number = news.number;
        if (again) await take(["*"]);
        else if (number > old) await take(news.changed);
      } catch {
        await new Promise((done) => setTimeout(done, 1000));
      }
    }
  }

  addEventListener("DOMContentLoaded", async () => {
    await findings().catch(() => undefined);
    findPlace();
    void follow();
  });
})();
