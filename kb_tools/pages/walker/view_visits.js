/** The page of today's visits: symptoms picked one by one, kept on the device, and what to take along to all of them. */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { h, fill, button } = view;
  const words = faultTrees.words.day;
  const SHOWN = 8;
  const KEY = "fault-trees day";

  document.addEventListener("DOMContentLoaded", () => {
    const place = document.querySelector("[data-ft-day]");
    if (!place) return;
    faultTrees.fetchScript("visits", () => faultTrees.data.visits).then(faultTrees.wholeIndex).then(() => page(place), () => {});
  });

  /** @returns {string[]} the symptoms of the day, as far as they are still in the library */
  function kept() {
    try {
      return JSON.parse(localStorage.getItem(KEY) || "[]").filter((/** @type {string} */ id) => Object.hasOwn(faultTrees.data.visits.trees, id));
    } catch {
      return [];
    }
  }

  /** @param {any} place */
  function page(place) {
    const data = faultTrees.data.visits;
    const { trees } = faultTrees.data.index;
    const title = (/** @type {string} */ id) => trees.find((/** @type {any} */ tree) => tree.id === id).title;
    let day = kept();
    const said = h("p.fw-meta", { role: "status" });
    const box = h("input.fw-input", { ft: "day-box", id: "fw_day", type: "search", autocomplete: "off", input: find });
    const found = h("ul.ft-plain");
    const list = h("div");

    /** @param {string[]} next @param {string} told */
    function change(next, told) {
      day = next;
      try {
        localStorage.setItem(KEY, JSON.stringify(day));
      } catch {
        told += " " + faultTrees.words.not_kept;
      }
      draw();
      said.textContent = told;
    }

    const adder = (/** @type {string} */ id, /** @type {string} */ label) => button("day-add", "tool", label, () => {
      box.value = "";
      find();
      change([...day, id], fill(words.added, { tree: title(id) }));
    }, { "data-ft-value": id, "aria-label": fill(words.add_named, { tree: title(id) }) });

    function find() {
      found.replaceChildren(...faultTrees.find(box.value, SHOWN).map((one) => h("li", adder(one.tree, one.title))));
    }

    function draw() {
      place.classList.toggle("ft-day-set", day.length > 0);
      list.replaceChildren(...(day.length ? filled() : [h("p", words.empty)]).flat(9).filter(Boolean));
    }

    function filled() {
      const take = faultTrees.takeAlong(data, day);
      const least = take.least ? words.least : "";
      const percent = (/** @type {number} */ share) => least + view.odds(share) + ", " + Math.round(share * 100) + " %";
      const row = ({ item, chance } = take.items[0]) => h("li", data.items[item][1], h("span.ft-note", " · " + view.odds(chance)),
        h("meter", { min: 0, max: 1, value: chance, "aria-hidden": "true" }));
      const packed = take.items.filter((one) => one.packed);
      const rest = take.items.filter((one) => !one.packed);
      return [
        h("h2", fill(words.visits, { n: day.length })),
        h("ol", day.map((id, at) => h("li", title(id), " ", button("day-remove", "tool", words.remove, () => change(day.filter((_, n) => n !== at), fill(words.removed, { tree: title(id) })), { "aria-label": fill(words.remove_named, { tree: title(id) }) })))),
        h("h2", words.take),
        h("p", fill(words.reached, { share: percent(take.cured) }), " ", take.reaches ? words.enough : fill(words.best, { share: percent(take.all) }), " ", take.proven ? words.smallest : ""),
        packed.length > 0 && h("ul.ft-plain.ft-items", packed.map(row)),
        rest.length > 0 && [h("h3", words.rest), h("ul.ft-plain.ft-items", rest.map(row))],
        h("p.ft-note", words.note),
        button("day-print", "tool", faultTrees.words.record_print, () => window.print()), " ",
        button("day-clear", "tool", words.clear, () => change([], words.cleared)),
      ];
    }

    place.append(h("label", { for: "fw_day" }, words.box), box, found, said, list);
    document.querySelectorAll("[data-ft-visit]").forEach((one) => one.append(h("div.fw-day", adder(String(one.getAttribute("data-ft-visit")), words.add))));
    draw();
  }
})();
