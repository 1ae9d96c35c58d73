/**
 * Readings as a walk takes them: a number in the step's unit, or a text such as `25.1 V` or `25,1`.
 *
 * The twin of `model/reading.py`; `tests/in_step` holds the two together.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const { problem } = faultTrees;

  Object.assign(faultTrees, { reading, bandOf });

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

  /** @param {Step} step @param {string | number} value @returns {number} the band of a reading, -1 where it is none */
  function bandOf(step, value) {
    try {
      return step.kind === "measure" ? reading(step, value).pick : -1;
    } catch {
      return -1;
    }
  }
})();
