/**
 * One open walk: the engine's run through the trees and the visit record, kept in step and stored
 * after every change.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { sameStep, stepOf, treeOf, words } = faultTrees;

  view.session = { begin, fromVisit, fromCode };

  /** Whether two entries are one answer to one step. @param {Record<"tree" | "step" | "answer", string>} one @param {Record<"tree" | "step" | "answer", string>} other */
  const same = (one, other) => sameStep(one, other) && one.answer === other.answer;

  /** @implements {Session} */
  class Open {
    /** @param {Walk} walk @param {Visit} visit */
    constructor(walk, visit) {
      this.walk = walk;
      this.visit = visit;
      /** Answers from before a reopening, to be given again where they still hold. @type {Record<string, string | number>} */
      this.facts = {};
      /** Steps whose answer was stated before the walk came to them. @type {Set<string>} */
      this.stated = new Set();
      /** Whether what is already known is being asked for. */
      this.knowing = false;
      /** What is to be said once. @type {string[]} */
      this.notes = [];
      this.state = walk.state();
      this.follow();
    }

    get tree() {
      return treeOf(this.state.tree);
    }

    get step() {
      return this.tree.steps[this.state.step];
    }

    get proven() {
      return !!this.state.ended?.proven;
    }

    /** @param {RecordStep} entry the question of an answered step, in the words of the mode */
    asked(entry) {
      return faultTrees.desk.question(this.visit, stepOf(entry));
    }

    /** The answer of an answered step, in the words of the mode. @param {RecordStep} entry @returns {string} */
    told(entry) {
      const way = stepOf(entry).ways.find((one) => one.label === entry.answer);
      return faultTrees.record.given(way ? { ...entry, answer: this.label(way) } : entry);
    }

    /** A way in the words of the mode. @param {Way} way */
    label(way) {
      return faultTrees.desk.choice(this.visit, way);
    }

    /** The names of hazards. @param {string[]} ids */
    named(ids) {
      const trees = [this.tree, ...Object.values(faultTrees.data.trees)];
      return ids.map((id) => (trees.find((one) => one.hazards[id]) || { hazards: { [id]: { name: id } } }).hazards[id].name).join(", ");
    }

    /** Hazards whose isolation must be looked at before this step. */
    doubted() {
      return this.step.exposes.length ? this.walk.asksAgain() : [];
    }

    /** What is isolated, as far as it was not put back for the proof that is being made. */
    isolated() {
      const back = this.results().some(Boolean) ? this.restores() : [];
      return this.state.isolated.filter((hazard) => !back.includes(hazard));
    }

    /** What this step puts back. */
    restores() {
      return [...new Set([...(this.step.restores || []), ...this.step.ways.flatMap((way) => way.restores)])];
    }

    /** Whether the chair may go back into service: proven, nothing isolated, and no caller has told of a danger that only a technician can judge. */
    get safe() {
      const { desk, undone } = this.visit;
      return this.proven && !this.isolated().length && !undone.length && !(faultTrees.desk.untrained(this.visit) && desk.some((one) => one.stop_use));
    }

    /** What was found so far in the proof of this step. */
    results() {
      const { proof } = this.visit;
      return proof && sameStep(proof, this.state) ? proof.items.map((one) => one.result) : [];
    }

    /** The proof of this step, with what was found. @param {(ProofResult | null)[]} results */
    proof(results) {
      const { step, tree } = this;
      const { title, items } = tree.proofs[String(step.proof)];
      return { id: String(step.proof), title, items: items.map((item, n) => ({ item: view.plain(item.item), result: results[n] || null })) };
    }

    /** Every advice to stop using the chair that holds now. */
    stopUse() {
      const said = this.visit.desk.flatMap((one) => one.stop_use || []);
      return [...new Set([...said, ...this.state.advice.map((one) => one.text)])];
    }

    /**
     * @param {string | number} value what the engine takes
     * @param {boolean} [assumed] whether it is not known, and only gone on with
     */
    answer(value, assumed) {
      const { state, step, visit } = this;
      this.walk.answer(state.step, value);
      this.stated.delete(state.tree + "/" + state.step);
      if (step.proof) {
        const { spares } = treeOf(state.tree);
        const named = step.spares.map((id) => ({ id, name: spares[id].name }));
        visit.fixes.push({ tree: state.tree, step: state.step, text: step.text, at: faultTrees.record.now(), spares: named, proof: this.proof(this.results()), cured: value === "cured" });
      } else if (step.kind === "do" || step.ways.some((way) => way.isolates.length)) {
        // After more work on the chair a proof is made anew.
        visit.proof = null;
      }
      visit.left = visit.outcome = visit.ended = null;
      this.state = this.walk.jump(this.facts);
      const kept = this.state.trail.length - state.trail.length - 1;
      if (kept) this.notes.push(faultTrees.counted(words.kept_note, kept));
      this.follow();
      visit.steps[state.trail.length].assumed = !!assumed;
      this.save();
    }

    /** Bring the record in line with the walk. */
    follow() {
      const { visit, walk } = this;
      const { trail, tree, isolated } = (this.state = walk.state());
      visit.undone = visit.undone.filter((hazard) => !isolated.includes(hazard));
      const fresh = visit.steps.length;
      trail.forEach((entry, at) => {
        const known = visit.steps[at];
        if (known && same(known, entry)) return;
        const { kind, text } = stepOf(entry);
        const { value, answer } = entry;
        const reading = kind === "measure" && value !== answer ? String(value) : null;
        const stated = this.stated.has(entry.tree + "/" + entry.step);
        const kept = at > fresh && !stated;
        const assumed = kept && visit.withdrawn.some((one) => one.assumed && same(one, entry));
        visit.steps[at] = { tree: entry.tree, step: entry.step, kind, text, at: faultTrees.record.now(), answer, reading, assumed, kept, stated };
        visit.withdrawn = visit.withdrawn.filter((one) => !same(one, entry));
      });
      visit.steps.length = trail.length;
      if (trail.length) visit.found_seen = true;
      visit.trees = [...new Set([visit.start, ...trail.map((entry) => entry.tree), tree])].map((id) => ({ tree: id, title: treeOf(id).title, fingerprint: treeOf(id).fingerprint }));
      visit.reached = { tree, step: this.state.step, kind: this.state.kind, text: this.step.text };
      visit.walk = walk.toJSON();
      visit.code = walk.code();
      visit.stop_use = this.stopUse();
    }

    /** Go on to the deepest step that facts of the first tree decide. @param {Record<string, string | number>} facts */
    tell(facts) {
      for (const [step, value] of Object.entries(facts)) {
        this.facts[this.state.tree + "/" + step] = value;
        this.stated.add(this.state.tree + "/" + step);
      }
      this.knowing = false;
      this.walk.jump(this.facts);
      this.follow();
      this.save();
    }

    /** The causes still possible, with what was stated of steps that the walk has not come to. */
    causes() {
      const told = Object.fromEntries(Object.entries(this.facts).filter(([step]) => this.stated.has(step)));
      const known = this.stated.size ? this.walk.known(told) : [];
      return known.length ? known : this.state.causes;
    }

    /** Take the last answer back. */
    async back() {
      const { tree, step } = this.visit.steps[this.visit.steps.length - 1];
      const live = this.results().some(Boolean) && this.restores().length;
      delete this.facts[tree + "/" + step];
      this.cut(this.visit.steps.length - 1);
      // For a proof that was begun the power was put back: what was isolated may be no longer.
      if (live) this.walk = await faultTrees.restore(this.walk.toJSON());
      this.follow();
      this.save();
    }

    /**
     * Open an earlier step again; later answers are kept for where they still hold.
     * @param {number} at from 0
     */
    async reopen(at) {
      for (const { tree, step, value } of this.state.trail.slice(at + 1)) this.facts[tree + "/" + step] = value;
      this.cut(at);
      // A walk that was kept asks for every isolation again.
      this.walk = await faultTrees.restore(this.walk.toJSON());
      this.notes.push(words.ask_again);
      this.follow();
      this.save();
    }

    /** @param {number} length how many answers stay */
    cut(length) {
      const { visit } = this;
      const at = faultTrees.record.now();
      const stays = visit.steps.slice(0, length);
      visit.undone = [...new Set([...visit.undone, ...this.state.isolated])];
      visit.withdrawn.push(...visit.steps.slice(length).map((one) => ({ ...one, withdrawn: at })));
      visit.fixes = visit.fixes.filter((fix) => stays.some((one) => sameStep(one, fix)));
      for (let left = visit.steps.length - length; left > 0; left -= 1) this.walk.back();
      visit.left = visit.outcome = visit.ended = null;
    }

    /** @param {"caution" | "isolation"} kind @param {string} id @param {string} text */
    acknowledge(kind, id, text) {
      const { tree, step } = this.state;
      if (kind === "caution") this.walk.acknowledge(id);
      else this.walk.stillIsolated(id);
      this.visit.acks.push({ kind, id, text, tree, step, at: faultTrees.record.now() });
      this.visit.walk = this.walk.toJSON();
      this.save();
    }

    save = () => {
      const { visit } = this;
      visit.updated = faultTrees.record.now();
      visit.not_asked = visit.mode === "desk" ? faultTrees.desk.open(visit) : [];
      faultTrees.store.put(visit);
      view.shell.mark();
    };

    /** The walk as an address's fragment: code, readings, job reference, safety questions that were answered badly, answers that were only taken as if. */
    address() {
      const bad = this.visit.desk.filter((one) => one.bad).map((one) => faultTrees.desk.questions().findIndex(({ ask }) => ask === one.ask));
      const guessed = view.guesses(this).map((/** @type {{at: number}} */ one) => one.at);
      return this.walk.link() + "&job=" + encodeURIComponent(this.visit.fields.job) + (bad.length ? "&bad=" + bad.join(".") : "") + (guessed.length ? "&assumed=" + guessed.join(".") : "");
    }

    /** The link that hands this walk over; null where the site has no address. */
    link() {
      // The pocket file has no pages beside it that a link could lead to.
      const near = /^https?:$/.test(location.protocol) && !faultTrees.pocket;
      const base = near ? new URL(view.root() || ".", location.href).href : faultTrees.data.index.library.site_url;
      return base ? new URL(`trees/${this.visit.start}.html`, base.replace(/\/?$/, "/")).href + this.address() : null;
    }
  }

  /**
   * @param {string} tree
   * @param {Visit["mode"]} mode
   */
  async function begin(tree, mode) {
    await faultTrees.load(tree);
    const session = new Open(faultTrees.start(tree), faultTrees.record.create(tree, mode));
    session.save();
    return session;
  }

  /** Go on with a visit of this device. @param {Visit} visit */
  async function fromVisit(visit) {
    const walk = await faultTrees.restore(visit.walk);
    visit.start = faultTrees.today(visit.start).tree;
    for (const one of [...visit.steps, ...visit.withdrawn, ...visit.acks, ...visit.fixes]) Object.assign(one, faultTrees.today(one.tree, one.step));
    const session = new Open(walk, visit);
    session.save();
    return session;
  }

  /**
   * Take over a walk; nothing is stored unless the code holds.
   * @param {string} given a walk code or a link
   */
  async function fromCode(given) {
    const walk = await faultTrees.resume(given);
    const { trail, tree } = walk.state();
    const more = new URLSearchParams(given.slice(given.indexOf("#") + 1));
    const listed = (/** @type {string} */ name) => (more.get(name) || "").split(".").filter((at) => /^\d{1,4}$/.test(at)).map(Number);
    const visit = faultTrees.record.create(trail.length ? trail[0].tree : tree, more.get("mode") === "desk" ? "desk" : "technician");
    for (const at of listed("bad")) {
      const question = faultTrees.desk.questions()[at];
      if (question) faultTrees.desk.answer(visit, question, question.bad);
    }
    visit.fields.job = (more.get("job") || "").slice(0, 60) || visit.fields.job;
    visit.found_seen = true;
    const session = new Open(walk, visit);
    for (const one of listed("assumed").map((at) => visit.steps[at])) if (one) one.assumed = one.kind === "check" || one.kind === "measure";
    session.notes.push(view.fill(words.resumed, { n: trail.length + 1 }), ...(trail.length && !more.has("walk") ? [words.resumed_code] : []));
    session.save();
    return session;
  }
})();
