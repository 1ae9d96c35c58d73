/**
 * Runs the browser's own engine in node, without a browser: `node driver.js WALKER JOBS RESULTS`.
 *
 * JOBS is a JSON file `{index, trees, jobs, scripts}`, scripts the names of the engine's files in order. A job is a list of `[operation, ...arguments]`; its
 * result has one entry for each: what came out, or `{error: code}`.
 */
"use strict";

const fs = require("fs");
const path = require("path");
const vm = require("vm");

const [walker, jobsFile, resultsFile] = process.argv.slice(2);
const { index, trees, jobs, scripts } = JSON.parse(fs.readFileSync(jobsFile, "utf8"));

/** Trees come when they are asked for, one turn later, as a script element would bring them. */
const document = {
  querySelector: () => ({ getAttribute: () => "../" }),
  createElement: () => ({ remove() {} }),
  head: {
    append(script) {
      setImmediate(() => {
        const [, id] = /^\.\.\/kb\/trees\/(.+)\.js$/.exec(script.src);
        if (!Object.hasOwn(trees, id)) return script.onerror();
        faultTrees.data.trees[id] = trees[id];
        return script.onload();
      });
    },
  },
};
const window = {};
const context = vm.createContext({ window, document, URLSearchParams });
for (const name of scripts) {
  const file = path.join(walker, `${name}.js`);
  vm.runInContext(fs.readFileSync(file, "utf8"), context, { filename: file });
}
const { faultTrees } = window;
if (index) faultTrees.data.index = index;

/** What of a walk can be seen from outside. */
function seen(walk) {
  return {
    state: walk.state(),
    code: walk.code(),
    link: walk.link(),
    due: walk.cautionsDue(),
    asks: walk.asksAgain(),
    by: walk.state().isolated.map((hazard) => walk.isolatedBy(hazard)),
    stored: walk.toJSON(),
  };
}

/** The short form, for very many. */
function brief(walk) {
  const { tree, step, kind, causes, minutes, isolated, stop_use, ended } = walk.state();
  return { tree, step, kind, causes, minutes, isolated, stop_use, ended, code: walk.code() };
}

const alike = (one, other) => JSON.stringify(one) === JSON.stringify(other);

const operations = {
  load: async (run, id) => void (await faultTrees.load(id)),
  start: (run, id) => void (run.walk = faultTrees.start(id)),
  answer: (run, step, value) => void run.walk.answer(step, value),
  go: async (run, step, value) => {
    const { link } = faultTrees.data.trees[run.walk.state().tree].steps[run.walk.state().step];
    if (link) await faultTrees.load(link.tree);
    run.walk.answer(step, value);
  },
  back: (run) => void run.walk.back(),
  jump: (run, facts) => void run.walk.jump(facts),
  acknowledge: (run, caution) => void run.walk.acknowledge(caution),
  stillIsolated: (run, hazard) => void run.walk.stillIsolated(hazard),
  known: (run, facts) => run.walk.known(facts),
  peek: (run, value) => run.walk.peek(value),
  resume: async (run, given) => void (run.walk = await faultTrees.resume(given)),
  restore: async (run, stored) => void (run.walk = await faultTrees.restore(stored)),
  again: async (run) => void (run.walk = await faultTrees.restore(JSON.parse(JSON.stringify(run.walk)))),
  see: (run) => seen(run.walk),
  brief: (run) => brief(run.walk),
  /** Whether code, link and kept form lead back to where the walk stands. */
  roundTrip: async (run) => {
    const state = run.walk.state();
    const named = { ...state, trail: state.trail.map((entry) => ({ ...entry, value: entry.answer })) };
    const written = { ...state, trail: state.trail.map((entry) => ({ ...entry, value: String(entry.value) })) };
    const code = await faultTrees.resume(run.walk.code());
    const link = await faultTrees.resume("https://example.org/trees/x.html" + run.walk.link());
    const kept = await faultTrees.restore(JSON.parse(JSON.stringify(run.walk)));
    return alike(code.state(), named) && alike(link.state(), written) && alike(kept.state(), state) && alike(code.code(), run.walk.code());
  },
  reading: (run, tree, step, given) => faultTrees.reading(trees[tree].steps[step], given),
  pack: (run, digits, shape, tag) => faultTrees.code.write(faultTrees.code.pack(digits), shape, tag),
  unpack: (run, text) => {
    const { number, shape, tag } = faultTrees.code.read(text);
    return [String(number), shape, tag];
  },
  fold: (run, fingerprints) => faultTrees.code.fold(fingerprints),
};

async function main() {
  const results = [];
  for (const job of jobs) {
    const run = { walk: null };
    const result = [];
    for (const [name, ...given] of job) {
      try {
        const outcome = await operations[name](run, ...given);
        result.push(outcome === undefined ? null : outcome);
      } catch (error) {
        if (!error.code || error instanceof TypeError) throw error;
        result.push({ error: error.code });
      }
    }
    results.push(result);
  }
  fs.writeFileSync(resultsFile, JSON.stringify(results));
}

main().catch((error) => {
  console.error(error);
  process.exit(1);
});
