/**
 * Fixes with their proof, ends, and how a visit is closed: how the chair is left and what came of it.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { words } = faultTrees;
  const { h, blocks, fill, button } = view;

  Object.assign(view, { fix, done, escalate, closing });

  /** @param {Session} session @param {Gate} gate */
  function fix(session, gate) {
    const { step, tree } = session;
    if (session.proven) return [h("p.fw-band.fw-good", words.proof_passed), leaving(session), closing(session)];
    const spares = step.spares.map((id) => tree.spares[id].name);
    const on = view.way(session, "not-cured", words.not_cured, "not cured");
    const proof = proofList(session, gate, words.cured);
    return [
      h("p.fw-note", spares.length ? words.spares + spares.join(", ") : words.no_spares),
      view.putBack(session),
      proof.box,
      h("div.fw-choices", proof.cured, gate.hold(on)),
      closing(session),
    ];
  }

  /**
   * The proof as a list, each item passed, failed or not fitted, and the button that needs them all.
   * @param {Session} session
   * @param {Gate} gate of the step
   * @param {string} label
   */
  function proofList(session, gate, label) {
    const { step, tree, visit, state } = session;
    const inner = view.gate(gate);
    const results = session.results();
    const proof = (step.proof && tree.proofs[step.proof]) || { title: "", minutes: 0, people: 1, cautions: [], items: [] };
    const standing = h("p.fw-band", { role: "status" });
    const passed = () => proof.items.every((item, at) => results[at] === "passed" || (item.optional && results[at] === "not fitted"));
    const cured = inner.hold(view.way(session, "cured", label, "cured"), passed);
    const show = () => {
      const open = proof.items.filter((_, at) => !results[at]).length;
      const failed = results.includes("failed");
      standing.textContent = failed ? (step.kind === "fix" ? words.proof_failed : words.proof_failed_end) : open ? fill(words.proof_open, { n: open, label }) : words.proof_passed;
      standing.className = "fw-band" + (failed ? " fw-bad" : open ? "" : " fw-good");
      inner.look();
    };
    const items = proof.items.map((item, at) => {
      const text = h("div", { id: "fw_item_" + at }, blocks(item.item));
      /** @type {[ProofResult, string, string, string][]} */
      const kinds = [["passed", words.passed, "proof-item", "✓ "], ["failed", words.failed, "proof-failed", "✗ "]];
      if (item.optional) kinds.push(["not fitted", words.absent, "proof-absent", "– "]);
      const buttons = kinds.map(([result, name, ft, sign]) => inner.hold(button(ft, "proof", [view.icon(sign), name], () => {
        results[at] = result;
        visit.proof = { tree: state.tree, step: state.step, ...session.proof(results) };
        session.save();
        mark();
        show();
        view.shell.strip();
      }, { "data-ft-value": result, "aria-describedby": "fw_item_" + at })));
      const mark = () => buttons.forEach((one, n) => one.setAttribute("aria-pressed", String(results[at] === kinds[n][0])));
      mark();
      return h("li", text, h("div.fw-row", { role: "group", "aria-labelledby": "fw_item_" + at }, buttons));
    });
    const warn = view.cautions(session, proof.cautions, inner, words.proof_cautions);
    show();
    const lead = fill(words.proof_lead, { minutes: view.minutes(proof.minutes), people: proof.people || 1 });
    return { box: h("div.fw-box.fw-prove", h("h2", fill(words.proof_title, { title: proof.title })), h("p.fw-meta", lead), warn, h("ol.fw-plain", items), standing), cured };
  }

  /** @param {Session} session @param {Gate} gate */
  function done(session, gate) {
    const { step, visit } = session;
    const proof = step.proof && !session.proven ? proofList(session, gate, words.proven) : null;
    const untrained = proof && faultTrees.desk.untrained(visit);
    return [
      view.putBack(session),
      untrained ? [h("p.fw-note", words.untrained_fix), view.handOver(session, "choice")] : proof && [proof.box, h("div.fw-choices", proof.cured)],
      leaving(session),
      closing(session),
    ];
  }

  /** @param {Session} session */
  function escalate(session) {
    const { step } = session;
    const bring = (step.bring || []).map((/** @type {string} */ text) => h("li", h("strong", text), fromWalk(session, text)));
    return [
      view.putBack(session),
      view.box(words.bring, bring.length ? h("ul.fw-plain", bring) : []),
      leaving(session),
      closing(session),
    ];
  }

  /** @param {Session} session */
  function leaving(session) {
    return view.box(words.leave, blocks(session.step.leave || []));
  }

  /**
   * What the walk already knows of a thing to have at hand.
   * @param {Session} session
   * @param {string} text
   */
  function fromWalk(session, text) {
    const { fields, steps } = session.visit;
    const match = words.bring_match;
    const about = (/** @type {string} */ name) => match[name].test(text);
    const said = steps.filter((one) => about("steps") || (about("reading") && one.kind === "measure") || (about("lamps") && match.lamps.test(one.text)));
    const lines = faultTrees.record.FIELDS.filter((/** @type {string} */ name) => match[name] && about(name) && (fields[name] || name !== "lamps" || !said.length))
      .map((/** @type {string} */ name) => words.field[name] + ": " + (fields[name] || words.none));
    lines.push(...said.map((one) => one.text + ": " + (one.reading || one.answer)));
    return lines.length ? h("ul", lines.map((/** @type {string} */ one) => h("li", one))) : "";
  }

  /**
   * How the chair is left, what came of it, a remark: at ends open, elsewhere on request.
   * @param {Session} session
   * @param {boolean} [aside] on request wherever the walk stands
   */
  function closing(session, aside) {
    if (session.state.ended && !aside) return view.box(words.end_title, form(session));
    const { opener, body } = view.panel("end-visit", words.end_visit, () => form(session));
    return h("div.fw-end", opener, body);
  }

  /** @param {Session} session */
  function form(session) {
    const { visit } = session;
    const { LEFT, OUTCOMES } = faultTrees.record;
    const { safe, proven, step } = session;
    // A proof that stands out says nothing yet of what will come of it.
    if (!visit.outcome && session.state.ended && (proven || !step.proof)) {
      visit.outcome = step.kind === "fix" ? "cured" : step.kind === "done" ? "nothing found" : "handed over";
    }
    if (!safe && visit.left === "in service") visit.left = null;
    const finish = button("finish", "choice", words.finish, () => {
      if (!visit.left || !visit.outcome) {
        view.shell.say(words.finish_need);
        need.hidden = false;
        return;
      }
      visit.ended = faultTrees.record.now();
      session.save();
      view.shell.record();
    });
    const need = h("p.fw-band.fw-bad", { hidden: true }, words.finish_need);
    const radios = (/** @type {"left" | "outcome"} */ name, /** @type {string[]} */ values, /** @type {string} */ title, /** @type {string[]} */ shut) =>
      view.choiceOf(name, title, values.map((value) => [value, words[name][value]]), visit[name], (value) => {
        visit[name] = value;
        need.hidden = true;
        session.save();
      }, shut);
    return [
      radios("left", LEFT, words.left_title, safe ? [] : ["in service"]),
      !safe && h("p.fw-note", words.left_locked),
      radios("outcome", OUTCOMES, words.outcome_title, proven ? [] : ["cured"]),
      view.visitField(session, "remark"),
      h("p.fw-note", words.privacy),
      need,
      finish,
    ];
  }
})();
