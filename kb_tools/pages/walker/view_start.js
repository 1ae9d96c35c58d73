/**
 * What stands on the site's own pages: the box for a code, open walks, ended visits.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { words } = faultTrees;
  const { h, fill, button } = view;
  const LISTED = 50;

  Object.assign(view, { startPanel, problem });

  /** @param {any} error what an engine or this code threw @returns {string} */
  function problem(error) {
    return words.code_errors[error?.code] || (typeof error?.code === "string" && error.message) || words.broken;
  }

  /** @param {string} message something to say at once */
  function startPanel(message) {
    const { store, record } = faultTrees;
    const status = h("p.fw-band.fw-bad", { role: "alert", hidden: !message }, message);
    const box = h("input", { ft: "resume-box", id: "fw_resume_box", class: "fw-input fw-code-box", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", "aria-describedby": "fw_resume_hint", maxlength: 4000 });
    const tell = (/** @type {string} */ text) => {
      status.textContent = text;
      status.hidden = false;
    };
    const form = h("form", {
      submit: async (/** @type {Event} */ event) => {
        event.preventDefault();
        if (!box.value.trim()) tell(words.resume_empty);
        else await view.shell.open(() => view.session.fromCode(box.value)).catch((error) => tell(problem(error)));
      },
    }, h("label", { for: "fw_resume_box" }, words.resume_label), h("p", { id: "fw_resume_hint", class: "fw-meta" }, words.resume_hint),
    h("div.fw-row", box, h("button", { ft: "resume", class: "fw-tool" }, words.resume)));

    const stored = store.all();
    const visits = /** @type {Visit[]} */ (stored.map(record.clean).filter(Boolean)).sort((a, b) => (a.updated < b.updated ? 1 : -1));
    const unreadable = stored.filter((one) => !record.clean(one));
    const open = visits.filter((visit) => !visit.ended);
    const ended = visits.filter((visit) => visit.ended);
    const saved = ended.filter((visit) => visit.exported && visit.exported >= visit.updated);
    const lists = h("div");
    const wanted = h("input", { id: "fw_find_job", class: "fw-input", autocomplete: "off" });
    const show = () => {
      const fits = (/** @type {Visit} */ visit) => visit.fields.job.toLowerCase().includes(wanted.value.trim().toLowerCase());
      lists.replaceChildren(...[list(words.open_walks, open.filter(fits), tell), list(words.ended_walks, ended.filter(fits), tell)].filter(Boolean));
    };
    wanted.addEventListener("input", show);
    show();
    return h("section.fw-start", { "aria-labelledby": "fw_start_title" },
      h("h2", { id: "fw_start_title", tabindex: "-1" }, words.resume_title),
      form, status,
      !store.kept && h("p.fw-note", words.not_kept),
      visits.length >= record.MANY && h("p.fw-band.fw-bad", fill(words.record_full, { n: visits.length })),
      visits.length > 5 && h("div.fw-field", h("label", { for: "fw_find_job" }, words.find_job), wanted),
      lists,
      unreadable.map((one) => h("p.fw-note", words.unreadable, " ", button(null, "tool", words.delete, () => {
        store.remove(one.id);
        view.shell.page("");
      }))),
      visits.length > 1 && button("export-all", "tool", words.export_all, () => {
        view.download("visits.json", visits.map(record.exported));
        for (const visit of visits) store.put({ ...visit, exported: record.now() });
        view.shell.page("");
      }),
      saved.length > 1 && button("delete-exported", "tool", fill(words.delete_exported, { n: saved.length }), () => {
        for (const visit of saved) store.remove(visit.id);
        view.shell.page("");
      }));
  }

  /**
   * @param {string} title
   * @param {Visit[]} visits newest first
   * @param {(text: string) => void} tell
   */
  function list(title, visits, tell) {
    if (!visits.length) return null;
    const items = visits.slice(0, LISTED).map((visit) => {
      const tree = visit.trees.length ? visit.trees[visit.trees.length - 1].title : visit.start;
      const name = h("span", { id: "fw_visit_" + visit.id }, fill(words.walk_line, { job: visit.fields.job || words.none, tree, when: faultTrees.record.moment(visit.updated) }));
      const go = button("walk-open", "tool", words.resume, () => view.shell.open(() => view.session.fromVisit(visit)).catch((error) => tell(problem(error))), { "aria-describedby": "fw_visit_" + visit.id });
      const show = button("record", "tool", words.record, () => view.shell.record(visit), { "aria-describedby": "fw_visit_" + visit.id });
      return h("li", name, h("div.fw-row", go, show));
    });
    return [h("h3", title, visits.length > LISTED && ` ${LISTED} / ${visits.length}`), h("ul.fw-plain", items)].reduce((box, node) => (box.append(node), box), h("div"));
  }
})();
