/**
 * Walks that are gone on with: from a code, from a link, from what was kept.
 *
 * The twin of `model/resume.py`; `tests/in_step` holds the two together.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const { bandOf, load, problem, stepOf, today, treeOf, walkFrom, wholeIndex } = faultTrees;
  const { choices, reach } = faultTrees.stand;
  const MOST = 2000;
  const LONGEST = 20000;

  Object.assign(faultTrees, { resume, restore });

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
      if (picks && faultTrees.code.fold(reach(first, picks).stand.entered.map((id) => treeOf(id).fingerprint)) === shape) {
        return walkFrom(first, withReadings(picks, link.get("readings")));
      }
    }
    throw problem("changed", "A tree of this walk has changed.");
  }

  /**
   * Make a row of answers, loading trees as links need them.
   * @param {string} first
   * @param {(step: Step, at: number, tree: Tree, id: string) => {pick: number, value?: string | number} | null} choose
   *   null to stop there
   * @returns {Promise<Picked[] | null>} null where a choice fits no step
   */
  async function along(first, choose) {
    let tree = await load(first);
    let id = tree.start;
    /** @type {Picked[]} */
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
   * @returns {Promise<Picked[] | null>} the answers that a number stands for; null where it stands for none in these trees
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
   * @param {Picked[]} picks
   * @param {string | null} readings `answer:reading`, joined by `;`
   * @returns {Picked[]}
   */
  function withReadings(picks, readings) {
    const damaged = problem("link", "This link is damaged.");
    for (const text of readings ? readings.split(";") : []) {
      const [, at, value] = /^(\d{1,4}):(.{1,60})$/.exec(text) || [];
      const pick = picks[Number(at)];
      if (!pick) throw damaged;
      if (bandOf(stepOf(pick), value) !== pick.pick) throw damaged;
      pick.value = value;
    }
    return picks;
  }

  /**
   * Go on with a walk that was kept.
   * @param {any} stored what `toJSON` gave
   * @returns {Promise<Walk>}
   */
  async function restore(stored) {
    const damaged = problem("damaged", "This walk is damaged.");
    if (!stored || stored.version !== 1 || !Array.isArray(stored.trail) || stored.trail.length > MOST) throw damaged;
    const first = today(stored.first).tree;
    const picks = await along(first, (step, at, tree, id) => {
      const entry = stored.trail[at];
      if (!entry) return null;
      const named = today(entry.tree, entry.step);
      const fits = named.tree === tree.id && named.step === id;
      const pick = fits ? choices(step).findIndex((way) => way.label === entry.answer) : -1;
      return { pick: entry.value !== entry.answer && bandOf(step, entry.value) !== pick ? -1 : pick, value: entry.value };
    });
    const known = new Map(Object.entries(stored.trees || {}).map(([id, fingerprint]) => [today(id).tree, fingerprint]));
    const changed = !picks || picks.length !== stored.trail.length || reach(first, picks).stand.entered.some((id) => known.get(id) !== treeOf(id).fingerprint);
    if (changed) throw problem("changed", "A tree of this walk has changed.");
    const acks = (Array.isArray(stored.acks) ? stored.acks : []).filter((/** @type {any} */ ack) => ack && Number.isInteger(ack.at) && ack.at <= picks.length && typeof ack.caution === "string");
    return walkFrom(first, picks, acks);
  }
})();
