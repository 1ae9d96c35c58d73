/**
 * What to take along to the visits of a day. The twin of `numbers/visit.py`, on what `kb/visits.js`
 * says of each symptom; `tests/in_step` holds the two together.
 */
(function () {
  "use strict";

  /** @typedef {[number, number[]]} CureSet a chance, and the items that a cure needs */

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  faultTrees.takeAlong = takeAlong;

  const ENOUGH = 0.9;
  const MOST_TRIALS = 500;
  const ROUNDING = 1e-12;
  const nine = (/** @type {number} */ value) => Math.round(value * 1e9);
  const sum = (/** @type {CureSet[]} */ sets) => sets.reduce((total, [chance]) => total + chance, 0);

  /**
   * @param {DayData} data
   * @param {string[]} symptoms a tree for each visit
   * @returns {DayList}
   */
  function takeAlong({ trees }, symptoms) {
    const visits = symptoms.map((id) => trees[id]);
    /** Chance that no visit needs the item. @type {Map<number, number>} */
    const unused = new Map();
    for (const { needs } of visits) for (const [item, chance] of needs) unused.set(item, (unused.get(item) ?? 1) * (1 - chance));
    const chances = new Map([...unused].map(([item, chance]) => [item, 1 - chance]));
    const chance = (/** @type {number} */ item) => chances.get(item) || 0;
    const ranked = [...chances.keys()].sort((a, b) => nine(chance(b)) - nine(chance(a)) || a - b);
    /** @type {CureSet[]} */
    const sets = visits.flatMap(({ cures }) => cures.map(([weight, items]) => /** @type {CureSet} */ ([weight / visits.length, items])));
    const all = sum(sets);
    const reaches = all >= ENOUGH - ROUNDING;
    const { away, proven } = home(sets, [...ranked].reverse(), all - (reaches ? ENOUGH : ENOUGH * all) + ROUNDING);
    return {
      items: ranked.map((item) => ({ item, chance: chance(item), packed: !away.includes(item) })),
      cured: sum(sets.filter(([, items]) => !items.some((item) => away.includes(item)))),
      all, reaches, proven, least: visits.some(({ least }) => least),
    };
  }

  /**
   * The most items that can stay at home, by branch and bound.
   * @param {CureSet[]} sets
   * @param {number[]} items
   * @param {number} budget the chance of a cure that may be lost
   */
  function home(sets, items, budget) {
    /** @type {number[]} */
    let away = [];
    let tried = 0;
    /** @param {CureSet[]} alive @param {number[]} left @param {number[]} out @param {number} room */
    const leave = (alive, left, out, room) => {
      tried += 1;
      if (tried > MOST_TRIALS) return;
      if (out.length > away.length) away = out;
      const losses = new Map(left.map((item) => [item, sum(alive.filter(([, needed]) => needed.includes(item)))]));
      const loss = (/** @type {number} */ item) => losses.get(item) || 0;
      const open = left.filter((item) => loss(item) <= room);
      if (out.length + most(alive, open, room) <= away.length) return;
      open.sort((a, b) => nine(loss(a)) - nine(loss(b)));
      for (let at = 0; out.length + open.length - at > away.length; at += 1) {
        leave(alive.filter(([, needed]) => !needed.includes(open[at])), open.slice(at + 1), [...out, open[at]], room - loss(open[at]));
      }
    };
    leave(sets, items, [], budget);
    return { away, proven: tried <= MOST_TRIALS };
  }

  /** A number of items that no choice can exceed. @param {CureSet[]} alive @param {number[]} open @param {number} room */
  function most(alive, open, room) {
    const parts = new Map(open.map((item) => [item, 0]));
    for (const [chance, needed] of alive) {
      const free = needed.filter((item) => parts.has(item));
      for (const item of free) parts.set(item, (parts.get(item) || 0) + chance / free.length);
    }
    let total = 0;
    const over = [...parts.values()].sort((a, b) => a - b).findIndex((part) => (total += part) > room + ROUNDING);
    return over < 0 ? open.length : over;
  }
})();
