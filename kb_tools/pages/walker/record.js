/**
 * The visit record: what a visit holds, how stored ones are judged, and what leaves the device
 * (plain text, and JSON as in record.schema.json).
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const FORMAT = "fault-tree visit record";
  const VERSION = 1;
  const LONGEST = 4000;
  const MANY = 180;
  const MOST = 2000;
  const FIELDS = ["job", "lamps", "settings", "reported_by", "reported", "chair_revision", "chair_serial", "kit_revision", "kit_serial", "remark"];
  const LEFT = ["in service", "out of use", "as found"];
  const SEARCHES = "fault-trees searches";
  const MOST_SEARCHES = 20;
  const OUTCOMES = ["cured", "nothing found", "part ordered", "made safe", "refused", "handed over"];

  const { sameStep, words } = faultTrees;

  faultTrees.record = { FIELDS, LEFT, OUTCOMES, MANY, create, clean, exported, text, now, sections, moment, given, searches };

  /** @returns {string} this moment, ISO 8601 in UTC */
  function now() {
    return new Date().toISOString();
  }

  /** @param {number} bytes @returns {string} */
  function random(bytes) {
    return [...crypto.getRandomValues(new Uint8Array(bytes))].map((b) => b.toString(16).padStart(2, "0")).join("");
  }

  /** A reference that two people can say on the phone, until somebody types their own. */
  function reference() {
    const day = new Date();
    const letters = "ABCDEFGHJKMNPQRSTVWXYZ";
    const three = [...crypto.getRandomValues(new Uint8Array(3))].map((b) => letters[b % letters.length]).join("");
    return String(day.getMonth() + 1).padStart(2, "0") + String(day.getDate()).padStart(2, "0") + "-" + three;
  }

  /**
   * Searches that found nothing since the last visit began; null as long as the reader does not let them be kept.
   * @param {string[] | null} [kept] what is to be kept from now on; null: nothing any more
   * @returns {string[] | null}
   */
  function searches(kept) {
    try {
      if (kept === null) localStorage.removeItem(SEARCHES);
      else if (kept) localStorage.setItem(SEARCHES, JSON.stringify(kept.slice(-MOST_SEARCHES)));
      const found = localStorage.getItem(SEARCHES);
      return found ? fit(JSON.parse(found), [""]) : null;
    } catch {
      return null;
    }
  }

  /**
   * @param {string} tree id of the first tree
   * @param {string} mode
   * @returns {Visit}
   */
  function create(tree, mode) {
    const searched = searches();
    if (searched) searches([]);
    const library = (faultTrees.data.index || {}).library || {};
    return fit({
      format: FORMAT,
      version: VERSION,
      id: random(8),
      library: { key: library.key, title: library.title, edition: library.edition },
      fields: { job: reference() },
      mode,
      started: now(),
      start: tree,
      searches: searched,
    }, VISIT);
  }

  /**
   * Bring anything into a shape; what does not fit is left out, texts are cut. A shape is a text, null
   * (a text or nothing), a number, a truth, a set of known values, a list of one shape, a group of
   * shapes, or a function.
   * @param {any} value
   * @param {any} shape
   * @returns {any}
   */
  function fit(value, shape) {
    const text = typeof value === "string" || typeof value === "number" ? String(value).slice(0, LONGEST) : "";
    if (shape === null) return text || null;
    if (typeof shape === "string") return text;
    if (typeof shape === "boolean") return value === true;
    if (typeof shape === "number") return Number.isFinite(value) ? value : 0;
    if (typeof shape === "function") return shape(value);
    if (shape instanceof Set) return shape.has(value) ? value : null;
    if (Array.isArray(shape)) return Array.isArray(value) ? value.slice(0, MOST).map((one) => fit(one, shape[0])) : [];
    const from = value && typeof value === "object" ? value : {};
    return Object.fromEntries(Object.entries(shape).map(([name, inner]) => [name, fit(Object.hasOwn(from, name) ? from[name] : undefined, inner)]));
  }

  /** @param {any} shape @returns {(value: any) => any} the shape, or null */
  const perhaps = (shape) => (value) => (value && typeof value === "object" ? fit(value, shape) : null);

  const AT = { tree: "", step: "" };
  const STEP = { ...AT, kind: "", text: "", at: "", answer: "", reading: null, assumed: false, kept: false, stated: false };
  const PROOF = { id: "", title: "", items: [{ item: "", result: new Set(["passed", "failed", "not fitted"]) }] };
  const VISIT = {
    format: () => FORMAT,
    version: () => VERSION,
    id: "",
    library: { key: "", title: "", edition: "" },
    fields: Object.fromEntries(FIELDS.map((name) => [name, ""])),
    mode: (/** @type {any} */ value) => (value === "desk" ? value : "technician"),
    caller: new Set(["user", "carer", "technician"]),
    found_seen: false,
    desk_told: false,
    started: "",
    updated: "",
    ended: null,
    exported: null,
    trees: [{ tree: "", title: "", fingerprint: 0 }],
    start: "",
    steps: [STEP],
    withdrawn: [{ ...STEP, withdrawn: "" }],
    acks: [{ ...AT, kind: new Set(["caution", "isolation"]), id: "", text: "", at: "" }],
    desk: [{ ask: "", answer: "", bad: false, say: "", stop_use: null, at: "" }],
    fixes: [{ ...AT, text: "", at: "", spares: [{ id: "", name: "" }], proof: perhaps(PROOF), cured: false }],
    proof: perhaps({ ...AT, ...PROOF }),
    undone: [""],
    not_asked: [""],
    reached: perhaps({ ...AT, kind: "", text: "" }),
    walk: (/** @type {any} */ value) => value,
    timer: perhaps({ ...AT, minutes: 0, start: 0 }),
    stop_use: [""],
    searches: [""],
    left: new Set(LEFT),
    outcome: new Set(OUTCOMES),
    code: "",
  };

  /**
   * @param {unknown} stored anything that lay in the store
   * @returns {Visit | null} null: not a visit that can be shown
   */
  function clean(stored) {
    const { format, version } = Object(stored);
    const visit = format === FORMAT && version === VERSION ? fit(stored, VISIT) : null;
    return visit && visit.id && visit.start ? visit : null;
  }

  /**
   * What leaves the device, as in record.schema.json.
   * @param {Visit} visit
   */
  function exported(visit) {
    const { found_seen, desk_told, exported, proof, undone, timer, walk, start, fields, desk, acks, not_asked, reached, searches: searched, ...kept } = visit;
    const { lamps, settings, reported_by, reported, ...named } = fields;
    return { ...kept, ...named, as_found: { lamps, settings, reported_by, reported }, safety_questions: desk, acknowledgements: acks,
      ...(not_asked.length ? { not_asked } : {}), ...(reached ? { reached } : {}), ...(begun(visit) ? { proof } : {}), ...(searched.length ? { searches: searched } : {}) };
  }

  /** The proof that was begun at the step reached and has not passed or failed as a whole. @param {Visit} visit */
  function begun({ proof, reached, fixes }) {
    return sameStep(proof, reached) && !fixes.some((one) => sameStep(proof, one)) ? proof : null;
  }

  /** @param {string | null} iso @returns {string} date and time as the device writes them */
  function moment(iso) {
    const date = new Date(iso || "");
    return Number.isNaN(date.getTime()) ? "" : date.toLocaleString([], { dateStyle: "medium", timeStyle: "short" });
  }

  /**
   * The record as lines: also what the screen and the paper show.
   * @param {Visit} visit
   * @returns {{head: string, lines: string[]}[]}
   */
  function sections(visit) {
    const found = ["lamps", "settings", "reported", "reported_by"].filter((name) => visit.fields[name]);
    const when = (/** @type {string} */ at) => (new Date(at).toDateString() === new Date(visit.started).toDateString() ? faultTrees.view.clock(at) : moment(at)) + " · ";
    /** @param {RecordStep} one */
    const stepLine = (one) => when(one.at) + one.text + " → " + given(one);
    const { reached } = visit;
    const steps = [...(reached ? [reached] : []), ...visit.steps, ...visit.withdrawn];
    /** @param {Visit["acks"][0]} ack */
    const before = (ack) => {
      const tree = faultTrees.data.trees[ack.tree];
      // A step that was left by the way back stands in no list of the record.
      const of = steps.find((one) => sameStep(one, ack)) || tree?.steps[ack.step] || { text: ack.step };
      return words.record_ack[ack.kind].replace("{step}", () => of.text);
    };
    const caller = visit.caller ? words.who[visit.caller] : words.none;
    const said = (/** @type {any} */ value) => (value ? [value] : []);
    /** @type {Record<string, string[]>} */
    const parts = {
      edition: [visit.library.edition + " · " + visit.library.title],
      started: said(moment(visit.started)),
      mode: [words.mode[visit.mode] + (visit.mode === "desk" ? ", " + words.asked_by.replace("{caller}", caller) : "")],
      found: found.map((name) => words.field[name] + ": " + (name === "reported_by" ? words.who[visit.fields[name]] || "" : visit.fields[name])),
      safety: [...visit.desk.map((one) => one.ask + " " + words[one.answer.toLowerCase()]), ...visit.not_asked.map((ask) => ask + " " + words.not_asked)],
      steps: visit.steps.map(stepLine),
      reached: reached ? [words.kinds[reached.kind] + ": " + reached.text] : [],
      withdrawn: visit.withdrawn.map(stepLine),
      acknowledged: visit.acks.map((one) => when(one.at) + before(one) + ": " + one.text),
      fixes: visit.fixes.flatMap((one) => fixLines(one, when(one.at))),
      proof: proofLines(begun(visit)),
      stop_use: visit.stop_use,
      searches: visit.searches,
      left: said(words.left[visit.left || ""]),
      outcome: said(words.outcome[visit.outcome || ""]),
      ended: said(moment(visit.ended)),
      code: said(visit.code),
    };
    return Object.entries(parts).filter(([, lines]) => lines.length).map(([name, lines]) => ({ head: words.record_head[name], lines }));
  }

  /** @param {RecordStep} one @returns {string} the answer in words, with the reading and whether it was only taken as if */
  function given(one) {
    /** @type {Record<string, string>} */
    const named = { done: words.done, cannot: words.cannot, cured: words.cured, "not cured": words.outcome_not_cured, go: words.go_on };
    const plain = one.kind === "check" || one.kind === "measure";
    return (one.assumed ? words.assumed + ": " : "") + (one.stated ? words.known.stated + ": " : "") + (one.reading ? one.reading + " · " : "") + (plain ? one.answer : named[one.answer]);
  }

  /** @param {FixRecord} one @param {string} when @returns {string[]} */
  function fixLines(one, when) {
    const spares = one.spares.map((spare) => spare.name).join(", ");
    const lines = [when + one.text + ": " + (one.cured ? words.cured : words.outcome_not_cured)];
    if (spares) lines.push(words.spares + spares);
    return [...lines, ...proofLines(one.proof).slice(1)];
  }

  /** @param {FixRecord["proof"]} proof @returns {string[]} its title, then each item with what came of it */
  function proofLines(proof) {
    /** @type {Record<string, string>} */
    const named = { passed: words.passed, failed: words.failed, "not fitted": words.absent };
    return proof ? [proof.title, ...proof.items.map(({ item, result }) => "– " + item + " " + (result ? named[result] : words.none))] : [];
  }

  /**
   * @param {Visit} visit
   * @returns {string} the record as text to copy
   */
  function text(visit) {
    const named = ["job", "chair_revision", "chair_serial", "kit_revision", "kit_serial", "remark"];
    const lines = [words.record_title, ""];
    for (const name of named) if (visit.fields[name]) lines.push(words.field[name] + ": " + visit.fields[name]);
    for (const part of sections(visit)) lines.push("", part.head, ...part.lines.map((line) => "  " + line));
    return lines.join("\n") + "\n";
  }
})();
