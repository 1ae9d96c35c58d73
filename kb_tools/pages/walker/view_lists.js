/**
 * What stands around the step: what is isolated, stop-use advice, where one stands, the trail, and
 * the chair as found.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { words } = faultTrees;
  const { h, fill, button } = view;
  const LONG = ["lamps", "settings", "reported", "remark"];

  Object.assign(view, { visitField, strip, standing, trail, found, assumed, guesses });

  /** @param {Session} session @returns {any[]} what stays on the screen: isolations and stop-use advice */
  function strip(session) {
    const named = session.named(session.isolated());
    const { undone } = session.visit;
    const advice = session.stopUse();
    return [
      advice.length > 0 && h("div.fw-stop", h("strong", session.safe ? words.stop_use_until : words.stop_use), advice.map((text) => h("p", text))),
      named.length > 0 && h("p.fw-isolated", h("strong", session.walk.asksAgain().length ? words.isolated_doubt : words.isolated_now), named),
      undone.length > 0 && view.ask(fill(words.taken_back, { hazards: session.named(undone) }), "is-back", words.is_back, () => {
        session.visit.undone = [];
        session.save();
        view.shell.step(true);
      }),
    ].filter(Boolean);
  }

  /** Where one stands; one for all steps, for a browser makes such an element slowly. */
  const open = h("details.fw-standing", h("summary"), h("ul"));

  /** @param {Session} session @returns {any} causes still possible with odds in words, minutes left and at worst */
  function standing(session) {
    const { minutes, ended } = session.state;
    const causes = session.causes();
    if (ended) return "";
    const left = fill(words.time_left, { minutes: view.minutes(minutes.expected), worst: view.minutes(minutes.worst) });
    if (causes.length === 1) return h("p.fw-standing", fill(words.standing_one, { cause: view.stepName(session, causes[0].id) }), " · ", left);
    if (!causes.length) return h("p.fw-standing", left);
    const [summary, list] = open.children;
    open.open = false;
    summary.textContent = fill(words.standing, { n: causes.length }) + " · " + left;
    // Shut as it is, the list can wait until the browser has drawn the step.
    setTimeout(() => list.replaceChildren(...causes.map((one) => h("li", view.likely(session, one)))));
    return open;
  }

  /** @param {Session} session @returns {{at: number, text: string}[]} answers that were not known, from 0, each as a sentence */
  function guesses({ visit }) {
    return visit.steps.flatMap((one, at) => (one.assumed ? [{ at, text: fill(words.assumed_at, { n: at + 1, answer: one.answer }) }] : []));
  }

  /** @param {Session} session @returns {any[]} answers that were not known, each with the way back to it */
  function assumed(session) {
    return guesses(session).map(({ at, text }) => view.ask(text, "come-back", fill(words.come_back, { n: at + 1 }), () => view.shell.act(() => session.reopen(at))));
  }

  /** The trail on the screen; what has not changed stays there, so that a step costs no more late in a walk. */
  const drawn = { of: /** @type {Session | null} */ (null), mode: "", list: h("ol.fw-plain"), told: /** @type {RecordStep[]} */ ([]) };

  /** @param {Session} session @returns {any} the answered steps, each of which can be opened again */
  function trail(session) {
    const { steps, mode } = session.visit;
    if (!steps.length) return "";
    if (drawn.of !== session || drawn.mode !== mode) Object.assign(drawn, { of: session, mode, list: h("ol.fw-plain"), told: [] });
    const { list, told } = drawn;
    const same = steps.findIndex((one, at) => told[at] !== one);
    told.length = same < 0 ? steps.length : same;
    while (list.children.length > told.length) list.lastChild.remove();
    for (const one of steps.slice(told.length)) {
      const n = told.push(one);
      list.append(h("li", button("trail", "trail", [h("span.fw-trail-step", n + ". " + session.asked(one)), h("strong", session.told(one))],
        () => view.shell.act(() => session.reopen(n - 1)), { "data-ft-value": one.tree + "/" + one.step })));
    }
    return list.parentNode || h("section.fw-trails", { "aria-labelledby": "fw_trail_title" }, h("h2", { id: "fw_trail_title" }, words.trail), list);
  }

  /** A text field of the visit, stored as it is typed. @param {Session} session @param {string} name */
  function visitField({ visit, save }, name) {
    return view.field(name, visit.fields[name], (value) => {
      visit.fields[name] = value;
      save();
    }, LONG.includes(name));
  }

  /**
   * The chair as found, noted before anything is switched off; nothing in it is a must.
   * @param {Session} session
   * @param {() => void} onward
   */
  function found(session, onward) {
    const { fields } = session.visit;
    const field = (/** @type {string} */ name) => view.visitField(session, name);
    return h("section.fw-found", { "aria-labelledby": "fw_found_title" },
      h("h2", { id: "fw_found_title", tabindex: "-1" }, words.found_title),
      h("p", words.found_lead),
      button("found-skip", "ack", words.found_skip, onward),
      field("job"), field("lamps"), field("settings"), field("reported"),
      view.choiceOf("reported-by", words.field.reported_by, Object.entries(words.who), fields.reported_by, (value) => {
        fields.reported_by = value;
        session.save();
      }),
      h("div.fw-pair", field("chair_revision"), field("chair_serial")),
      h("div.fw-pair", field("kit_revision"), field("kit_serial")),
      h("p.fw-note", words.privacy),
      button(null, "ack", words.found_skip, onward));
  }
})();
