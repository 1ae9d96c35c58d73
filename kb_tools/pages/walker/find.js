/**
 * The finder: whole sentences in, trees out, best first.
 *
 * Each tree is a document of phrases (its title and what users say) and of other words (its steps
 * and fixes). A query is compared by weighted overlap (Robertson's BM25 with field weights) and by
 * its likeness to the two best single phrases (cosine over inverse document frequencies). Words that
 * the library does not know are read as the nearest words that it knows (optimal string alignment
 * distance of one or two). The library's groups of synonyms may hold turns of several words; words
 * of no weight of their own may stand between them. Pairs of neighbours count too, so that "does
 * not stop" and "stops for nothing" stay apart.
 */
(function () {
  "use strict";

  /**
   * @typedef {{id: string, title: string, heard_as: string[], equipment?: string[], words?: string}} Entry
   * @typedef {{trees: Entry[], words?: string[][]}} Data
   * @typedef {{stem: string, said: string, light: boolean}} Token `light`: of no weight of its own
   * @typedef {{term: string, weight: number, text: string}} Wanted `text`: the words as they were typed
   * @typedef {{at: number[], held: number[], rare: number}} Field documents, how much of a term each
   *   holds, and the term's inverse document frequency
   * @typedef {{said: Field, told: Field, phrases: Field}} Posting where a term stands: what people say
   *   and what steps tell, by tree, and single phrases, by phrase
   * @typedef {Map<string, {parts: string[], group: string}[]>} Groups turns of words by their first word
   * @typedef {{trees: Entry[], groups: Groups, postings: Map<string, Posting>, owner: number[], norms: number[],
   *   lengths: number[], mean: number, spelt: [string, number][][], near: Map<string, [string, number][]>}} Index
   *   `owner`: the tree of each phrase; `spelt`: words by length, each with its letters; `near`: misspelt words of this visit
   * @typedef {{tree: string, title: string, score: number, matched: string[]}} Found
   */

  const faultTrees = (window.faultTrees = window.faultTrees || {});

  // Chosen on tests/finder/phrases-tune.tsv, each half against the other.
  const TITLE = 2;
  const HEARD = 1;
  const EQUIPMENT = 0.5;
  const WORD = 0.4;
  const DENIAL = 0.6;
  const GROUP = 0.85;
  const PAIR = 0.5;
  /** What is left of a word, or of a shorter turn, inside a longer turn. */
  const INSIDE = 0.2;
  const PHRASE = 1.3;
  const SECOND = 0.2;
  const SATURATION = 2;
  const LENGTH = 0.25;
  const LONGEST = 400;

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

  /** @returns {Field} */
  const field = () => ({ at: [], held: [], rare: 0 });

  /** @param {Field} field @param {number} number @param {number} weight @param {boolean} [greatest] kept instead of the sum */
  function note({ at, held }, number, weight, greatest) {
    const last = at.length - 1;
    if (at[last] !== number) held[at.push(number) - 1] = weight;
    else held[last] = greatest ? Math.max(held[last], weight) : held[last] + weight;
  }

  /**
   * Make the index; it may be left and taken up again at each `yield`, so that no frame is missed.
   * @param {Data} data
   * @returns {Generator<void, Index>}
   */
  function* build({ trees, words = [] }) {
    const groups = readGroups(words);
    /** @type {Map<string, Posting>} */
    const postings = new Map();
    /** @type {Map<string, Posting[]>} */
    const known = new Map();
    /** @type {{posting: Posting, weight: number}[][]} */
    const phrases = [];
    /** @type {Index} */
    const index = { trees, groups, postings, owner: [], norms: [], lengths: [], mean: 0, spelt: [], near: new Map() };
    /** @param {string} text */
    const read = (text) =>
      terms(split(text), groups).map(({ term, weight }) => ({ posting: into(postings, term, () => ({ said: field(), told: field(), phrases: field() })), weight }));
    for (const [number, entry] of trees.entries()) {
      let length = 0;
      [entry.title, ...entry.heard_as].forEach((text, place) => {
        const found = read(text);
        for (const { posting, weight } of found) {
          const counts = (place ? HEARD : TITLE) * weight;
          note(posting.said, number, counts);
          length += counts;
        }
        phrases.push(found);
        index.owner.push(number);
      });
      for (const { posting } of read((entry.equipment || []).join(" "))) note(posting.said, number, EQUIPMENT);
      // Words of the steps come as a bag: their order is gone, so pairs would mislead.
      for (const word of (entry.words || "").split(" ")) {
        for (const { told } of into(known, word, () => read(word).map((one) => one.posting))) note(told, number, 1);
      }
      index.lengths.push(length);
      index.mean += length / trees.length;
      yield;
    }
    for (const { said, told } of postings.values()) {
      for (const one of [said, told]) one.rare = one.at.length && Math.log(1 + (trees.length - one.at.length + 0.5) / (one.at.length + 0.5));
    }
    for (const [number, found] of phrases.entries()) {
      for (const { posting, weight } of found) note(posting.phrases, number, weight * posting.said.rare, true);
      if (number % 16 === 15) yield;
    }
    const squares = new Float64Array(phrases.length);
    for (const { phrases: { at, held } } of postings.values()) at.forEach((number, place) => (squares[number] += held[place] ** 2));
    index.norms = Array.from(squares, (sum) => Math.sqrt(sum) || 1);
    for (const term of new Set([...postings.keys(), ...groups.keys()])) {
      if (!/[ ~]/.test(term)) (index.spelt[term.length] = index.spelt[term.length] || []).push([term, letters(term)]);
    }
    return index;
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
   * @param {Index} index
   * @param {string} term
   * @returns {[string, number][]}
   */
  function nearest(index, term) {
    /** @type {[string, number][]} */
    const found = [];
    const limit = term.length > 6 ? 2 : term.length > 3 ? 1 : 0;
    const bits = letters(term);
    for (let length = term.length - limit; limit && length <= term.length + limit; length += 1) {
      for (const [candidate, others] of index.spelt[length] || []) {
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

  /**
   * The words of a query as the library knows them: exact, misspelt, or (the last one) begun.
   * @param {Index} index
   * @param {string} text
   * @returns {Wanted[]}
   */
  function wanted(index, text) {
    const tokens = split(text.slice(0, LONGEST)).slice(0, 60);
    const unfinished = /[a-z0-9]$/i.test(text);
    /** @type {Wanted[]} */
    const extra = [];
    tokens.forEach((token, at) => {
      const { said, stem } = token;
      if (token.light || index.postings.has(stem) || index.groups.has(stem)) return;
      if (unfinished && at === tokens.length - 1 && said.length > 1) {
        const begun = index.spelt.flatMap((list) => list.filter(([term]) => term.startsWith(said)));
        for (const [term] of begun.slice(0, 6)) extra.push({ term, weight: 0.8 / Math.sqrt(begun.length), text: said });
        if (begun.length) return;
      }
      into(index.near, stem, () => nearest(index, stem)).forEach(([term, weight], place) => {
        if (place) extra.push({ term, weight: weight * 0.6, text: said });
        else token.stem = term;
      });
    });
    /** @type {Map<string, Wanted>} */
    const merged = new Map();
    for (const want of terms(tokens, index.groups).concat(extra)) {
      const have = merged.get(want.term);
      if (!have || have.weight < want.weight) merged.set(want.term, want);
    }
    return [...merged.values()];
  }

  /**
   * @param {Index} index
   * @param {string} text
   * @param {number} limit
   * @returns {Found[]}
   */
  function search(index, text, limit) {
    const { trees, postings, lengths, mean, owner, norms } = index;
    const asked = wanted(index, text).flatMap((want) => {
      const posting = postings.get(want.term);
      return posting ? [{ ...want, ...posting }] : [];
    });
    const scores = new Float64Array(trees.length);
    const best = new Float64Array(trees.length);
    const second = new Float64Array(trees.length);
    const likeness = new Float64Array(owner.length);
    let norm = 0;
    for (const { weight, said, told, phrases } of asked) {
      const rare = weight * said.rare;
      norm += rare * rare;
      for (const { at, held, rare: value } of [said, told]) {
        for (let place = 0; place < at.length; place += 1) {
          const size = 1 - LENGTH + (LENGTH * lengths[at[place]]) / mean;
          scores[at[place]] += (weight * value * held[place]) / (held[place] + SATURATION * size);
        }
      }
      const { at, held } = phrases;
      for (let place = 0; place < at.length; place += 1) likeness[at[place]] += rare * held[place];
    }
    likeness.forEach((dot, number) => {
      const like = dot / norms[number];
      const tree = owner[number];
      second[tree] = Math.max(second[tree], Math.min(like, best[tree]));
      best[tree] = Math.max(best[tree], like);
    });
    /** @type {{number: number, score: number}[]} */
    const found = [];
    const scale = Math.sqrt(norm) || 1;
    scores.forEach((score, number) => {
      if (score > 0) found.push({ number, score: Math.round(((score + PHRASE * (best[number] + SECOND * second[number])) / scale) * 1e6) / 1e6 });
    });
    found.sort((a, b) => b.score - a.score || (trees[a.number].id < trees[b.number].id ? -1 : 1));
    return found.slice(0, limit).map(({ number, score }) => {
      const words = asked.filter(({ term, said, told }) => !/ |^not$/.test(term) && (said.at.includes(number) || told.at.includes(number)));
      return { tree: trees[number].id, title: trees[number].title, score, matched: [...new Set(words.map((want) => want.text))] };
    });
  }

  /**
   * A finder over what `given` returns; its index is made when it is wanted, anew for other data.
   * @param {() => Data | null} given
   */
  function finder(given) {
    /** @type {unknown} */
    let source;
    /** @type {Generator<void, Index>} */
    let building;
    /** @type {Index | null} */
    let index = null;
    /** Build on, for some milliseconds or to the end. @param {number} [time] */
    function grow(time = Infinity) {
      const data = given();
      if (!data) return true;
      if (source !== data.trees) {
        source = data.trees;
        building = build(data);
        index = null;
      }
      for (const end = performance.now() + time; !index && performance.now() < end; ) {
        const { done, value } = building.next();
        if (done) index = value;
      }
      return !!index;
    }
    /** @param {string} text @param {number} limit */
    const find = (text, limit) => (grow() && index ? search(index, String(text), limit) : []);
    return { grow, find };
  }

  const trees = finder(() => {
    const { index } = faultTrees.data || {};
    return index && index.trees ? index : null;
  });
  const pages = finder(() => {
    const { pages, index } = faultTrees.data || {};
    return pages ? { trees: pages, words: index.words } : null;
  });

  /**
   * Make the finder ready in slices between frames.
   * @returns {Promise<void>} kept when `find` no longer waits
   */
  faultTrees.prepare = async function prepare() {
    for (const one of [trees, pages]) {
      while (!one.grow(6)) await new Promise((go) => setTimeout(go));
      // Once for nobody, so that the first letter does not wait for the compiler.
      one.find("some lamps", 1);
    }
  };

  /**
   * Find trees for what somebody says.
   * @param {string} text what is wrong, in any words
   * @param {number} [limit] how many trees at most (10)
   * @returns {Found[]} best first; `matched` holds the words of `text` that counted
   */
  faultTrees.find = function find(text, limit = 10) {
    return trees.find(text, limit);
  };

  /**
   * Find other pages of the site by their titles and headings.
   * @param {string} text
   * @param {number} limit
   * @returns {Found[]} `tree` is a page's address from the site's root
   */
  faultTrees.findPages = function findPages(text, limit) {
    return pages.find(text, limit);
  };
})();
