/**
 * Support-desk mode: whose hands are at the chair, what may be asked of them, and in which words.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});

  faultTrees.desk = { untrained, mayDo, beside, question, choice, questions, answer, asked, open };

  const HANDS = ["check", "measure", "do", "fix"];

  /** Until somebody says that a technician is calling, the caller counts as untrained. @param {Visit} visit */
  function untrained(visit) {
    return visit.mode === "desk" && visit.caller !== "technician";
  }

  /**
   * Whether this step may be asked of whoever is at the chair. Ends and links are told, not done.
   * @param {Visit} visit
   * @param {Step} step
   */
  function mayDo(visit, step) {
    return !untrained(visit) || !technicians(step);
  }

  /** @param {Step} step */
  function technicians(step) {
    return step.who !== "anyone" && HANDS.includes(step.kind);
  }

  /**
   * What the desk itself reads where the plain words are for the caller: at an end whom the case goes to,
   * and a technician's step in its own words.
   * @param {Visit} visit
   * @param {Step} step
   * @returns {string}
   */
  function beside(visit, step) {
    if (visit.mode !== "desk" || !step.say) return "";
    if (step.kind === "escalate" || step.kind === "done") return step.text;
    return technicians(step) ? faultTrees.words.for_technician.replace("{text}", () => step.text) : "";
  }

  /** @param {Visit} visit @param {Step} step @returns {string} */
  function question(visit, step) {
    return (visit.mode === "desk" && step.say) || step.text;
  }

  /** @param {Visit} visit @param {Way} way @returns {string} */
  function choice(visit, way) {
    return (visit.mode === "desk" && way.say) || way.label;
  }

  /** @returns {{ask: string, bad: string, say: string, stop_use: any}[]} the safety questions, in their order */
  function questions() {
    return faultTrees.data.index?.desk || [];
  }

  /** @param {Visit} visit @param {string} ask */
  function asked(visit, ask) {
    return visit.desk.find((one) => one.ask === ask) || null;
  }

  /** The safety questions that were not asked. @param {Visit} visit @returns {string[]} */
  function open(visit) {
    return questions().map(({ ask }) => ask).filter((ask) => !asked(visit, ask));
  }

  /**
   * Note an answer to a safety question; a later answer takes an earlier one's place.
   * @param {Visit} visit
   * @param {{ask: string, bad: string, say: string, stop_use: any}} question
   * @param {string} given `Yes` or `No`
   */
  function answer(visit, question, given) {
    const bad = given === question.bad;
    const stop = bad && question.stop_use ? faultTrees.view.plain(question.stop_use) : null;
    visit.desk = visit.desk.filter((one) => one.ask !== question.ask);
    visit.desk.push({ ask: question.ask, answer: given, bad, say: question.say, stop_use: stop, at: faultTrees.record.now() });
  }
})();
