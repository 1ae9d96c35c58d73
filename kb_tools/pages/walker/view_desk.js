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

  Object.assign(view, { deskFirst, deskAsk, technicianOnly, handOver });

  /** How many safety questions were asked; empty when all were. @param {Visit} visit @returns {string} */
  function counted(visit) {
    const { desk } = faultTrees;
    const open = desk.open(visit).length;
    const all = desk.questions().length;
    return open ? fill(words.desk_asked, { n: all - open, all }) : "";
  }

  /**
   * The safety questions that were not asked, by name, and the way on without them.
   * @param {Session} session
   * @param {() => void} onward
   * @param {...any} more other buttons
   */
  function unasked({ visit, save }, onward, ...more) {
    const skip = button("desk-skip", "tool", words.desk_skip, () => {
      visit.desk_told = true;
      save();
      onward();
    });
    return [h("h2", { tabindex: "-1" }, words.desk_unasked), h("ul", faultTrees.desk.open(visit).map((/** @type {string} */ ask) => h("li", ask))), more, skip];
  }

  /** What stands before a step while safety questions are open: once all of them by name, then their number. @param {Session} session */
  function deskAsk(session) {
    const { visit } = session;
    const { openFound, step } = view.shell;
    const text = counted(visit);
    if (!text || visit.desk_told) return text && view.ask(text, "desk-open", words.desk_ask, openFound);
    return h("section.fw-ask.fw-unasked", unasked(session, () => step(true), button("desk-open", "tool", words.desk_ask, openFound)));
  }

  /**
   * Safety questions, then who is calling.
   * @param {Session} session
   */
  function deskFirst(session) {
    const { desk } = faultTrees;
    const { visit } = session;
    const count = h("p.fw-note", { role: "status" });
    const notice = h("div.fw-ask", { role: "alert", hidden: true });
    const { closeFirst } = view.shell;
    const show = () => {
      count.textContent = counted(visit);
      if (!count.textContent) notice.hidden = true;
      if (!notice.hidden) notice.replaceChildren(...unasked(session, closeFirst).flat());
      skip.hidden = !notice.hidden;
    };
    const skip = button("found-skip", "ack", words.found_skip, () => {
      notice.hidden = visit.desk_told;
      show();
      if (notice.hidden) closeFirst();
    });
    const asks = desk.questions().map((question, at) => {
      const alert = h("p.fw-stop", { role: "alert" });
      const warn = () => {
        const given = desk.asked(visit, question.ask);
        alert.replaceChildren(...(given?.bad ? [h("strong", words.desk_bad), view.plain(question.say)] : []));
        alert.hidden = !given?.bad;
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
      skip, notice);
  }

  /**
   * Where an untrained caller stops: what was found, stop-use advice, and the hand-over.
   * @param {Session} session
   */
  function technicianOnly(session) {
    const { visit, step, state, tree } = session;
    const answers = visit.steps.map((one) => h("li", session.asked(one), " ", h("strong", session.told(one))));
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
    const { undone } = session.visit;
    const copy = (/** @type {string} */ text) => button("copy", "tool", words.hand_copy, () => view.shell.copy(text));
    return h("div.fw-box.fw-hand",
      h("h2", { tabindex: "-1" }, words.hand_over), h("p", words.hand_code),
      h("output", { ft: "code", class: "fw-code" }, session.visit.code), copy(session.visit.code),
      link && [h("p", words.hand_link), h("p.fw-link", h("a", { href: link }, link)), copy(link)],
      session.state.isolated.length > 0 && h("p.fw-note", words.hand_isolated),
      [...session.visit.desk.flatMap((one) => one.stop_use || []), ...view.guesses(session).map((one) => one.text), undone.length ? fill(words.taken_back, { hazards: session.named(undone) }) : []].flat().map((text) => h("p.fw-note", fill(words.hand_tell, { text }))));
  }
})();
