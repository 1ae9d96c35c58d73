/**
 * Where a row of answers leads, and which causes are possible from there.
 *
 * The twin of `model/stand.py`; `tests/in_step` holds the two together.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const { problem, treeOf } = faultTrees;
  const PLAIN_TAGS = ["strong", "em", "code", "a"];

  faultTrees.stand = { choices, reach, endOf, causes, plain };

  /**
   * What can be answered at a step: its ways; where something is proven, `cured` first.
   * @param {Step} step
   * @returns {Way[]}
   */
  function choices(step) {
    if (step.kind !== "fix" && (step.kind !== "done" || !step.proof)) return step.ways;
    return [{ via: "cured", label: "cured", odds: 0, isolates: step.isolates || [], confirms: [], restores: step.restores || [] }, ...step.ways];
  }

  /** @param {unknown} blocks rendered Markdown @returns {string} its text, or the text itself */
  function plain(blocks) {
    if (typeof blocks === "string") return blocks;
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
   * @param {Picked[]} picks
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

  /** @param {string} first @param {Picked[]} picks @returns {Reached} */
  function reach(first, picks) {
    return { picks, stand: follow(first, picks), causes: null };
  }

  /** @param {Stand} stand @param {Tree} tree @param {string} step */
  function enter(stand, tree, step) {
    stand.tree = tree;
    stand.entered.push(tree.id);
    if (tree.stop_use) stand.advice.push({ tree: tree.id, step, text: plain(tree.stop_use) });
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
    if (blocks) stand.advice.push({ tree: stand.tree.id, step: stand.id, text: plain(blocks) });
  }

  /** @param {Stand} stand @returns {Ended | null} */
  function endOf({ step, cured }) {
    if (cured) return { how: step.kind === "fix" ? "cured" : "done", proven: !!step.proof };
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
   * @param {Picked[]} picks
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
    const sum = () => [...left.values()].reduce((total, weight) => total + weight, 0);
    const ahead = sum() ? stand.step.mass : 1;
    for (const id of onward(stand.tree, stand.id)) {
      const here = flow.get(id);
      const step = steps[id];
      if (!here || !step.mass) continue;
      if (step.stop) left.set(id, (left.get(id) || 0) + ahead * here * step.stop);
      const told = step.ways[known.get(id) ?? -1];
      for (const way of told && told.via !== "unsure" ? within(step).filter((one) => one === told) : within(step)) flow.set(String(way.to), (flow.get(String(way.to)) || 0) + here * (way.onward ?? way.odds));
    }
    const total = sum();
    return [...left]
      .filter(([, weight]) => weight > 0)
      .map(([id, weight]) => ({ id, odds: weight / total }))
      .sort((a, b) => Math.round(b.odds * 1e9) - Math.round(a.odds * 1e9) || (a.id < b.id ? -1 : 1));
  }
})();
