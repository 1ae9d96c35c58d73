/**
 * The finder: whole sentences in, trees out, best first.
 *
 * Each tree is a document of phrases (its title and what users say) and of other words (its steps
 * and fixes). A query is compared by weighted overlap (Robertson's BM25 with field weights) and by
 * its likeness to the two best single phrases (cosine over inverse document frequencies). What a text's
 * terms are, and which words are near to one that the library does not know, `find_words.js` tells.
 */
(function () {
  "use strict";

  /**
   * @typedef {{id: string, title: string, heard_as: string[], equipment?: string[], words?: string}} Entry
   * @typedef {{trees: Entry[], words?: string[][]}} Data
   * @typedef {{at: number[], held: number[], rare: number}} Field documents, how much of a term each
   *   holds, and the term's inverse document frequency
   * @typedef {{said: Field, told: Field, phrases: Field}} Posting where a term stands: what people say
   *   and what steps tell, by tree, and single phrases, by phrase
   * @typedef {{trees: Entry[], groups: Groups, postings: Map<string, Posting>, owner: number[], norms: number[],
   *   lengths: number[], mean: number, spelt: [string, number][][], near: Map<string, [string, number][]>}} Index
   *   `owner`: the tree of each phrase; `spelt`: words by length, each with its letters; `near`: misspelt words of this visit
   * @typedef {{tree: string, title: string, score: number, matched: string[]}} Found
   */

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const { into, letters, nearest, readGroups, split, terms } = faultTrees.findWords;

  // Chosen on tests/finder/phrases-tune.tsv, each half against the other.
  const TITLE = 2;
  const HEARD = 1;
  const EQUIPMENT = 0.5;
  const PHRASE = 1.3;
  const SECOND = 0.2;
  const SATURATION = 2;
  const LENGTH = 0.25;
  const LONGEST = 400;

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
      into(index.near, stem, () => nearest(index.spelt, stem)).forEach(([term, weight], place) => {
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
    return index?.trees ? index : null;
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
