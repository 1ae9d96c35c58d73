/**
 * The support desk's screens: safety questions, where an untrained caller stops, and handing over.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { words } = faultTrees;
  const { h, fill, button } = view;

  Object.assign(view, { deskFirst, deskOpen, technicianOnly, handOver });

  /** How many safety questions were asked; empty when all were. @param {Session} session @returns {string} */
  function deskOpen(session) {
    const { desk } = faultTrees;
    const all = desk.questions();
    const n = all.filter((one) => desk.asked(session.visit, one.ask)).length;
    return n < all.length ? fill(words.desk_asked, { n, all: all.length }) : "";
  }

  /**
   * Safety questions, then who is calling.
   * @param {Session} session
   */
  function deskFirst(session) {
    const { desk } = faultTrees;
    const { visit } = session;
    const count = h("p.fw-note", { role: "status" });
    const show = () => (count.textContent = deskOpen(session));
    const asks = desk.questions().map((question, at) => {
      const alert = h("p.fw-stop", { role: "alert" });
      const warn = () => {
        const given = desk.asked(visit, question.ask);
        alert.replaceChildren(...(given && given.bad ? [h("strong", words.desk_bad), view.plain(question.say)] : []));
        alert.hidden = !(given && given.bad);
      };
      const given = desk.asked(visit, question.ask);
      const box = view.choiceOf("desk-" + at, question.ask, [["Yes", words.yes], ["No", words.no]], given && given.answer, (value) => {
        desk.answer(visit, question, value);
        visit.stop_use = session.stopUse();
        session.save();
        warn();
        show();
        view.shell.strip();
      });
      warn();
      return h("div", box, alert);
    });
    show();
    const callers = /** @type {[string, string][]} */ (["user", "carer", "technician"].map((value) => [value, words.who[value]]));
    const caller = view.choiceOf("caller", words.desk_caller, callers, visit.caller, (value) => {
      const before = desk.untrained(visit);
      visit.caller = /** @type {Visit["caller"]} */ (value);
      if (!visit.fields.reported_by) visit.fields.reported_by = value;
      session.save();
      if (before !== desk.untrained(visit)) view.shell.step(false);
    });
    return h("section.fw-found", { "aria-labelledby": "fw_desk_title" },
      h("h2", { id: "fw_desk_title", tabindex: "-1" }, words.desk_title), h("p", words.desk_lead), asks, count, caller,
      ["job", "reported", "lamps"].map((name) => view.visitField(session, name)),
      button("found-skip", "ack", words.found_skip, () => view.shell.closeFirst()));
  }

  /**
   * Where an untrained caller stops: what was found, stop-use advice, and the hand-over.
   * @param {Session} session
   */
  function technicianOnly(session) {
    const { visit, step, state, tree } = session;
    const answers = visit.steps.map((one) => h("li", session.asked(one), " ", h("strong", one.answer)));
    const causes = state.causes.slice(0, 3).map((one) => fill(words.likely, { cause: tree.steps[one.id].text, odds: view.odds(one.odds) }));
    const advice = session.stopUse();
    return h("div", null,
      h("p", fill(words.desk_stop_lead, { step: step.text })),
      step.say && h("p", h("strong", words.desk_bad), step.say),
      h("div.fw-box", h("h2", words.desk_found), answers.length ? h("ul", answers) : h("p", words.nothing_yet),
        causes.length > 0 && h("p.fw-meta", fill(words.unsure_causes, { causes: causes.join("; ") }))),
      advice.length > 0 && h("p.fw-stop", words.desk_say_stop),
      h("p", fill(words.desk_say_ref, { job: visit.fields.job })),
      handOver(session, "choice"),
      view.closing(session));
  }

  /**
   * The button that opens the hand-over.
   * @param {Session} session
   * @param {string} kind class of the button
   * @returns {any[]} the button and what it opens
   */
  function handOver(session, kind) {
    const { opener, body } = view.panel("hand-over", words.hand_over, () => handed(session));
    opener.className = "fw-" + kind;
    return [opener, body];
  }

  /** @param {Session} session @returns {any} the walk code in groups to read out, and the link where there is one */
  function handed(session) {
    const link = session.link();
    const copy = (/** @type {string} */ text) => button("copy", "tool", words.hand_copy, () => view.shell.copy(text));
    return h("div.fw-box.fw-hand",
      h("h2", { tabindex: "-1" }, words.hand_over), h("p", words.hand_code),
      h("output", { ft: "code", class: "fw-code" }, session.visit.code), copy(session.visit.code),
      link && [h("p", words.hand_link), h("p.fw-link", h("a", { href: link }, link)), copy(link)],
      session.state.isolated.length > 0 && h("p.fw-note", words.hand_isolated),
      session.visit.desk.map((one) => one.stop_use && h("p.fw-note", fill(words.hand_stop_use, { text: one.stop_use }))));
  }
})();
