/**
 * The walk on the page: opens and closes it, draws each screen, keys, wake lock, and the entry
 * points on the site's own pages. A walk takes the page's place and never leaves it: from disk,
 * some browsers keep storage for each page by itself.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { words } = faultTrees;
  const { h, button } = view;

  /** The open walk. @type {any} */
  let session = null;
  /** Where the walk is drawn. @type {any} */
  let screen = null;
  /** What the walk says; it stands as long as the walk does, so that a screen reader hears what changes in it. */
  const status = h("p.fw-status", { role: "status", "aria-live": "polite" });
  /** What stands around the steps of a walk; kept while nothing in it changes, so that a step costs less. @type {any} */
  let frame = {};
  /** @type {"technician" | "desk"} */
  let mode = "technician";
  /** @type {(() => void)[]} */
  let ticks = [];
  let firstOpen = false;
  let opening = false;
  let marking = 0;
  let keysShown = false;
  let keysOff = false;
  /** @type {any} */
  let lock = null;

  view.shell = { act, say, step, open, page, record, copy, every, mark, strip: drawStrip, focusNext, openFound, closeFirst };

  /** Say something to everybody, seen or heard. @param {string} text */
  function say(text) {
    status.textContent = "";
    status.textContent = text;
  }

  /** Call something every second while the present step stands. @param {() => void} tick */
  function every(tick) {
    ticks.push(tick);
  }

  /** Change the walk, then draw it; what went wrong is said and nothing is lost. @param {() => any} change */
  async function act(change) {
    try {
      const pending = change();
      if (pending) await pending;
    } catch (error) {
      say(view.problem(error));
      return;
    }
    firstOpen = false;
    step(true);
  }

  /** The address tells where the open walk stands: when the browser has drawn the step, and nobody went elsewhere meanwhile. */
  function mark() {
    const { hash } = location;
    marking = marking || setTimeout(() => {
      marking = 0;
      if (session && location.hash === hash) history.replaceState(history.state, "", session.address() + "&mode=" + session.visit.mode + "&visit=" + session.visit.id);
    });
  }

  /** Copy, or lay the text out to be copied by hand. @param {string} text */
  async function copy(text) {
    try {
      await navigator.clipboard.writeText(text);
      say(words.copied);
    } catch {
      const box = h("textarea.fw-input.fw-copy", { readonly: true, rows: 8, "aria-label": words.copy_failed });
      box.value = text;
      screen.append(box);
      box.focus();
      box.select();
      say(words.copy_failed);
    }
  }

  /** Take the page's place, empty. */
  function cover() {
    ticks = [];
    if (!screen) {
      const start = document.querySelector(".fw-site");
      if (start) start.remove();
      document.body.classList.add("fw-walking");
      document.body.append((screen = h("main")));
    }
    screen.className = "fw-walker" + (keysShown ? " fw-keys" : "");
    status.textContent = "";
  }

  /** Fill the screen or a part of it; what stands there already is not taken out and put back. @param {any} place @param {...any} parts */
  function lay(place, ...parts) {
    const nodes = parts.flat(9).filter(Boolean);
    [...place.childNodes].forEach((/** @type {any} */ node) => nodes.includes(node) || node.remove());
    nodes.forEach((node, at) => node === place.childNodes[at] || place.insertBefore(node, place.childNodes[at] || null));
  }

  /** The frame of the open walk, with nothing in it opened. */
  function framed() {
    const { visit, tree } = session;
    const made = [visit.mode, keysShown, visit.fields.job, tree.title].join("\n");
    if (frame.of !== session || frame.made !== made) {
      const [hand, handed] = view.handOver(session, "tool");
      frame = {
        of: session, made, hand, handed, end: view.closing(session, true),
        bar: h("header.fw-bar", h("span", tree.title), h("strong.fw-job", visit.fields.job)),
        strip: h("div.fw-strip"),
        tools: h("nav.fw-tools"),
        back: button("back", "tool", words.back, back),
        others: [button("record", "tool", words.record, () => record(visit)), button("pause", "tool", words.pause, () => page("")),
          modeButton(), button("keys", "tool", words.keys, toggleKeys, { "aria-expanded": String(keysShown) })],
      };
    }
    view.shut(frame.hand, frame.handed);
    view.shut(...frame.end.children);
    return frame;
  }

  /** @param {() => Promise<any>} make @returns {Promise<void>} rejects with what make rejects with; the page then stays */
  async function open(make) {
    if (opening) return;
    opening = true;
    try {
      session = await make();
    } finally {
      opening = false;
    }
    firstOpen = !session.visit.found_seen;
    awake();
    step(true);
  }

  /**
   * Draw the open walk.
   * @param {boolean} move whether the focus goes to the step
   */
  function step(move) {
    const { visit } = session;
    cover();
    const notes = [...session.notes.splice(0), ...(faultTrees.store.kept ? [] : [words.not_kept])];
    const live = session.knowing ? view.known(session) : view.stepSection(session);
    const first = firstPanel();
    const handing = !live.querySelector('[data-ft="hand-over"]');
    const { bar, strip, tools, back, hand, handed, end, others } = framed();
    const ending = live.querySelector('[data-ft="end-visit"], [data-ft="left"]') ? "" : end;
    tools.setAttribute("aria-label", words.step_line.replace("{n}", String(visit.steps.length + 1)));
    lay(tools, back, handing && hand, others);
    lay(screen, bar, strip, status,
      first || (visit.mode === "desk" && view.deskAsk(session)), live, ...view.assumed(session), session.knowing ? "" : view.standing(session),
      tools, handing && handed, ending, keyList(), view.trail(session));
    drawStrip();
    if (notes.length) say(notes.join(" "));
    const target = screen.querySelector(".fw-found h2, .fw-unasked h2") || live.querySelector(".fw-cautions:not(.fw-read)") || live.querySelector("h1");
    if (!move) return;
    window.scrollTo(0, 0);
    // The step is drawn first: moving the focus takes a sixth of the time that a step has.
    const had = document.activeElement;
    setTimeout(() => target.isConnected && [had, document.body].includes(document.activeElement) && target.focus({ preventScroll: !!first }));
  }

  /** What is asked once, at the begin: on the phone the safety questions, at the chair how it was found. */
  function firstPanel() {
    const { visit } = session;
    if (!firstOpen || (session.knowing && visit.mode !== "desk")) return "";
    return visit.mode === "desk" ? view.deskFirst(session) : view.found(session, closeFirst);
  }

  function closeFirst() {
    firstOpen = false;
    session.visit.found_seen = true;
    session.save();
    step(true);
  }

  function openFound() {
    firstOpen = true;
    step(true);
  }

  function drawStrip() {
    const { strip } = frame;
    strip.replaceChildren(...view.strip(session));
    strip.hidden = !strip.firstChild;
    // Measured when the page is drawn anyway: what gets the focus must not lie below the strip.
    requestAnimationFrame(() => {
      strip.tabIndex = strip.scrollHeight > strip.clientHeight ? 0 : -1;
      document.documentElement.style.scrollPaddingTop = strip.offsetHeight + 8 + "px";
    });
  }

  /** After something was acknowledged: on to what comes next. @param {any} from */
  function focusNext(from) {
    const live = screen.querySelector("[data-ft-current], .fw-known");
    const next = live.querySelector('[data-ft="caution-ack"], [data-ft="isolation-ack"]');
    const inside = from.closest(".fw-prove");
    (next || inside?.querySelector('[data-ft="proof-item"]') || live.querySelector("h1")).focus();
  }

  function back() {
    if (session.visit.steps.length) act(() => session.back());
    else page("");
  }

  /** @param {Visit} [visit] the open walk's, unless told */
  function record(visit) {
    const of = visit || session.visit;
    cover();
    const returns = session?.visit.id === of.id && !of.ended ? () => step(true) : null;
    lay(screen, status, view.recordScreen(of, { back: returns, close: () => page("") }));
    window.scrollTo(0, 0);
    screen.querySelector("h1").focus();
  }

  /** Back to the site's page. @param {string} message */
  function page(message) {
    if (session) history.replaceState(history.state, "", location.pathname + location.search);
    session = null;
    ticks = [];
    if (lock) lock.release();
    lock = null;
    if (screen) screen.remove();
    screen = null;
    document.body.classList.remove("fw-walking");
    document.documentElement.style.scrollPaddingTop = "";
    drawPage(message);
    const title = document.getElementById("fw_start_title");
    if (title) title.focus();
  }

  /** The entry points on the page: mode, code box, open walks. @param {string} message */
  function drawPage(message) {
    const old = document.querySelector(".fw-site");
    const site = h("div.fw-site");
    // The pocket file holds every tree's page and shows one at a time.
    const begin = /** @type {any} */ ([...document.querySelectorAll('[data-ft="begin"]')].find((one) => !one.closest("[hidden]")));
    if (begin) site.append(button("known", "tool", words.known.title, () => starting(begin, true)), modeButton());
    site.append(view.startPanel(message));
    const place = begin || document.querySelector("[data-ft-finder]");
    if (old) old.remove();
    if (place) place.after(site);
  }

  /** Open a new walk of the tree around a button. @param {Element} begin @param {boolean} knowing from what is already known */
  function starting(begin, knowing) {
    const around = begin.closest("[data-ft-tree]") || document.querySelector("[data-ft-tree]");
    const tree = around?.getAttribute("data-ft-tree") || "";
    open(async () => Object.assign(await view.session.begin(tree, mode), { knowing })).catch((error) => page(view.problem(error)));
  }

  function modeButton() {
    const now = () => (session ? session.visit.mode : mode) === "desk";
    return button("mode", "tool", now() ? words.mode_on : words.mode_off, () => {
      mode = now() ? "technician" : "desk";
      if (!session) {
        drawPage("");
        /** @type {any} */ (document.querySelector('.fw-site [data-ft="mode"]')).focus();
        return;
      }
      session.visit.mode = mode;
      firstOpen = mode === "desk" && !session.visit.desk.length;
      session.save();
      step(true);
    }, { "aria-pressed": String(now()) });
  }

  function toggleKeys() {
    keysShown = !keysShown;
    step(false);
    screen.querySelector('[data-ft="keys"]').focus();
  }

  function keyList() {
    if (!keysShown) return "";
    return view.box(words.keys, h("ul", words.key_list.map((/** @type {string} */ text) => h("li", text))),
      button("keys-switch", "tool", keysOff ? words.keys_on : words.keys_off, () => {
        keysOff = !keysOff;
        step(false);
        screen.querySelector('[data-ft="keys-switch"]').focus();
      }));
  }

  /** @param {KeyboardEvent} event */
  function key(event) {
    if (!session || !screen || event.ctrlKey || event.altKey || event.metaKey || keysOff) return;
    const at = /** @type {HTMLElement} */ (event.target);
    if (/^(INPUT|TEXTAREA|SELECT)$/.test(at.tagName) || !screen.querySelector("[data-ft-current]")) return;
    if (event.key === "Backspace") back();
    else if (event.key === "?") toggleKeys();
    else if (/^[1-9]$/.test(event.key)) {
      const choice = [...screen.querySelectorAll("[data-ft-current] .fw-choice")].filter((one) => one.offsetParent)[Number(event.key) - 1];
      if (choice) choice.click();
    } else return;
    event.preventDefault();
  }

  /** Keep the screen awake while a walk is open, where the browser can. */
  async function awake() {
    try {
      if (session && document.visibilityState === "visible") lock = await /** @type {any} */ (navigator).wakeLock.request("screen");
    } catch {
      lock = null;
    }
  }

  /** Go on with the walk in the address: from this device if it is here, else from its code. */
  async function fromAddress() {
    const there = new URLSearchParams(location.hash.slice(1));
    if (!there.get("walk")) return false;
    const stored = faultTrees.store.all().map(faultTrees.record.clean).find((one) => one?.id === there.get("visit"));
    try {
      await open(() => (stored ? view.session.fromVisit(stored) : view.session.fromCode(location.hash)));
    } catch (error) {
      // Nobody read an address out: it was cut short on its way.
      page(view.problem(/** @type {any} */ (error).code === "mistyped" ? { code: "link" } : error));
    }
    return true;
  }

  /** Keep the step that the address names in view while panel and pictures above it come; not every browser does that by itself. */
  function rest() {
    const place = document.getElementById(location.hash.slice(1));
    const [came] = performance.getEntriesByType("navigation");
    // Who comes back or reloads stands where they stood; the pocket file goes to its places itself.
    if (!place || faultTrees.pocket || /** @type {any} */ (came || {}).type !== "navigate") return;
    let ending = 0;
    const end = () => watch.disconnect();
    const watch = new ResizeObserver(() => {
      place.scrollIntoView();
      ending = ending || setTimeout(end, 3000);
    });
    watch.observe(document.body);
    ["wheel", "touchstart", "pointerdown", "keydown"].forEach((type) => addEventListener(type, end, { once: true, passive: true }));
  }

  async function boot() {
    const moved = document.querySelector("[data-ft-moved]");
    if (moved) return location.replace(moved.getAttribute("href") + location.hash);
    // The pocket file unpacks its data first.
    await faultTrees.ready;
    const { index } = faultTrees.data || {};
    if (!index) return;
    await faultTrees.store.open(index.library.key);
    faultTrees.store.onrefused = () => status && say(words.not_kept);
    document.addEventListener("keydown", key);
    document.addEventListener("visibilitychange", () => {
      ticks.forEach((tick) => tick());
      awake();
    });
    setInterval(() => ticks.forEach((tick) => tick()), 1000);
    // The theme looks at every change of the focus: for a walk in vain, and for a sixth of the time that a step takes.
    ["focus", "focusin", "blur", "focusout"].forEach((type) => window.addEventListener(type, (event) => session && event.stopPropagation(), true));
    window.addEventListener("hashchange", async () => {
      if (!(await fromAddress()) && faultTrees.pocket && !session) drawPage("");
    });
    const begins = document.querySelectorAll('[data-ft="begin"]');
    begins.forEach((begin) => {
      begin.removeAttribute("hidden");
      begin.addEventListener("click", () => starting(begin, false));
    });
    const known = location.hash === "#known" && begins[0];
    if (!(await fromAddress())) {
      drawPage("");
      rest();
    }
    if (known) starting(known, true);
  }

  document.addEventListener("DOMContentLoaded", () => setTimeout(boot));
})();
