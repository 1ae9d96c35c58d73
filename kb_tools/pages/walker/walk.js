/**
 * The engine: one run through the trees, over `stand.js`. It asks nothing of the page and knows no clock; whatever
 * it is given either fits, or it throws an error with a `code` and changes nothing.
 *
 * The twin of `model/walk.py`; `tests/in_step` holds the two together.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const { problem, reading, stepOf, today, treeOf } = faultTrees;
  const { causes, choices, endOf, reach } = faultTrees.stand;
  const QUESTIONS = ["check", "measure"];

  Object.assign(faultTrees, { start, walkFrom });

  /** One run through the trees. */
  class Walk {
    /** @type {string} */ #first;
    /** @type {Picked[]} */ #picks = [];
    /** @type {Ack[]} */ #acks = [];
    /** Hazards whose isolation is to be asked again. @type {string[]} */ #doubted = [];
    /** After how many answers somebody took the walk over who has not read the present tree's cautions; -1: nobody. */ #taken = -1;
    /** Where the answers lead, worked out once: a row of answers is replaced, never changed. @type {Reached | null} */ #reached = null;

    /** @param {string} first @param {Picked[]} [picks] @param {Ack[]} [acks] */
    constructor(first, picks = [], acks = []) {
      this.#first = first;
      this.#picks = picks;
      this.#acks = acks;
      const { tree, isolated } = this.#stand();
      this.#doubted = isolated;
      if (tree.cautions.some((caution) => !acks.some((ack) => ack.tree === tree.id && ack.caution === caution))) this.#taken = picks.length;
    }

    #stand() {
      return this.#here().stand;
    }

    #here() {
      if (!this.#reached || this.#reached.picks !== this.#picks) this.#reached = reach(this.#first, this.#picks);
      return this.#reached;
    }

    #causes() {
      const here = this.#here();
      return (here.causes = here.causes || causes(here.stand, here.picks));
    }

    /** @returns {WalkState} */
    state() {
      const stand = this.#stand();
      const { step } = stand;
      const last = stand.advice[stand.advice.length - 1];
      return {
        tree: stand.tree.id,
        step: stand.id,
        kind: step.kind,
        trail: this.#trail(),
        causes: [...this.#causes()],
        minutes: stand.cured ? { expected: 0, worst: 0, waiting: 0 } : { expected: step.left, worst: step.worst, waiting: step.waiting },
        isolated: [...stand.isolated],
        stop_use: last ? last.text : null,
        advice: [...stand.advice],
        ended: endOf(stand),
      };
    }

    /** @returns {TrailEntry[]} */
    #trail() {
      return this.#picks.map((one) => ({ tree: one.tree, step: one.step, value: one.value, answer: wayOf(one).label }));
    }

    /**
     * Answer the present step: an answer's text, a reading, `done` or `cannot`, `cured` or `not cured`, `go`.
     * @param {string} step
     * @param {string | number} value
     * @returns {WalkState}
     */
    answer(step, value) {
      const stand = this.#stand();
      if (step !== stand.id && step !== `${stand.tree.id}/${stand.id}`) throw problem("wrong-step", `The walk stands at ${stand.id}.`);
      this.#take(stand, pickFor(stand, value));
      return this.state();
    }

    /** The state that an answer would lead to; nothing is changed. @param {string | number} value @returns {WalkState} */
    peek(value) {
      const other = new Walk(this.#first, [...this.#picks]);
      return other.answer(other.state().step, value);
    }

    /** @param {Stand} stand @param {Picked} pick */
    #take(stand, pick) {
      const picks = [...this.#picks, pick];
      this.#reached = reach(this.#first, picks);
      this.#picks = picks;
      this.#doubted = this.#doubted.filter((one) => !choices(stand.step)[pick.pick].isolates.includes(one));
    }

    /** Take the last answer back, out of a linked tree too. @returns {WalkState} */
    back() {
      const last = this.#picks[this.#picks.length - 1];
      if (!last) throw problem("at-start", "The walk stands at its first step.");
      const way = wayOf(last);
      this.#cut(this.#picks.length - 1);
      if (way.isolates.length + way.confirms.length + way.restores.length) this.#doubted = this.#stand().isolated;
      return this.state();
    }

    /** @param {number} length */
    #cut(length) {
      this.#picks = this.#picks.slice(0, length);
      this.#acks = this.#acks.filter((ack) => ack.at <= length);
    }

    /**
     * Go on to the deepest step that known facts determine, over checks and measurements alone.
     * @param {Record<string, string | number>} facts step, or `tree/step` -> answer or reading
     * @returns {WalkState}
     */
    jump(facts) {
      const ahead = new Walk(this.#first, this.#picks, this.#acks);
      ahead.#taken = this.#taken;
      for (;;) {
        const stand = ahead.#stand();
        const { kind, exposes, works_live, ways } = stand.step;
        const value = factOf(stand, facts);
        const touched = [...exposes, ...works_live, ...ways.flatMap((way) => [...way.isolates, ...way.confirms, ...way.restores]), ...ahead.cautionsDue()];
        if (value === undefined || touched.length || !QUESTIONS.includes(kind)) break;
        ahead.#take(stand, pickFor(stand, value));
      }
      if (ahead.#picks.length > this.#picks.length) this.#doubted = ahead.#stand().isolated;
      this.#picks = ahead.#picks;
      return this.state();
    }

    /**
     * The causes still possible when checks further on are answered too, in any order.
     * @param {Record<string, string | number>} facts step, or `tree/step` -> answer or reading
     * @returns {{id: string, odds: number}[]} empty where the facts do not go together
     */
    known(facts) {
      const stand = this.#stand();
      const told = Object.entries(stand.tree.steps).flatMap(([id, step]) => {
        const value = factOf({ ...stand, id }, facts);
        return value === undefined || !QUESTIONS.includes(step.kind) ? [] : [/** @type {[string, number]} */ ([id, pickFor({ ...stand, id, step, cured: false }, value).pick])];
      });
      return causes(stand, this.#picks, new Map(told));
    }

    /** Note that a caution of the present step was read. @param {string} caution @returns {WalkState} */
    acknowledge(caution) {
      const { tree, id } = this.#stand();
      if (!Object.hasOwn(tree.caution_texts, caution)) throw problem("unknown-caution", "This tree has no such caution.");
      if (this.#due().includes(caution)) this.#acks = [...this.#acks, { at: this.#picks.length, tree: tree.id, step: id, caution }];
      return this.state();
    }

    #due() {
      const { tree, step, since } = this.#stand();
      const proof = step.proof ? tree.proofs[step.proof] : null;
      return [...new Set([...([since, this.#taken].includes(this.#picks.length) ? tree.cautions : []), ...step.cautions, ...(proof ? proof.cautions : [])])];
    }

    /** @returns {string[]} cautions of the present step that were not acknowledged: the tree's at its first step and where the walk was taken over, the step's, its proof's */
    cautionsDue() {
      return this.#due().filter((caution) => !this.#acks.some((ack) => ack.at === this.#picks.length && ack.caution === caution));
    }

    /** @returns {string[]} hazards whose isolation is to be asked again before the next exposing step */
    asksAgain() {
      const { isolated } = this.#stand();
      return isolated.filter((hazard) => this.#doubted.includes(hazard));
    }

    /** Note that somebody has looked: the hazard is still isolated. @param {string} hazard @returns {WalkState} */
    stillIsolated(hazard) {
      if (!this.#stand().isolated.includes(hazard)) throw problem("not-isolated", "This hazard is not isolated.");
      this.#doubted = this.#doubted.filter((one) => one !== hazard);
      return this.state();
    }

    /** @param {string} hazard @returns {(TrailEntry & {at: number}) | null} the answer that isolated it, where it is isolated now */
    isolatedBy(hazard) {
      if (!this.#stand().isolated.includes(hazard)) return null;
      const at = this.#picks.map((one) => wayOf(one).isolates.includes(hazard)).lastIndexOf(true);
      return { at, ...this.#trail()[at] };
    }

    /** @returns {string} the walk code */
    code() {
      const { entered } = this.#stand();
      const digits = this.#picks.map((one) => /** @type {[number, number]} */ ([one.pick + 1, choices(stepOf(one)).length + 1]));
      return faultTrees.code.write(faultTrees.code.pack(digits), faultTrees.code.fold(entered.map((id) => treeOf(id).fingerprint)), treeOf(this.#first).tag);
    }

    /** @returns {string} the walk as an address's fragment, readings included */
    link() {
      const readings = this.#trail().flatMap((one, at) => (stepOf(one).kind === "measure" && one.value !== one.answer ? [`${at}:${one.value}`] : []));
      return `#walk=${encodeURIComponent(this.code())}` + (readings.length ? `&readings=${encodeURIComponent(readings.join(";"))}` : "");
    }

    /** @returns {StoredWalk} what `restore` takes */
    toJSON() {
      const { entered } = this.#stand();
      return {
        version: 1,
        first: this.#first,
        trees: Object.fromEntries(entered.map((id) => [id, treeOf(id).fingerprint])),
        trail: this.#trail(),
        acks: this.#acks,
      };
    }
  }

  /** @param {Picked} picked @returns {Way} the way that an answer took */
  function wayOf(picked) {
    return choices(stepOf(picked))[picked.pick];
  }

  /**
   * What an answer picks at the step where a walk stands.
   * @param {Stand} stand
   * @param {unknown} value
   * @returns {Picked}
   */
  function pickFor(stand, value) {
    const { step, id, tree } = stand;
    const ways = choices(step);
    if (stand.cured || !ways.length) throw problem("ended", "The walk has ended here.");
    const given = typeof value === "number" ? value : String(value).trim();
    let pick = ways.findIndex((way) => way.label === given);
    if (pick < 0) pick = ways.findIndex((way) => folded(way.label) === folded(String(given)));
    let read = false;
    if (step.kind === "measure") {
      try {
        ({ pick } = reading(step, given));
        read = true;
      } catch (error) {
        // A band may be given by its name where nobody knows the reading.
        if (pick < 0 || /** @type {{code: string}} */ (error).code === "out-of-range") throw error;
      }
    }
    if (pick < 0) throw problem("unknown-answer", `This can be answered by: ${ways.map((way) => way.label).join(", ")}.`);
    return { tree: tree.id, step: id, value: read ? given : ways[pick].label, pick };
  }

  /** @param {Stand} stand @param {Record<string, string | number>} facts */
  function factOf({ tree, id }, facts) {
    const name = [`${tree.id}/${id}`, id].find((one) => Object.hasOwn(facts, one));
    return name === undefined ? undefined : facts[name];
  }

  /** @param {string} text */
  function folded(text) {
    return text.replace(/\s+/g, " ").trim().toLowerCase();
  }

  /** @param {string} tree an id; its data must be loaded @returns {Walk} */
  function start(tree) {
    return new Walk(today(tree).tree);
  }

  /** @param {string} first @param {Picked[]} picks @param {Ack[]} [acks] @returns {Walk} a walk that stands where a row of answers leads */
  function walkFrom(first, picks, acks) {
    return new Walk(first, picks, acks);
  }
})();
