/**
 * Builds the page's nodes: elements, rendered Markdown from data, numbers and odds in words.
 * Text only ever becomes text nodes.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { root, words } = faultTrees;
  const { plain } = faultTrees.stand;
  const TAGS = new Set("p br strong em code ul ol li a table thead tbody tr th td h4 h5 h6 blockquote".split(" "));
  const DEEPEST = 20;

  Object.assign(faultTrees, { counted });
  Object.assign(view, { h, blocks, plain, fill, icon, root, clock, minutes, odds, gate, field, button, box, ok, unit, way, ask, choiceOf, panel, shut });

  /**
   * An element. Functions among the properties listen to the event of that name; `ft` is `data-ft`.
   * @param {string} kind tag, and classes behind points
   * @param {...any} given properties (or none), then texts, nodes, lists of them; empty values are passed over
   * @returns {any}
   */
  function h(kind, ...given) {
    const [tag, ...classes] = kind.split(".");
    const node = document.createElement(tag);
    if (classes.length) node.className = classes.join(" ");
    const props = given[0] && given[0].constructor === Object ? given.shift() : {};
    for (const [name, value] of Object.entries(props)) {
      if (value === null || value === undefined || value === false) continue;
      if (typeof value === "function") node.addEventListener(name, value);
      else node.setAttribute(name === "ft" ? "data-ft" : name, value === true ? "" : String(value));
    }
    node.append(...given.flat(9).filter((child) => child || child === 0));
    return node;
  }

  /** @param {string} href @returns {string | null} */
  function safe(href) {
    if (/^https?:\/\//i.test(href)) return href;
    return /^[a-z0-9+.-]*:/i.test(href) || /[\u0000-\u0020\\]/.test(href) || href.startsWith("//") ? null : root() + href;
  }

  /**
   * Rendered Markdown as nodes; anything unknown falls back to its text.
   * @param {unknown} list
   * @param {number} [depth]
   * @returns {any[]}
   */
  function blocks(list, depth = 0) {
    if (typeof list === "string") return [h("p", list)];
    if (!Array.isArray(list) || depth > DEEPEST) return [];
    return list.map((item) => {
      if (!Array.isArray(item)) return typeof item === "string" ? item : "";
      const [tag] = item;
      const children = blocks(item[item.length - 1], depth + 1);
      if (!TAGS.has(tag)) return children;
      const href = tag === "a" && typeof item[1]?.href === "string" ? safe(item[1].href) : null;
      return h(tag, href ? { href, rel: "noreferrer" } : {}, tag === "br" ? [] : children);
    });
  }

  /**
   * @param {string} template with {names}
   * @param {Record<string, any>} values
   * @returns {string}
   */
  function fill(template, values) {
    return template.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
  }

  /**
   * A count in words, in the form that the page's language has for the number.
   * @param {Record<string, string>} forms by plural category of the Unicode CLDR
   * @param {number} n
   */
  function counted(forms, n) {
    const form = new Intl.PluralRules(words.locale).select(n);
    return fill(forms[form] || forms.other, { n });
  }

  /** A mark that is looked at, not read. @param {string} sign */
  function icon(sign) {
    return h("span", { "aria-hidden": "true", class: "fw-icon" }, sign);
  }

  /** @param {string | number} when @returns {string} */
  function clock(when) {
    return new Date(when).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  }

  /** @param {number} value @returns {string} */
  function minutes(value) {
    const whole = Math.round(value);
    if (value > 0 && value < 1) return words.under_minute;
    if (whole < 60) return fill(words.minutes, { n: whole });
    return fill(whole % 60 ? words.hours : words.whole_hours, { h: Math.floor(whole / 60), m: whole % 60 });
  }

  /** @param {number} share between 0 and 1 @returns {string} */
  function odds(share) {
    if (share >= 0.95) return words.odds_sure;
    if (share >= 0.15) return fill(words.odds_tenths, { n: Math.round(share * 10) });
    if (share < 0.01) return words.odds_small;
    const one = 1 / share;
    return fill(words.odds_one_in, { n: one < 20 ? Math.round(one) : Math.round(one / 10) * 10 });
  }

  /**
   * Holds controls back until everything that must come first was done, here and at the gate before.
   * @param {Gate} [before]
   * @returns {Gate}
   */
  function gate(before) {
    let left = 0;
    /** @type {(() => void)[]} */
    const watching = [];
    const open = () => !left && (!before || before.open());
    const look = () => watching.forEach((one) => one());
    const count = (/** @type {number} */ by) => {
      left += by;
      look();
    };
    if (before) before.watch(look);
    return {
      open,
      look,
      ask: () => count(1),
      met: () => count(-1),
      watch: (one) => watching.push(one),
      hold: (node, also) => {
        const judge = () => (node.disabled = !open() || !!(also && !also()));
        watching.push(judge);
        judge();
        return node;
      },
    };
  }

  /**
   * A labelled text field of the visit.
   * @param {string} name
   * @param {string} value
   * @param {(value: string) => void} changed
   * @param {boolean} [long]
   */
  function field(name, value, changed, long) {
    const id = "fw_field_" + name;
    const input = h(long ? "textarea.fw-input" : "input.fw-input", { id, autocomplete: "off", maxlength: 1000, rows: long ? 2 : null, input: () => changed(input.value) });
    input.value = value;
    return h("div.fw-field", h("label", { for: id }, words.field[name]), input);
  }

  /**
   * @param {string | null} ft
   * @param {string} kind class behind `ft-`
   * @param {any} label
   * @param {() => void} click
   * @param {Record<string, any>} [more]
   */
  function button(ft, kind, label, click, more) {
    // The second tap of a double tap on an answer must not read a caution that has just appeared there.
    const heard = (/** @type {PointerEvent} */ event) => (kind === "ack" && event.pointerType === "touch" && event.detail > 1 ? undefined : click());
    return h("button", { type: "button", ft, class: "fw-" + kind, click: heard, ...more }, label);
  }

  /** Something framed under a title; nothing where there is nothing. @param {string} title @param {...any} content */
  function box(title, ...content) {
    return content.flat(9).some(Boolean) && h("div.fw-box", h("h2", title), content);
  }

  /** A unit as people write it; a walk reads it either way. @param {string | null} [name] */
  function unit(name) {
    return !name || name === "1" ? "" : name.replace(/^deg(?=[CF]$)/, "°").replace(/ohm$/, "Ω");
  }

  /** Something that is in order. @param {string} text */
  function ok(text) {
    return h("p.fw-note", icon("✓ "), text);
  }

  /**
   * The button of a way on: dashed where it leads aside.
   * @param {Session} session
   * @param {string} ft
   * @param {any} label
   * @param {string} value what the walk is told
   * @param {boolean} [assumed]
   */
  function way(session, ft, label, value, assumed) {
    const kind = assumed ? "tool" : ft === "cannot" || ft === "not-cured" ? "choice fw-unsure" : "choice";
    return button(ft, kind, label, () => view.shell.act(() => session.answer(value, assumed)), { "data-ft-value": value });
  }

  /**
   * Something to see to, with a button.
   * @param {string} text
   * @param {string} ft
   * @param {string} label
   * @param {() => void} click
   */
  function ask(text, ft, label, click) {
    return h("div.fw-ask", h("p", text), button(ft, "tool", label, click));
  }

  /**
   * A question with a few answers of which one holds.
   * @param {string} name
   * @param {string} title
   * @param {[string, string][]} values value and label
   * @param {string | null} now
   * @param {(value: string) => void} chosen
   * @param {string[]} [shut] values that cannot be chosen
   */
  function choiceOf(name, title, values, now, chosen, shut = []) {
    return h("fieldset", h("legend", title), h("div.fw-row", values.map(([value, label]) => {
      const input = h("input", { type: "radio", name: "fw-" + name, ft: name, "data-ft-value": value, value, disabled: shut.includes(value), change: () => chosen(value) });
      input.checked = value === now;
      return h("label.fw-radio", input, label);
    })));
  }

  /**
   * A button that opens and shuts what stands below it.
   * @param {string | null} ft
   * @param {string} label
   * @param {() => any} content made when first opened
   */
  function panel(ft, label, content) {
    const body = h("div.fw-panel", { hidden: true });
    const opener = button(ft, "tool", label, () => {
      if (!body.firstChild) body.append(...[content()].flat(9).filter(Boolean));
      body.hidden = !body.hidden;
      opener.setAttribute("aria-expanded", String(!body.hidden));
    }, { "aria-expanded": "false" });
    return { opener, body };
  }

  /** Shut what a button opens, to be made anew when it is opened again. @param {any} opener @param {any} body */
  function shut(opener, body) {
    if (!body.firstChild) return;
    body.replaceChildren();
    body.hidden = true;
    opener.setAttribute("aria-expanded", "false");
  }
})();
