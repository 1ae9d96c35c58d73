/**
 * The engine: one run through the trees. It asks nothing of the page and knows no clock; whatever
 * it is given either fits, or it throws an error with a `code` and changes nothing.
 *
 * The twin of `model/walk.py`; `tests/in_step` holds the two together.
 */
(function () {
  "use strict";

  /**
   * @typedef {{tree: string, step: string, value: string | number, pick: number}} Pick one answer;
   *   `pick` counts the step's choices from 0
   * @typedef {{tree: Tree, id: string, step: Step, isolated: string[], advice: Advice[], since: number,
   *   entered: string[], cured: boolean}} Stand where a row of answers leads; `since` is the first
   *   answer in the present tree
   * @typedef {{picks: Pick[], stand: Stand, causes: {id: string, odds: number}[] | null}} Reached where a row of
   *   answers leads, and the causes then, once somebody asked for them
   * @typedef {{at: number, tree: string, step: string, caution: string}} Ack
   */

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  faultTrees.data = faultTrees.data || { trees: {} };
  // Pages without the finder find nothing; its script comes after this one.
  Object.assign(faultTrees, { find: () => [], load, start, resume, restore, reading, today, wholeIndex, fetchScript });

  const MOST = 2000;
  const LONGEST = 20000;
  const QUESTIONS = ["check", "measure"];
  const PLAIN_TAGS = ["strong", "em", "code", "a"];

  /** @type {Map<string, Promise<Tree>>} */
  const loading = new Map();

  /**
   * @param {string} code
   * @param {string} message
   */
  function problem(code, message) {
    return Object.assign(new Error(message), { code });
  }

  /** @param {unknown} id @returns {Tree | undefined} */
  function loaded(id) {
    const { trees } = faultTrees.data;
    return typeof id === "string" && Object.hasOwn(trees, id) ? trees[id] : undefined;
  }

  /** @param {string} id @returns {Tree} */
  function treeOf(id) {
    const tree = loaded(id);
    if (!tree) throw problem("not-loaded", `The tree ${id} is not loaded.`);
    return tree;
  }

  /**
   * What a tree, or a step of one, is called today that an earlier edition called otherwise.
   * @param {string} tree
   * @param {string} [step]
   * @returns {{tree: string, step: string}}
   */
  function today(tree, step = "") {
    const { moved = {} } = faultTrees.data.index || {};
    const [name, now = step] = [`${tree}/${step}`, String(tree)].filter((one) => Object.hasOwn(moved, one)).map((one) => moved[one].split("/"))[0] || [tree];
    return { tree: name, step: now };
  }

  /**
   * Fetch a tree's data, once.
   * @param {string} named
   * @returns {Promise<Tree>}
   */
  function load(named) {
    const id = today(named).tree;
    const tree = loaded(id);
    if (tree) return Promise.resolve(tree);
    const { index } = faultTrees.data;
    if (!/^[a-z][a-z0-9-]*$/.test(id) || (index && index.trees && !index.trees.some((/** @type {{id: string}} */ one) => one.id === id))) {
      return Promise.reject(problem("unknown-tree", "There is no such tree."));
    }
    let promise = loading.get(id);
    if (!promise) {
      promise = fetchScript("trees/" + id, () => loaded(id)).finally(() => loading.delete(id));
      loading.set(id, promise);
    }
    return promise;
  }

  /**
   * The library's index: every tree in short. Pages without the finder fetch it when it is wanted.
   * @returns {Promise<any>}
   */
  function wholeIndex() {
    const index = () => faultTrees.data.index && faultTrees.data.index.trees && faultTrees.data.index;
    return Promise.resolve(index() || fetchScript("index", index));
  }

  /**
   * Run a script of data, which works from disk too.
   * @param {string} name
   * @param {() => any} outcome what it brings
   * @returns {Promise<any>}
   */
  function fetchScript(name, outcome) {
    return new Promise((resolve, reject) => {
      const meta = document.querySelector('meta[name="ft-root"]');
      const script = document.createElement("script");
      const done = () => {
        script.remove();
        if (outcome()) resolve(outcome());
        else reject(problem("not-loaded", `${name} could not be loaded.`));
      };
      script.onload = script.onerror = done;
      script.src = `${(meta && meta.getAttribute("content")) || ""}kb/${name}.js`;
      document.head.append(script);
    });
  }

  /**
   * What can be answered at a step: its ways; where something is proven, `cured` first.
   * @param {Step} step
   * @returns {Way[]}
   */
  function choices(step) {
    if (step.kind !== "fix" && (step.kind !== "done" || !step.proof)) return step.ways;
    return [{ via: "cured", label: "cured", odds: 0, isolates: step.isolates || [], confirms: [], restores: step.restores || [] }, ...step.ways];
  }

  /** @param {unknown} blocks rendered Markdown @returns {string} its plain text */
  function textOf(blocks) {
    /** @param {unknown} node @returns {string} */
    const flat = (node) => {
      if (typeof node === "string") return node;
      if (!Array.isArray(node)) return "";
      const children = node[node.length - 1];
      return (Array.isArray(children) ? children.map(flat).join("") : "") + (PLAIN_TAGS.includes(node[0]) ? "" : " ");
    };
    return Array.isArray(blocks) ? blocks.map(flat).join("").replace(/\s+/g, " ").trim() : "";
  }

  /**
   * Follow a row of answers.
   * @param {string} first
   * @param {Pick[]} picks
   * @returns {Stand}
   */
  function follow(first, picks) {
    const tree = treeOf(first);
    /** @type {Stand} */
    const stand = { tree, id: "", step: tree.steps[tree.start], isolated: [], advice: [], since: 0, entered: [], cured: false };
    enter(stand, tree, tree.start);
    picks.forEach((pick, at) => {
      const way = choices(stand.step)[pick.pick];
      advise(stand, way.stop_use);
      stand.isolated = stand.isolated.concat(way.isolates.filter((one) => !stand.isolated.includes(one))).filter((one) => !way.restores.includes(one));
      const { link } = stand.step;
      if (way.via === "cured") stand.cured = true;
      else if (way.via === "link" && link) {
        stand.since = at + 1;
        enter(stand, treeOf(link.tree), link.step);
      } else come(stand, way.to);
    });
    return stand;
  }

  /** @param {string} first @param {Pick[]} picks @returns {Reached} */
  function reach(first, picks) {
    return { picks, stand: follow(first, picks), causes: null };
  }

  /** @param {Stand} stand @param {Tree} tree @param {string} step */
  function enter(stand, tree, step) {
    stand.tree = tree;
    stand.entered.push(tree.id);
    if (tree.stop_use) stand.advice.push({ tree: tree.id, step, text: textOf(tree.stop_use) });
    come(stand, step);
  }

  /** @param {Stand} stand @param {string | undefined} id */
  function come(stand, id) {
    if (!id || !Object.hasOwn(stand.tree.steps, id)) throw problem("changed", `The tree ${stand.tree.id} has no step ${id}.`);
    stand.id = id;
    stand.step = stand.tree.steps[id];
    advise(stand, stand.step.stop_use);
  }

  /** @param {Stand} stand @param {Block[] | null | undefined} blocks */
  function advise(stand, blocks) {
    if (blocks) stand.advice.push({ tree: stand.tree.id, step: stand.id, text: textOf(blocks) });
  }

  /** @param {Stand} stand @returns {Ended | null} */
  function endOf({ step, cured }) {
    if (cured) return { how: step.kind === "fix" ? "cured" : "done", proven: Boolean(step.proof) };
    return step.kind === "escalate" || step.kind === "done" ? { how: step.kind, proven: false } : null;
  }

  /** @param {Step} step @returns {Way[]} its ways within the tree */
  function within(step) {
    return step.ways.filter((way) => way.to && way.via !== "link");
  }

  /**
   * @param {Tree} tree
   * @param {string} from
   * @returns {string[]} the steps from there on, each before those it leads to
   */
  function onward({ steps }, from) {
    /** @type {Set<string>} */
    const seen = new Set();
    /** @type {string[]} */
    const order = [];
    const visit = (/** @type {string} */ id) => {
      if (seen.has(id)) return;
      seen.add(id);
      for (const way of within(steps[id])) visit(String(way.to));
      order.push(id);
    };
    visit(from);
    return order.reverse();
  }

  /**
   * The causes still possible, likeliest first. A fix that did not cure stays possible with what it
   * does not cure; answers of somebody who cannot tell are no evidence.
   * @param {Stand} stand
   * @param {Pick[]} picks
   * @param {Map<string, number>} [known] steps further on whose answer is known
   * @returns {{id: string, odds: number}[]}
   */
  function causes(stand, picks, known = new Map()) {
    const { steps } = stand.tree;
    if (stand.cured && stand.step.kind === "fix") return [{ id: stand.id, odds: 1 }];
    /** @type {Map<string, number>} */
    const left = new Map();
    for (const { step: id, pick } of picks.slice(stand.since, stand.cured ? -1 : undefined)) {
      const step = steps[id];
      const way = choices(step)[pick];
      if (way.via === "answer" || way.via === "band" || way.via === "then") {
        for (const [cause, weight] of left) left.set(cause, weight * way.odds);
      }
      if (step.kind === "fix" && step.stop) left.set(id, step.mass * step.stop * (1 - (step.cures ?? 1)));
    }
    /** @type {Map<string, number>} */
    const flow = new Map([[stand.id, 1]]);
    const behind = [...left.values()].reduce((sum, weight) => sum + weight, 0);
    const ahead = behind ? stand.step.mass : 1;
    for (const id of onward(stand.tree, stand.id)) {
      const here = flow.get(id);
      const step = steps[id];
      if (!here || !step.mass) continue;
      if (step.stop) left.set(id, (left.get(id) || 0) + ahead * here * step.stop);
      const told = step.ways[known.get(id) ?? -1];
      for (const way of told && told.via !== "unsure" ? within(step).filter((one) => one === told) : within(step)) flow.set(String(way.to), (flow.get(String(way.to)) || 0) + here * (way.onward ?? way.odds));
    }
    const total = [...left.values()].reduce((sum, weight) => sum + weight, 0);
    return [...left]
      .filter(([, weight]) => weight > 0)
      .map(([id, weight]) => ({ id, odds: weight / total }))
      .sort((a, b) => Math.round(b.odds * 1e9) - Math.round(a.odds * 1e9) || (a.id < b.id ? -1 : 1));
  }

  /** @param {string} text */
  function folded(text) {
    return text.replace(/\s+/g, " ").trim().toLowerCase();
  }

  /**
   * Read a measurement: a number in the step's unit, or a text such as `25.1 V` or `25,1`.
   * @param {Step} step
   * @param {string | number} given
   * @returns {{value: number, pick: number, answer: string}} `value` in the step's unit
   * @throws `not-a-number`, `unit-unknown`, or `out-of-range` where the reading itself is doubted
   */
  function reading(step, given) {
    const value = typeof given === "number" ? given : quantity(step, String(given));
    if (!Number.isFinite(value)) throw problem("not-a-number", "This is no number.");
    const unit = step.unit === "1" ? "" : ` ${step.unit}`;
    const [least, most] = step.plausible || [-Infinity, Infinity];
    const pick = step.ways.findIndex((way) => value >= (way.from ?? -Infinity) && value < (way.below ?? Infinity));
    if (value < least || value > most || pick < 0) {
      throw problem("out-of-range", `${value}${unit} cannot be right: between ${least} and ${most}${unit} is possible. Measure again.`);
    }
    return { value, pick, answer: step.ways[pick].label };
  }

  /** @param {Step} step @param {string} text @returns {number} in the step's unit */
  function quantity(step, text) {
    const found = /^([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,3})?)\s*((?![\d.,_\s]).*|)$/.exec(text.trim().replace("\u2212", "-"));
    if (!found || text.length > 60) throw problem("not-a-number", "This is no number.");
    if (/^[+-]?[1-9]\d{0,2},\d{3}$/.test(found[1])) throw problem("not-a-number", `${found[1]} can be read in two ways: write it with a point, or without the comma.`);
    const number = Number(found[1].replace(",", "."));
    const named = found[2].replace(/[\u03a9\u2126]/g, "ohm").replace(/[\u00b5\u03bc]/g, "u").replace("\u00b0", "deg").replace(/[\s\u00b7]+/g, " ").trim();
    const units = step.units || [];
    const unit = named ? units.find(([name]) => name === named) : units[0];
    if (named && (!unit || named === "1")) throw problem("unit-unknown", `${found[2]} is no unit of this reading: ${units.map(([name]) => name).join(", ")}.`);
    if (!unit || (unit[1] === 1 && unit[2] === 0)) return number;
    return Number((number * unit[1] + unit[2]).toPrecision(12));
  }

  /** One run through the trees. */
  class Walk {
    /** @type {string} */ #first;
    /** @type {Pick[]} */ #picks = [];
    /** @type {Ack[]} */ #acks = [];
    /** Hazards whose isolation is to be asked again. @type {string[]} */ #doubted = [];
    /** Where the answers lead, worked out once: a row of answers is replaced, never changed. @type {Reached | null} */ #reached = null;

    /** @param {string} first @param {Pick[]} [picks] @param {Ack[]} [acks] */
    constructor(first, picks = [], acks = []) {
      this.#first = first;
      this.#picks = picks;
      this.#acks = acks;
      this.#doubted = this.#stand().isolated;
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
      return this.#picks.map(({ tree, step, value, pick }) => ({ tree, step, value, answer: choices(treeOf(tree).steps[step])[pick].label }));
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

    /** @param {Stand} stand @param {Pick} pick */
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
      const way = choices(treeOf(last.tree).steps[last.step])[last.pick];
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
      return [...new Set([...(since === this.#picks.length ? tree.cautions : []), ...step.cautions, ...(proof ? proof.cautions : [])])];
    }

    /** @returns {string[]} cautions of the present step that were not acknowledged: the tree's at its first step, the step's, its proof's */
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
      const at = this.#picks.map(({ tree, step, pick }) => choices(treeOf(tree).steps[step])[pick].isolates.includes(hazard)).lastIndexOf(true);
      return { at, ...this.#trail()[at] };
    }

    /** @returns {string} the walk code */
    code() {
      const { entered } = this.#stand();
      const digits = this.#picks.map(({ tree, step, pick }) => /** @type {[number, number]} */ ([pick + 1, choices(treeOf(tree).steps[step]).length + 1]));
      return faultTrees.code.write(faultTrees.code.pack(digits), faultTrees.code.fold(entered.map((id) => treeOf(id).fingerprint)), treeOf(this.#first).tag);
    }

    /** @returns {string} the walk as an address's fragment, readings included */
    link() {
      const readings = this.#trail().flatMap(({ tree, step, value, answer }, at) => (treeOf(tree).steps[step].kind === "measure" && value !== answer ? [`${at}:${value}`] : []));
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

  /**
   * What an answer picks at the step where a walk stands.
   * @param {Stand} stand
   * @param {unknown} value
   * @returns {Pick}
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

  /** @param {string} tree an id; its data must be loaded @returns {Walk} */
  function start(tree) {
    return new Walk(today(tree).tree);
  }

  /**
   * Stand where another walk stands. Nothing is changed unless the code holds.
   * @param {string} given a walk code, or the fragment that `link` made, alone or in an address
   * @returns {Promise<Walk>}
   */
  async function resume(given) {
    const text = String(given);
    if (text.length > LONGEST) throw problem("too-long", "This is too long for a walk.");
    const isLink = text.includes("walk=");
    const link = new URLSearchParams(isLink ? text.slice(text.indexOf("#") + 1) : "");
    const { number, shape, tag } = faultTrees.code.read(isLink ? link.get("walk") || "" : text);
    /** @type {{id: string, tag: number}[]} */
    const all = [...(await wholeIndex().then((index) => index.trees, () => [])), ...Object.values(faultTrees.data.trees)];
    const named = new Set(all.filter((tree) => tree.tag === tag).map((tree) => tree.id));
    if (!named.size) throw problem("foreign", "This code belongs to another library.");
    for (const first of named) {
      const picks = await unpack(first, number);
      if (picks && faultTrees.code.fold(follow(first, picks).entered.map((id) => treeOf(id).fingerprint)) === shape) {
        return new Walk(first, withReadings(picks, link.get("readings")));
      }
    }
    throw problem("changed", "A tree of this walk has changed since the code was made.");
  }

  /**
   * Make a row of answers, loading trees as links need them.
   * @param {string} first
   * @param {(step: Step, at: number, tree: Tree, id: string) => {pick: number, value?: string | number} | null} choose
   *   null to stop there
   * @returns {Promise<Pick[] | null>} null where a choice fits no step
   */
  async function along(first, choose) {
    let tree = await load(first);
    let id = tree.start;
    /** @type {Pick[]} */
    const picks = [];
    while (picks.length < MOST) {
      if (!Object.hasOwn(tree.steps, id)) return null;
      const step = tree.steps[id];
      const chosen = choose(step, picks.length, tree, id);
      if (!chosen) return picks;
      const way = choices(step)[chosen.pick];
      if (!way) return null;
      picks.push({ tree: tree.id, step: id, value: chosen.value ?? way.label, pick: chosen.pick });
      if (way.via === "cured") return picks;
      if (step.link) tree = await load(step.link.tree);
      id = step.link ? step.link.step : way.to || "";
    }
    return null;
  }

  /**
   * @param {string} first
   * @param {bigint} number
   * @returns {Promise<Pick[] | null>} the answers that a number stands for; null where it stands for none in these trees
   */
  async function unpack(first, number) {
    const picks = await along(first, (step) => {
      const radix = BigInt(choices(step).length + 1);
      const pick = Number(number % radix) - 1;
      number /= radix;
      return pick < 0 ? null : { pick };
    });
    return number ? null : picks;
  }

  /**
   * @param {Pick[]} picks
   * @param {string | null} readings `answer:reading`, joined by `;`
   * @returns {Pick[]}
   */
  function withReadings(picks, readings) {
    const damaged = problem("link", "This link is damaged. Type the walk code instead.");
    for (const text of readings ? readings.split(";") : []) {
      const [, at, value] = /^(\d{1,4}):(.{1,60})$/.exec(text) || [];
      const pick = picks[Number(at)];
      if (!pick) throw damaged;
      if (readable(treeOf(pick.tree).steps[pick.step], value) !== pick.pick) throw damaged;
      pick.value = value;
    }
    return picks;
  }

  /** @param {Step} step @param {string | number} value @returns {number} the band of a reading, -1 where it is none */
  function readable(step, value) {
    try {
      return step.kind === "measure" ? reading(step, value).pick : -1;
    } catch {
      return -1;
    }
  }

  /**
   * Go on with a walk that was kept.
   * @param {any} stored what `toJSON` gave
   * @returns {Promise<Walk>}
   */
  async function restore(stored) {
    const damaged = problem("damaged", "This walk cannot be read.");
    if (!stored || stored.version !== 1 || !Array.isArray(stored.trail) || stored.trail.length > MOST) throw damaged;
    const first = today(stored.first).tree;
    const picks = await along(first, (step, at, tree, id) => {
      const entry = stored.trail[at];
      if (!entry) return null;
      const named = today(entry.tree, entry.step);
      const fits = named.tree === tree.id && named.step === id;
      const pick = fits ? choices(step).findIndex((way) => way.label === entry.answer) : -1;
      return { pick: entry.value !== entry.answer && readable(step, entry.value) !== pick ? -1 : pick, value: entry.value };
    });
    const known = new Map(Object.entries(stored.trees || {}).map(([id, fingerprint]) => [today(id).tree, fingerprint]));
    const changed = !picks || picks.length !== stored.trail.length || follow(first, picks).entered.some((id) => known.get(id) !== treeOf(id).fingerprint);
    if (changed) throw problem("changed", "A tree of this walk has changed.");
    const acks = (Array.isArray(stored.acks) ? stored.acks : []).filter((/** @type {any} */ ack) => ack && Number.isInteger(ack.at) && ack.at <= picks.length && typeof ack.caution === "string");
    return new Walk(first, picks, acks);
  }
})();
