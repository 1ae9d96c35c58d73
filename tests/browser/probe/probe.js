/** What the harness looks at to know that it drives a page. */
(() => {
  "use strict";
  /** @param {string} id @returns {HTMLElement} */
  const element = (id) => {
    const found = document.getElementById(id);
    if (!found) throw new Error(`no ${id}`);
    return found;
  };
  const shown = element("counted");
  element("ran").textContent = "script has run";
  element("count").addEventListener("click", () => {
    shown.textContent = String(Number(shown.textContent) + 1);
  });
  element("count").addEventListener("touchstart", () => {
    element("touched").textContent = "touched";
  });
  element("name").addEventListener("input", (event) => {
    element("typed").textContent = /** @type {HTMLInputElement} */ (event.target).value;
  });
  document.addEventListener("keydown", (event) => {
    element("key").textContent = (event.shiftKey ? "Shift+" : "") + event.key;
  });
})();
