/**
 * The live step: cautions and isolations that stand before it, the question, how-to, and the ways
 * on of checks, actions and links.
 */
(function () {
  "use strict";

  /** @type {FaultTrees} */
  const faultTrees = (window.faultTrees = window.faultTrees || {});
  const view = (faultTrees.view = faultTrees.view || /** @type {any} */ ({}));
  const { sameStep, words } = faultTrees;
  const { h, blocks, fill, button } = view;

  Object.assign(view, { stepSection, cautions, stepName, likely, putBack, choices, unsure });

  /** @param {Session} session @param {string} id @returns {string} a step of the present tree in the words of the mode */
  function stepName(session, id) {
    const step = session.tree.steps[id];
    return step ? faultTrees.desk.question(session.visit, step) : id;
  }

  /** A cause and its odds in words. @param {Session} session @param {{id: string, odds: number}} cause */
  function likely(session, cause) {
    return fill(words.likely, { cause: stepName(session, cause.id), odds: view.odds(cause.odds) });
  }

  /**
   * @param {Session} session
   * @returns {any} the section that carries `data-ft-current`
   */
  function stepSection(session) {
    const { visit, step } = session;
    const gate = view.gate();
    const may = faultTrees.desk.mayDo(visit, step);
    const heading = h("h1", { id: "fw_step", tabindex: "-1" }, may ? faultTrees.desk.question(visit, step) : words.desk_stop);
    const section = h("section", { class: "fw-step fw-kind-" + step.kind, "data-ft-current": session.state.step, "aria-labelledby": "fw_step" });
    const own = may && faultTrees.desk.beside(visit, step);
    const head = [heading, ...(own ? [h("p.fw-bold", own)] : [])];
    const first = !visit.steps.length && session.tree.applies_to;
    section.append(h("p.fw-meta", meta(session)));
    if (first) section.append(h("p.fw-meta", fill(words.applies, { text: session.tree.applies_to })));
    if (!may) {
      section.append(heading, view.technicianOnly(session));
      return section;
    }
    if (session.proven) {
      section.append(...head);
    } else {
      const warn = cautions(session, stepCautions(session), gate, words.caution_label);
      if (warn) section.append(warn);
      section.append(...head, ...isolations(session, gate), live(session), how(session), waitClock(session), h("p.fw-note.fw-shut", words.caution_first));
    }
    /** @type {Record<string, (session: any, gate: any) => any>} */
    const bodies = { check: choices, measure: view.measure, do: action, link: onward, fix: view.fix, done: view.done, escalate: view.escalate };
    section.append(...[bodies[step.kind](session, gate), parts(session)].flat(9).filter(Boolean));
    return section;
  }

  /** @param {Session} session @returns {string[]} cautions of this step; before the first one, and where the walk was taken over, those of the tree */
  function stepCautions(session) {
    const { trail, tree } = session.state;
    const due = session.walk.cautionsDue();
    const entering = !trail.length || trail[trail.length - 1].tree !== tree || session.tree.cautions.some((id) => due.includes(id));
    return [...new Set([...(entering ? session.tree.cautions : []), ...session.step.cautions])];
  }

  /**
   * Cautions with one button that acknowledges them; each is noted in the record.
   * @param {Session} session
   * @param {string[]} ids
   * @param {Gate} gate
   * @param {string} label
   */
  function cautions(session, ids, gate, label) {
    if (!ids.length) return null;
    const texts = session.tree.caution_texts;
    const box = h("div.fw-cautions", { role: "group", "aria-label": label, tabindex: "-1" });
    const said = ids.map((id) => {
      const { signal, text, consequence, avoid } = texts[id];
      const body = [h("div.fw-caution-text", h("div.fw-bold", blocks(text)), h("div", blocks(consequence))), h("div", h("strong", words.avoid), blocks(avoid))];
      return h("div.fw-caution", { "data-signal": signal }, h("p.fw-signal", view.icon("⚠"), " " + signal), body);
    });
    box.append(...said);
    const shut = () => {
      box.classList.add("fw-read");
      const last = session.visit.acks.filter((one) => one.id === ids[0]).pop();
      box.append(view.ok(fill(words.caution_read, { time: view.clock(last ? last.at : Date.now()) })));
    };
    const due = session.walk.cautionsDue();
    if (!ids.some((id) => due.includes(id))) {
      shut();
      return box;
    }
    gate.ask();
    const ack = button("caution-ack", "ack", faultTrees.desk.untrained(session.visit) ? words.caution_ack_desk : words.caution_ack, () => {
      for (const id of ids) session.acknowledge("caution", id, texts[id].signal + " " + view.plain(texts[id].text));
      ack.remove();
      shut();
      gate.met();
      view.shell.focusNext(box);
    });
    box.append(ack);
    return box;
  }

  /** @param {Session} session @param {Gate} gate @returns {any[]} where each exposed hazard was isolated, and what must be looked at again */
  function isolations(session, gate) {
    const where = (/** @type {string} */ hazard) => {
      const by = session.walk.isolatedBy(hazard);
      return by ? { hazard: session.named([hazard]), n: by.at + 1, step: session.visit.steps[by.at].text } : { hazard: session.named([hazard]), n: 1, step: "" };
    };
    const lines = session.step.exposes.filter((hazard) => session.state.isolated.includes(hazard))
      .map((hazard) => view.ok(fill(words.isolated_by, where(hazard))));
    const asks = session.doubted().map((hazard) => {
      const at = where(hazard);
      const box = h("div.fw-ask", { role: "group" }, h("p", fill(words.isolation_ask, at)));
      gate.ask();
      box.append(button("isolation-ack", "ack", words.isolation_yes, () => {
        session.acknowledge("isolation", hazard, session.named([hazard]));
        box.replaceChildren(view.ok(fill(words.isolation_said, { hazard: session.named([hazard]), time: view.clock(Date.now()) })));
        gate.met();
        view.shell.strip();
        view.shell.focusNext(box);
      }, { "data-ft-value": hazard }), button("isolation-lost", "tool", fill(words.isolation_no, at), () => view.shell.act(() => session.reopen(at.n - 1))));
      return box;
    });
    return [...lines, ...asks];
  }

  /** @param {Session} session */
  function live(session) {
    const { step } = session;
    if (!step.works_live.length) return "";
    return h("div.fw-live",
      h("p", fill(words.live, { hazard: session.named(step.works_live) })),
      step.live_because && h("p", h("strong", words.live_because), step.live_because),
      step.controls && h("p", h("strong", words.controls), step.controls));
  }

  /** @param {Session} session @returns {any[]} which step, what kind, minutes, tools */
  function meta(session) {
    const { step, tree, visit } = session;
    const parts = [h("strong", fill(words.step_line, { n: visit.steps.length + (session.proven ? 0 : 1) })), words.kinds[step.kind]];
    if (step.minutes) parts.push(fill(step.assumed ? words.minutes_assumed : words.minutes, { n: step.minutes }));
    if (step.wait) parts.push(fill(words.wait_minutes, { time: view.minutes(step.wait) }));
    if (step.tools.length) parts.push(words.tools + step.tools.map((id) => tree.tools[id]).join(", "));
    return parts.flatMap((part, at) => (at ? [" · ", part] : [part]));
  }

  /** @param {Session} session @returns {any} how-to and picture, opened on request */
  function how(session) {
    const { step, tree } = session;
    const isolating = step.kind === "do" ? step.ways.flatMap((way) => way.isolates).filter((id) => tree.hazards[id]) : [];
    if (!step.how && !step.picture && !step.source && (step.how || !isolating.length)) return "";
    const { opener, body } = view.panel("how", words.how, () => [
      blocks(step.how || []),
      step.how ? [] : isolating.map((id) => blocks(tree.hazards[id].how_isolated)),
      step.picture && h("img.fw-picture", { src: (faultTrees.pictures || {})[step.picture.src] || view.root() + step.picture.src, alt: step.picture.text }),
      step.source && h("p.fw-meta", words.source, blocks(step.source)),
    ]);
    const box = h("div", opener, body);
    if (step.kind === "fix") opener.click();
    return box;
  }

  /** The parts that the step looks at, marked on the map where this page has it. @param {Session} session */
  function parts({ step, tree }) {
    if (!step.looks_at.length) return "";
    const names = h("p.fw-meta.fw-looks", words.looks_at + step.looks_at.map((id) => tree.parts[id]).join(", "));
    const drawn = document.querySelector(`[data-ft-map="${tree.map}"] svg`);
    if (!drawn) return names;
    const { opener, body } = view.panel("map", words.map, () => {
      const map = /** @type {SVGElement} */ (drawn.cloneNode(true));
      map.querySelectorAll("a").forEach((part) => part.classList.toggle("fw-now", step.looks_at.includes((part.getAttribute("href") || "").split("#part-")[1])));
      return h("div.fw-map", { tabindex: "0", role: "region", "aria-label": words.map }, map);
    });
    return [names, opener, body];
  }

  /**
   * The answers of a check.
   * @param {Session} session
   * @param {Gate} gate
   */
  function choices(session, gate) {
    const { visit, step, state } = session;
    const before = visit.withdrawn.filter((one) => sameStep(one, state)).pop();
    const told = before ? before.answer : session.facts[state.tree + "/" + state.step];
    const list = step.ways.map((way) => {
      const mark = told === way.label ? h("span.fw-before", words.before) : "";
      const answer = gate.hold(view.way(session, "answer", [h("span", session.label(way)), mark], way.label));
      if (way.via === "unsure") answer.classList.add("fw-unsure");
      return way.via === "unsure" ? h("span", { "data-ft": "unsure" }, answer) : answer;
    });
    const author = step.ways.some((way) => way.via === "unsure");
    return [h("div.fw-choices", list, author ? "" : unsure(session, gate, words.unsure))];
  }

  /**
   * For somebody who cannot tell where the author gave no way: what is still possible under each
   * answer, likelier first, each to go on with.
   * @param {Session} session
   * @param {Gate} gate
   * @param {string} label
   */
  function unsure(session, gate, label) {
    const { opener, body } = view.panel("unsure", label, () => {
      const { state } = session;
      const ways = [...session.step.ways].sort((a, b) => b.odds - a.odds);
      const items = ways.map((way) => {
        const causes = session.walk.peek(way.label).causes.slice(0, 5).map((one) => likely(session, one));
        return h("li", h("strong", session.label(way)), " – " + view.odds(way.odds),
          h("p.fw-meta", fill(words.unsure_causes, { causes: causes.join("; ") })),
          view.way(session, "unsure-go", fill(words.unsure_go, { answer: session.label(way) }), way.label, true));
      });
      return [h("p", words.unsure_lead), h("ol.fw-plain", { "data-step": state.step }, items)];
    });
    opener.className = "fw-choice fw-unsure";
    return [gate.hold(opener), body];
  }

  /** @param {Session} session @param {Gate} gate */
  function action(session, gate) {
    const { step } = session;
    const then = step.ways.find((way) => way.via === "then");
    const cannot = step.ways.some((way) => way.via === "cannot");
    return [
      putBack(session),
      view.box(words.confirm, blocks(step.confirm || [])),
      then && then.isolates.length > 0 && h("p.fw-note", fill(words.isolates_note, { hazards: session.named(then.isolates) })),
      then && then.restores.length > 0 && h("p.fw-note", fill(words.restores_note, { hazards: session.named(then.restores) })),
      foundReminder(session, then),
      h("div.fw-choices",
        gate.hold(view.way(session, "done", words.done, "done")),
        cannot && gate.hold(view.way(session, "cannot", words.cannot, "cannot"))),
    ];
  }

  /** How to put back what was isolated: the step's own words, or those of the hazards. @param {Session} session */
  function putBack(session) {
    const { step, tree } = session;
    const how = step.put_back ? blocks(step.put_back) : session.restores().map((id) => blocks(tree.hazards[id].put_back));
    return view.box(words.put_back, how);
  }

  /** Before the first isolation the chair can still be seen as it was found. @param {Session} session @param {Way | undefined} then */
  function foundReminder(session, then) {
    const { fields } = session.visit;
    if (!then || !then.isolates.length || fields.lamps || fields.settings || fields.reported || faultTrees.desk.untrained(session.visit)) return "";
    return view.ask(words.found_reminder, "found-open", words.found_open, view.shell.openFound);
  }

  /** @param {Session} session @param {Gate} gate */
  function onward(session, gate) {
    const { link, text } = session.step;
    const go = gate.hold(button("go", "choice", fill(words.go, { tree: text }), () => view.shell.act(async () => {
      await faultTrees.load(link ? link.tree : "");
      session.answer("go");
    })));
    return h("div.fw-choices", go);
  }

  /** A clock for waiting time, by the time of day, so that it survives a screen that sleeps. @param {Session} session */
  function waitClock(session) {
    const { visit, step, state } = session;
    if (!step.wait) return "";
    const box = h("div.fw-box.fw-wait");
    const line = h("p.fw-clock");
    const mine = () => (sameStep(visit.timer, state) ? visit.timer : null);
    const toggle = button("wait", "tool", "", () => {
      visit.timer = mine() ? null : { tree: state.tree, step: state.step, minutes: step.wait, start: Date.now() };
      session.save();
      tick();
    });
    let over = false;
    const tick = () => {
      toggle.textContent = mine() ? words.wait_clear : words.wait_start;
      const timer = mine();
      if (!timer) {
        line.textContent = fill(words.wait_title, { time: view.minutes(step.wait) });
        return;
      }
      const end = timer.start + timer.minutes * 60000;
      const left = Math.ceil((end - Date.now()) / 1000);
      const shown = Math.floor(left / 60) + ":" + String(left % 60).padStart(2, "0");
      line.textContent = left > 0 ? fill(words.wait_left, { left: shown, time: view.clock(end) }) : fill(words.wait_over, { time: view.clock(end) });
      if (left <= 0 && !over) view.shell.say(line.textContent);
      over = left <= 0;
    };
    box.append(line, toggle);
    tick();
    view.shell.every(tick);
    return box;
  }
})();
