/**
 * Starting from what is already known: answers and readings stated in any order, the causes that are
 * then still possible, and the walk from the deepest step that they determine.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const words = faultTrees.words.known;
  const { h, fill } = view;

  view.known = known;

  /** Whether the walk asks this step itself, whatever was stated. @param {Step} step */
  function again(step) {
    return step.exposes.length + step.works_live.length + step.cautions.length > 0 || step.ways.some((way) => way.isolates.length + way.confirms.length + way.restores.length > 0);
  }

  /**
   * @param {Session} session at its first step
   * @returns {any} the section to state facts in
   */
  function known(session) {
    const { tree, visit, walk } = session;
    const gate = view.gate();
    /** @type {Record<string, string>} */
    const facts = {};
    const result = h("div.fw-box.fw-sum", { role: "status" });
    const go = gate.hold(view.button("known-go", "choice", words.go, () => view.shell.act(() => session.tell(facts))), () => !result.querySelector(".fw-bad"));

    function show() {
      const bad = Object.entries(facts).map(([id, text]) => view.doubt(tree.steps[id], text)).find(Boolean);
      const causes = bad ? [] : walk.known(facts);
      let told = [h("p.fw-bad", bad || words.none)];
      if (causes.length) {
        const ahead = faultTrees.start(tree.id);
        ahead.cautionsDue().forEach((caution) => ahead.acknowledge(caution));
        const { trail, step } = ahead.jump(facts);
        told = [h("p", fill(trail.length ? words.at : words.start, { step: view.stepName(session, step) })),
          h("details", { open: result.querySelector("[open]") }, h("summary", fill(faultTrees.words.standing, { n: causes.length }) + " · " + view.likely(session, causes[0])), h("ul", causes.slice(1).map((one) => h("li", view.likely(session, one)))))];
      }
      result.replaceChildren(...told);
      gate.look();
    }

    /** @param {[string, Step]} entry @param {number} at */
    function fact([id, step], at) {
      const name = "fw_fact_" + at;
      const kept = { id: name, ft: "fact", "data-ft-value": id, class: "fw-input" };
      const set = (/** @type {string} */ text) => {
        if (text) facts[id] = text;
        else delete facts[id];
        show();
      };
      const unit = view.unit(step.unit);
      const input = step.kind === "measure"
        ? h("input", { ...kept, inputmode: "decimal", autocomplete: "off", maxlength: 40, change: () => set(input.value.trim() && (/[a-z°Ω%]/i.test(input.value) ? input.value : input.value + " " + unit).trim()) })
        : h("select", { ...kept, change: () => set(input.value) }, h("option", { value: "" }, words.unknown),
          step.ways.filter((way) => way.via !== "unsure").map((way) => h("option", { value: way.label }, session.label(way))));
      return h("div.fw-field", h("label", { for: name }, faultTrees.desk.question(visit, step), unit && ` (${unit})`, again(step) && h("span.fw-meta", " " + words.again)), input);
    }

    const asked = Object.entries(tree.steps).filter(([, step]) => (step.kind === "check" || step.kind === "measure") && faultTrees.desk.mayDo(visit, step)).sort(([, a], [, b]) => a.n - b.n);
    show();
    return h("section.fw-step.fw-known", { "aria-labelledby": "fw_known" },
      view.cautions(session, walk.cautionsDue(), gate, faultTrees.words.caution_label),
      h("h1", { id: "fw_known", tabindex: "-1" }, words.title), h("p", words.lead), asked.map(fact), result,
      h("p.fw-note.fw-shut", words.caution), go);
  }
})();
