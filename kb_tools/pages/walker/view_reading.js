/**
 * Measurements: a number with a unit, the band it falls in before anything depends on it, and doubt
 * about a reading that cannot be.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { words } = faultTrees;
  const { h, fill, button } = view;

  Object.assign(view, { measure, doubt });

  /** @param {Step} step @param {Way} way @returns {string} a band's limits in words */
  function limits(step, way) {
    const unit = view.unit(step.unit);
    const from = way.from !== null && way.from !== undefined;
    const below = way.below !== null && way.below !== undefined;
    const template = from && below ? words.band_both : from ? words.band_from : below ? words.band_below : "";
    return fill(template, { from: way.from, below: way.below, unit });
  }

  /** @param {Step} step @returns {string[]} the units in which it may be read, as people write them */
  const unitsOf = (step) => (step.units || []).map(([name]) => view.unit(name));

  /** @param {Step} step @param {string} text @returns {string} why it is no reading of this step; empty where it is one, and where nothing is measured */
  function doubt(step, text) {
    if (step.kind !== "measure") return "";
    try {
      faultTrees.reading(step, text);
      return "";
    } catch (error) {
      const [least, most] = step.plausible || [];
      const why = /^[+-]?\d+,\d{3}\b/.test(text) ? "ambiguous" : /** @type {any} */ (error).code;
      return fill(words.reading_errors[why] || words.reading_errors["not-a-number"], { value: text, least, most, unit: view.unit(step.unit), units: unitsOf(step).join(", ") });
    }
  }

  /**
   * @param {Session} session
   * @param {Gate} gate
   */
  function measure(session, gate) {
    const { step } = session;
    const input = h("input", { ft: "reading", id: "fw_reading", class: "fw-input fw-number", inputmode: "decimal", autocomplete: "off", "aria-describedby": "fw_band", maxlength: 40 });
    const units = unitsOf(step);
    const select = units.length > 1
      ? h("select", { ft: "unit", class: "fw-input", "aria-label": words.unit }, units.map((/** @type {string} */ name) => h("option", name)))
      : h("span.fw-unit", units[0]);
    if (!select.value) select.value = units[0];
    const band = h("p", { id: "fw_band", class: "fw-band", role: "status" }, words.reading_none);
    const ok = gate.hold(button("reading-ok", "choice", words.reading_ok, use), () => !!input.value.trim());

    /** Tell what the reading means, before anything depends on it. @returns {string} the reading with its unit, empty where it does not hold */
    function show() {
      const typed = input.value.trim();
      const text = /[a-z\u00b0\u03a9%]/i.test(typed) || !select.value ? typed : typed + " " + select.value;
      const bad = typed && doubt(step, text);
      const good = typed && !bad;
      band.className = "fw-band" + (bad ? " fw-bad" : good ? " fw-good" : "");
      band.textContent = bad || (good ? fill(words.reading_band, { value: text, band: session.label(step.ways[faultTrees.bandOf(step, text)]) }) : words.reading_none);
      gate.look();
      return good ? text : "";
    }

    function use() {
      const text = show();
      if (text) view.shell.act(() => session.answer(text));
      else input.focus();
    }

    input.addEventListener("input", show);
    select.addEventListener("change", show);
    gate.hold(input);
    const form = h("form", {
      class: "fw-measure",
      submit: (/** @type {Event} */ event) => {
        event.preventDefault();
        if (!ok.disabled) use();
      },
    }, h("label", { for: "fw_reading" }, words.reading), h("div.fw-row", input, select), band, ok);
    const bands = h("ul.fw-bands", step.ways.map((way) => h("li", h("strong", session.label(way)), " – " + limits(step, way))));
    return [form, bands, h("div.fw-choices", view.unsure(session, gate, words.cannot_measure))];
  }
})();
