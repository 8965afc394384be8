// Beside the chart: faults, findings and margins, worst first; why a step stands where it does; what moved.

import { button, el, options, tabButton, tableOf, turnTab } from "./dom.js";
import { signOf } from "./head.js";
import { ActionsPane } from "./actions_pane.js";
import { Pages, turnTo } from "./pages.js";
import { OddsPane, OrderPane } from "./work.js";

const OF_STEP = { why: "Why", actions: "Actions" };
export const SIDE_TABS = {
  findings: "Findings",
  margins: "Margins",
  ...OF_STEP,
  moved: "Compare",
  odds: "Odds",
  order: "Order",
};
export const OUTSIDE_TABS = {
  findings: "Findings",
  options: "Options",
  home: "Home",
  margins: "Margins",
  ...OF_STEP,
};

const PANE = { class: "pk-pane", role: "tabpanel", tabindex: 0 };

export class Side {
  constructor(root, send, events) {
    Object.assign(this, { root, send, events });
    this.tabs = el("div", { class: "pk-tabs", role: "tablist", "aria-label": "About the plan" });
    this.names = SIDE_TABS;
    this.always = []; // panes that stand above the tabs, in view whatever is open
    this.were = new Map(); // which tab was open while planning, and outside
    this.panes = Object.fromEntries(
      Object.entries({ ...SIDE_TABS, ...OUTSIDE_TABS }).map(([name, words]) => [
        name,
        el("div", { ...PANE, "aria-label": words, "data-pane": name }),
      ]),
    );
    this.faultBox = el("div", { class: "pk-faults", "aria-live": "polite", hidden: true });
    this.fold = button("", "Fold this pane, or open it", null, {
      class: "pk-fold",
      "aria-label": "Side pane",
    });
    this.box = el(
      "aside",
      { class: "pk-side", "aria-label": "Findings and margins" },
      el("div", { class: "pk-side-head" }, this.tabs, this.fold),
      this.faultBox,
      Object.values(this.panes).map(pane => new Pages(pane).parts),
    );
    this.counts = {};
    this.panes.why.append(el("p", { class: "pk-hint" }, "Choose a step in the chart or in the table."));
    this.against = el("select", {
      class: "pk-field",
      "aria-label": "Held against",
      title: "The ghosts, this pane and the head show what moved since this version",
      onchange: () => send({ kind: "baseline", name: this.against.value }),
    });
    this.moved = el("div", {});
    this.panes.moved.append(el("label", { class: "pk-label" }, "Held against ", this.against), this.moved);
    this.actions = new ActionsPane(this.panes.actions, send, (...cell) => this.events.onCell(...cell));
    this.odds = new OddsPane(send, step => this.events.onStep(step));
    this.order = new OrderPane(send);
    this.panes.odds.append(...this.odds.parts);
    this.panes.order.append(...this.order.parts);
    this.show("findings");
  }

  setAgainst(versions, name) {
    options(this.against, [["", "nothing"], ...versions.map(each => [each, each])], name);
  }

  setOld(questions) {
    this.odds.setOld(questions.includes("odds"));
    this.order.setOld(questions.includes("order"));
  }

  setTabs(names, always = []) {
    if (names !== this.names) this.were.set(this.names, this.current);
    Object.assign(this, { names, always });
    const were = this.were.get(names);
    this.show(were && !always.includes(were) ? were : Object.keys(names).find(key => !always.includes(key)));
  }

  get tabNames() {
    return Object.keys(this.names).filter(key => !this.always.includes(key));
  }

  open(name) {
    if (!this.always.includes(name)) this.show(name);
    this.events.onOpen(name);
  }

  show(name) {
    this.current = name;
    this.tabs.replaceChildren(
      ...this.tabNames.map(key =>
        tabButton(this.names[key], this.counts[key], {
          "aria-selected": String(key === name),
          "data-side": key,
          tabindex: key === name ? 0 : -1,
          onclick: () => this.open(key),
          onkeydown: event => this.onKey(event, key),
        }),
      ),
    );
    for (const [key, pane] of Object.entries(this.panes))
      pane.hidden = key !== name && !this.always.includes(key);
  }

  onKey(event, name) {
    turnTab(event, this.tabs, this.tabNames, name, next => this.open(next));
  }

  setFaults(faults) {
    this.faultBox.hidden = faults.length === 0;
    if (!faults.length) {
      this.faultBox.replaceChildren();
      return;
    }
    this.faultBox.replaceChildren(
      el(
        "strong",
        {},
        `${faults.length} ${faults.length === 1 ? "fault" : "faults"}: the chart shows the last good plan`,
      ),
      el(
        "ul",
        {},
        faults
          .slice(0, 30)
          .map(fault =>
            el(
              "li",
              {},
              el(
                "button",
                {
                  type: "button",
                  class: "pk-link",
                  onclick: () =>
                    fault.line !== null && this.events.onCell(fault.sheet, fault.line, fault.column),
                },
                [fault.where, fault.value && `“${fault.value}”`].filter(Boolean).join(" "),
                ": ",
                fault.problem,
              ),
            ),
          ),
      ),
    );
  }

