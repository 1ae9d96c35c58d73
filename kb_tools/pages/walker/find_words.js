/**
 * The words of the finder: what the terms of a text are, the same for trees and for what people type.
 *
 * Words are cut to their stems. The library's groups of synonyms may hold turns of several words; words
 * of no weight of their own may stand between them. Pairs of neighbours count too, so that "does
 * not stop" and "stops for nothing" stay apart. Words that the library does not know are read as the
 * nearest words that it knows (optimal string alignment distance of one or two).
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});

  faultTrees.findWords = { into, letters, nearest, readGroups, split, terms };

  // Chosen on tests/finder/phrases-tune.tsv, each half against the other.
  const WORD = 0.4;
  const DENIAL = 0.6;
  const GROUP = 0.85;
  const PAIR = 0.5;
  /** What is left of a word, or of a shorter turn, inside a longer turn. */
  const INSIDE = 0.2;

  const STOP = new Set(
    ("a an the of to in on at for and or but is are was were be been am it its this that these those i we he she they you my our " +
      "his her their your me him them us do does did have has had will would can could shall should just so very with from by as " +
      "there here then than too also any some when if what which who how about into up out over after again all only get gets got " +
      "go goes going one thing please help hello hi really quite bit ever since still even now today yesterday morning week " +
      "says say said told tell think know like look looks seem seems keep keeps kept because while um er oh well").split(" "),
  );
  const NOT = /^(never|nor|without|refus(e|es|ed|ing)|fail(s|ed|ing)?|unable)$/;
  const NONE = /^(not|no|none|noth)$/;

  /**
   * Reduce a word to its stem: plural, -ing, -ed, -ly, a last -e or -y. Light on purpose; the same for trees and queries.
   * @param {string} word
   */
  function stem(word) {
    let w = word;
    if (w.length > 4 && w.endsWith("ies")) w = w.slice(0, -3) + "y";
    else if (w.length > 4 && /(ss|sh|ch|x|zz)es$/.test(w)) w = w.slice(0, -2);
    else if (w.length > 3 && w.endsWith("s") && !/(ss|us|is)$/.test(w)) w = w.slice(0, -1);
    if (w.length > 5 && w.endsWith("ing")) w = undouble(w.slice(0, -3));
    else if (w.length > 4 && w.endsWith("ed") && !w.endsWith("eed")) w = undouble(w.slice(0, -2));
    else if (w.length > 5 && w.endsWith("ly")) w = w.slice(0, -2);
    if (w.length > 3 && w.endsWith("e")) w = w.slice(0, -1);
    if (w.length > 3 && w.endsWith("y")) w = w.slice(0, -1) + "i";
    return w;
  }

  /** @param {string} w */
  function undouble(w) {
    return /([bdfgmnprt])\1$/.test(w) ? w.slice(0, -1) : w;
  }

  /**
   * Split a text into words; accents and apostrophes are passed over, "doesnt" is "does not".
   * @param {string} text
   * @returns {Token[]}
   */
  function split(text) {
    /** @type {Token[]} */
    const tokens = [];
    const words = text
      .toLowerCase()
      .normalize("NFD")
      .replace(/[\u0300-\u036f'\u2019]/g, "")
      .match(/[a-z0-9]+/g);
    for (const said of words || []) {
      const denied = /^(do|does|did|is|was|are|were|has|have|had|could|would|should|ca|wo)nt$/.exec(said);
      if (denied || said === "cannot") {
        tokens.push({ stem: denied && denied[1].length > 2 ? stem(denied[1]) : "will", said: "", light: true }, { stem: "not", said, light: false });
      } else if (NOT.test(said)) tokens.push({ stem: "not", said, light: false });
      else tokens.push({ stem: said === "can" ? "will" : stem(said), said, light: STOP.has(said) });
    }
    return tokens;
  }

  /**
   * @param {string[][]} lists
   * @returns {Groups}
   */
  function readGroups(lists) {
    /** @type {Groups} */
    const groups = new Map();
    lists.forEach((list, number) => {
      for (const text of list) {
        const parts = split(text).map((token) => token.stem);
        if (parts.length) into(groups, parts[0], () => /** @type {{parts: string[], group: string}[]} */ ([])).push({ parts, group: "~" + number });
      }
    });
    return groups;
  }

  /**
   * @template K, V
   * @param {Map<K, V>} map
   * @param {K} key
   * @param {() => V} make
   * @returns {V} what the map holds, made where it holds nothing
   */
  function into(map, key, make) {
    let value = map.get(key);
    if (!value) map.set(key, (value = make()));
    return value;
  }

  /**
   * Where a turn of words ends in a row of tokens; two light words may stand between its parts.
   * @param {Token[]} tokens
   * @param {number} at
   * @param {string[]} parts
   * @returns {number} the place after it, 0 where it does not stand
   */
  function ends(tokens, at, parts) {
    let place = at + 1;
    for (const part of parts.slice(1)) {
      for (let gap = 0; gap < 2 && tokens[place] && tokens[place].light && tokens[place].stem !== part; gap += 1) place += 1;
      if (!tokens[place] || tokens[place].stem !== part) return 0;
      place += 1;
    }
    return place;
  }

  /**
   * All terms of a text: stems, groups of synonyms, and pairs of neighbours (of stems, and of groups).
   * @param {Token[]} tokens
   * @param {Groups} groups
   * @returns {Wanted[]}
   */
  function terms(tokens, groups) {
    /** @type {Wanted[]} */
    const all = [];
    /** @type {Wanted[]} */
    const stems = [];
    /** @type {Wanted[]} */
    const turns = [];
    /** How many parts the longest turn has that covers a token. */
    const cover = tokens.map(() => 1);
    const standing = tokens.map((token, at) =>
      (groups.get(token.stem) || []).flatMap(({ parts, group }) => {
        const end = ends(tokens, at, parts);
        for (let place = at; place < end; place += 1) cover[place] = Math.max(cover[place], parts.length);
        return end ? [{ end, group, size: parts.length }] : [];
      }),
    );
    let taken = 0;
    tokens.forEach(({ stem, said, light }, at) => {
      let term = NONE.test(stem) ? "not" : stem;
      if (!light) stems.push({ term, weight: (cover[at] > 1 ? INSIDE : 1) * (term === "not" ? DENIAL : WORD), text: said });
      let longest = light ? 0 : 0.5;
      if (at < taken) longest = 0;
      for (const { end, group, size } of standing[at]) {
        const turn = { term: group, weight: GROUP * (size < cover[at] ? INSIDE : Math.min(2, size ** 0.7)),
          text: tokens.slice(at, end).map((one) => one.said).join(" ").trim() };
        all.push(turn);
        if (size <= longest) continue;
        longest = size;
        term = group;
        if (at >= taken) taken = end - 1;
      }
      if (longest) turns.push({ term, weight: 1, text: said });
    });
    all.push(...stems);
    for (const row of [stems, turns]) {
      row.slice(1).forEach(({ term }, at) => all.push({ term: row[at].term + " " + term, weight: PAIR, text: "" }));
    }
    return all;
  }

  /** Which letters a word holds, as bits. @param {string} word */
  function letters(word) {
    let bits = 0;
    for (let at = 0; at < word.length; at += 1) bits |= 1 << word.charCodeAt(at) % 32;
    return bits;
  }

  /**
   * Optimal string alignment distance, given up past `limit`.
   * @param {string} a
   * @param {string} b
   * @param {number} limit
   */
  function distance(a, b, limit) {
    /** @type {number[]} */
    let before = [];
    let row = Array.from({ length: b.length + 1 }, (_, at) => at);
    for (let i = 1; i <= a.length; i += 1) {
      const next = [i];
      let least = i;
      for (let j = 1; j <= b.length; j += 1) {
        const same = a[i - 1] === b[j - 1] ? 0 : 1;
        let cost = Math.min(row[j] + 1, next[j - 1] + 1, row[j - 1] + same);
        if (i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]) cost = Math.min(cost, before[j - 2] + 1);
        next.push(cost);
        if (cost < least) least = cost;
      }
      if (least > limit) return limit + 1;
      before = row;
      row = next;
    }
    return row[b.length];
  }

  /**
   * The library's words nearest to one that it does not know, each with how much it counts.
   * @param {[string, number][][]} spelt words by length, each with its letters
   * @param {string} term
   * @returns {[string, number][]}
   */
  function nearest(spelt, term) {
    /** @type {[string, number][]} */
    const found = [];
    const limit = term.length > 6 ? 2 : term.length > 3 ? 1 : 0;
    const bits = letters(term);
    for (let length = term.length - limit; limit && length <= term.length + limit; length += 1) {
      for (const [candidate, others] of spelt[length] || []) {
        // Each edit changes at most two of the letters that occur.
        let unlike = bits ^ others;
        for (let left = 2 * limit; unlike && left; left -= 1) unlike &= unlike - 1;
        if (unlike || (candidate[0] !== term[0] && candidate[1] !== term[1] && candidate[0] !== term[1])) continue;
        const far = distance(term, candidate, limit);
        if (far <= limit) found.push([candidate, 1.05 - 0.2 * far - (candidate[0] === term[0] ? 0 : 0.1)]);
      }
    }
    return found.sort((a, b) => b[1] - a[1] || (a[0] < b[0] ? -1 : 1)).slice(0, 3);
  }
})();
