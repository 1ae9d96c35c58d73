/**
 * Runs the browser's list of a day in node: `node take.js WALKER JOBS RESULTS`. JOBS is a JSON file
 * `{script, days}`: the text of kb/visits.js, and lists of symptoms.
 */
"use strict";

const fs = require("fs");
const path = require("path");
const vm = require("vm");

const [walker, jobsFile, resultsFile] = process.argv.slice(2);
const { script, days } = JSON.parse(fs.readFileSync(jobsFile, "utf8"));
const window = { faultTrees: { data: {} } };
const context = vm.createContext({ window });
vm.runInContext(fs.readFileSync(path.join(walker, "take.js"), "utf8"), context);
vm.runInContext(script, context);
const { faultTrees } = window;
const { visits } = faultTrees.data;
const results = days.map((day) => {
  const list = faultTrees.takeAlong(visits, day);
  return { ...list, items: list.items.map((one) => ({ ...one, item: visits.items[one.item][0] })) };
});
fs.writeFileSync(resultsFile, JSON.stringify(results));