  tell(notes, theme) {
    this.notes = notes;
    this.counts.findings = notes.findings.length;
    this.panes.findings.replaceChildren(
      ...(notes.counted ? [el("p", { class: "pk-hint" }, `${notes.counted}.`)] : []),
      notes.findings.length
        ? el(
            "ol",
            { class: "pk-list" },
            notes.findings.map((found, number) =>
              el(
                "li",
                {},
                el(
                  "button",
                  {
                    type: "button",
                    class: "pk-item",
                    "data-finding": number,
                    "data-severity": found.severity,
                    "data-steps": found.step,
                    onclick: () => this.pick(number),
                  },
                  signOf(found.severity, theme),
                  el(
                    "span",
                    { class: "pk-item-head" },
                    [found.severity, found.check, found.crew, found.step, found.when]
                      .filter(Boolean)
                      .join(" · "),
                  ),
                  el("span", { class: "pk-item-text" }, found.message),
                  found.source ? el("span", { class: "pk-source" }, `Source: ${found.source}`) : null,
                ),
              ),
            ),
          )
        : el("p", { class: "pk-hint" }, "No findings."),
    );
    this.tellMargins(notes.margins);
    this.show(this.current);
  }

  tellMargins(margins) {
    this.notes = { ...this.notes, margins };
    this.panes.margins.replaceChildren(
      el(
        "ul",
        { class: "pk-list" },
        margins.map(margin => this.margin(margin)),
      ),
    );
    this.mark(this.chosen);
  }

  // What is said of the chosen step, here as everywhere; `isSought`: and where it stands.
  mark(step, isSought = false) {
    this.chosen = step;
    for (const each of this.box.querySelectorAll("[data-steps]"))
      each.classList.toggle("pk-of-chosen", Boolean(step) && each.dataset.steps.split(" ").includes(step));
    const first = isSought && this.panes[this.current].querySelector(".pk-of-chosen");
    if (first) turnTo(this.panes[this.current], first);
  }

  // The findings, at the first of a severity.
  openAt(severity) {
    this.open("findings");
    this.panes.findings.querySelector(`[data-severity=${severity}]`)?.focus();
  }

  margin(margin) {
    const share = Math.max(0, Math.min(1, margin.share));
    const level = margin.share < 0 ? "over" : margin.share < 1 ? "little" : "some";
    return el(
      "li",
      {},
      el(
        margin.step ? "button" : "div",
        {
          type: margin.step ? "button" : null,
          class: "pk-item pk-margin",
          "data-steps": margin.step,
          onclick: margin.step ? () => this.events.onStep(margin.step) : null,
        },
        el("span", { class: "pk-item-text" }, margin.what),
        el("span", { class: `pk-left pk-${level}` }, margin.left),
        el(
          "span",
          { class: "pk-meter" },
          el("span", { class: `pk-fill pk-${level}`, style: `width:${(share * 100).toFixed(1)}%` }),
        ),
        el("span", { class: "pk-source" }, margin.note),
      ),
    );
  }

  pick(number) {
    const found = this.notes.findings[number];
    this.panes.findings.querySelectorAll(".pk-picked").forEach(each => each.classList.remove("pk-picked"));
    const item = this.panes.findings.querySelector(`[data-finding="${number}"]`);
    this.open("findings");
    item?.classList.add("pk-picked");
    item?.scrollIntoView({ block: "nearest" });
    if (found.step) this.events.onStep(found.step.split(" ")[0]);
  }

  why(message) {
    this.panes.why.replaceChildren(
      el(
        "dl",
        {},
        message.facts.flatMap(([name, words]) => [el("dt", {}, name), el("dd", {}, words)]),
      ),
      el(
        "ol",
        { class: "pk-why" },
        message.lines.map(line => el("li", {}, line)),
      ),
    );
  }

  compared(message) {
    const { moved, typed, name } = message;
    const hint = words => el("p", { class: "pk-hint" }, words);
    if (!name) {
      this.moved.replaceChildren(hint("Choose a version: what moved since it stands here and in the chart."));
      return;
    }
    this.moved.replaceChildren(
      !moved
        ? hint("That version holds faults: there is no plan of it to compare.")
        : moved.rows.length
          ? tableOf(moved.columns, moved.rows, `Steps that moved against ${name}, as they are now`)
          : hint("No step moved."),
      typed.rows.length
        ? tableOf(typed.columns, typed.rows, `What is typed (a: ${name}, b: now)`)
        : hint("Nothing is typed otherwise."),
    );
  }
}
