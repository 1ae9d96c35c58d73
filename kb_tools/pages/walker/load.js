/**
 * Trees on this page: fetched once, by scripts that work from disk too, and what they are called today.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  faultTrees.data = faultTrees.data || { trees: {} };
  // Pages without the finder find nothing; its script comes after this one.
  Object.assign(faultTrees, { find: () => [], load, today, treeOf, stepOf, sameStep, root, wholeIndex, fetchScript, problem });

  /** @type {Map<string, Promise<Tree>>} */
  const loading = new Map();

  /**
   * @param {string} code
   * @param {string} message
   * @returns {Error & {code: string}} what is thrown for what does not fit
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

  /** @param {{tree: string, step: string}} at in a loaded tree @returns {Step} */
  function stepOf({ tree, step }) {
    return treeOf(tree).steps[step];
  }

  /** Whether two things, if there are two, belong to one step. @param {any} one @param {any} other @returns {boolean} */
  function sameStep(one, other) {
    return !!one && !!other && one.tree === other.tree && one.step === other.step;
  }

  /** @returns {string} the way from this page to the site's root */
  function root() {
    return document.querySelector('meta[name="ft-root"]')?.getAttribute("content") || "";
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
    if (!/^[a-z][a-z0-9-]*$/.test(id) || (index?.trees && !index.trees.some((/** @type {{id: string}} */ one) => one.id === id))) {
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
    const index = () => faultTrees.data.index?.trees && faultTrees.data.index;
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
      const script = document.createElement("script");
      const done = () => {
        script.remove();
        if (outcome()) resolve(outcome());
        else reject(problem("not-loaded", `${name} could not be loaded.`));
      };
      script.onload = script.onerror = done;
      script.src = `${root()}kb/${name}.js`;
      document.head.append(script);
    });
  }
})();
