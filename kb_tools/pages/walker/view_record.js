/**
 * The visit record on the screen, and what leaves the device: text, file, paper.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { words } = faultTrees;
  const { h, fill, button } = view;

  Object.assign(view, { recordScreen, download });

  /**
   * Offer a text as a file.
   * @param {string} name
   * @param {unknown} data
   */
  function download(name, data) {
    const url = URL.createObjectURL(new Blob([JSON.stringify(data, null, 2) + "\n"], { type: "application/json" }));
    const link = h("a", { href: url, download: name });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
  }

  /**
   * @param {Visit} visit
   * @param {{back: (() => void) | null, close: () => void}} ways
   */
  function recordScreen(visit, ways) {
    const { record, store } = faultTrees;
    const saved = h("p.fw-note", { role: "status" }, visit.exported ? fill(words.record_saved, { time: record.moment(visit.exported) }) : "");
    const left = () => {
      visit.exported = record.now();
      saved.textContent = fill(words.record_saved, { time: record.moment(visit.exported) });
      store.put(visit);
    };
    const save = () => {
      visit.updated = record.now();
      store.put(visit);
    };
    const searches = h("input", { type: "checkbox", ft: "searches", checked: !!record.searches(), change: () => {
      record.searches(searches.checked ? [] : null);
      if (searches.checked || !visit.searches.length) return;
      visit.searches = [];
      save();
      view.shell.record(visit);
    } });
    const field = (/** @type {string} */ name) => view.visitField({ visit, save }, name);
    const parts = record.sections(visit).map((/** @type {any} */ part) => [h("dt", part.head), part.lines.map((/** @type {string} */ line) => h("dd", line))]);
    const screen = h("section.fw-record", { "aria-labelledby": "fw_record_title" });
    const gone = () => {
      store.remove(visit.id);
      screen.replaceChildren(h("p", { role: "status", tabindex: "-1" }, words.record_deleted), h("div.fw-choices",
        button("record-undo", "tool", words.record_undo, () => {
          store.put(visit);
          view.shell.record(visit);
        }), button("close", "tool", words.close, ways.close)));
      screen.firstChild.focus();
    };
    screen.append(
      h("h1", { id: "fw_record_title", tabindex: "-1" }, words.record_title),
      h("p.fw-note.fw-screen", words.privacy),
      h("p.fw-note.fw-screen", store.kept ? words.kept : words.not_kept),
      h("div.fw-fields", field("job"), h("div.fw-pair", field("chair_revision"), field("chair_serial")),
        h("div.fw-pair", field("kit_revision"), field("kit_serial")), field("remark")),
      h("dl", parts),
      h("label.fw-radio.fw-screen", searches, h("span", words.searches)),
      h("div.fw-tools",
        button("record-copy", "tool", words.record_copy, () => {
          left();
          view.shell.copy(record.text(visit));
        }),
        button("record-file", "tool", words.record_json, () => {
          view.download("visit-" + (visit.fields.job || visit.id).replace(/[^\w-]+/g, "_") + ".json", record.exported(visit));
          left();
        }),
        button("record-print", "tool", words.record_print, () => {
          left();
          window.print();
        }),
        button("record-delete", "tool", words.record_delete, gone)),
      saved,
      h("div.fw-choices", ways.back && button("record-back", "choice", words.record_back, ways.back), button("close", "choice", words.close, ways.close)));
    return screen;
  }
})();
