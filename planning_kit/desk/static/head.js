// The head: when both are inside, what stops the plan and what is tightest. Told by sign and word, not by
// colour alone; what belongs to the plan before the last edit is greyed until the new findings are there.

import { severitySign } from "./chart_shapes.js";
import { el, svg } from "./dom.js";

const COUNTED = ["stop", "concern"];

export function signOf(severity, theme) {
  return svg(
    "svg",
    { class: "pk-sign", viewBox: "-9 -9 18 18", "aria-hidden": "true" },
    severitySign(severity, 0, 0, 7, theme),
  );
}

export class Head {
  // `events` open what is counted: `onCount` of a severity, `onMargin`, `onAgainst`, `onFaults`.
  constructor(chart, events) {
    Object.assign(this, { chart, events, facts: [], findings: [], faults: 0 });
    this.told = el("span", { class: "pk-facts", role: "status", "aria-label": "When both are inside" });
    this.counts = el("span", { class: "pk-counts", "aria-live": "polite" });
    this.tightest = this.fact("", "margins", "What is tightest", () => events.onMargin());
    this.tightest.classList.add("pk-tightest");
    this.box = el("div", { class: "pk-head" }, this.told, this.counts, this.tightest);
  }

  fact(level, act, hint, onclick) {
    const look = `pk-fact pk-open ${level && `pk-fact-${level}`}`;
    return el("button", { type: "button", class: look, "data-act": act, title: hint, onclick });
  }

  setFacts(facts, name = "", against = "") {
    this.shown = [facts, name, against];
    this.facts = facts;
    const change = this.fact("", "against", `What moved since ${name}`, () => this.events.onAgainst());
    change.classList.add("pk-against");
    change.append(el("strong", {}, against), ` against ${name}`);
    this.told.replaceChildren(
      ...facts.map(([what, words, level]) =>
        el(
          "span",
          { class: `pk-fact ${level && `pk-fact-${level}`}` },
          level ? signOf(level, this.chart.theme) : null,
          `${what}: `,
          el("strong", {}, words),
        ),
      ),
      ...(against ? [change] : []),
    );
    this.setLevel();
  }

  setFaults(faults) {
    if (faults.length === this.faults && this.counts.firstChild) return;
    this.faults = faults.length;
    this.paintCounts();
  }

  setFindings(findings) {
    this.findings = findings;
    this.setOld(false);
    this.paintCounts();
  }

  paintCounts() {
    const faults = this.fact("stop", "faults", "The last good plan is shown", () => this.events.onFaults());
    faults.append(signOf("stop", this.chart.theme), el("strong", {}, counted(this.faults, "fault")));
    this.counts.replaceChildren(
      ...(this.faults ? [faults] : []),
      ...COUNTED.map(severity => this.count(severity)),
    );
    this.setLevel();
  }

  count(severity) {
    const found = this.findings.filter(each => each.severity === severity);
    const accepted = found.filter(each => each.accepted).length;
    const open = () => this.events.onCount(severity);
    const fact = this.fact(found.length ? severity : "", `${severity}s`, `Findings: ${severity}s`, open);
    fact.append(
      found.length ? signOf(severity, this.chart.theme) : "✓ ",
      el("strong", {}, counted(found.length, severity)),
      accepted ? `, ${accepted} accepted` : "",
    );
    return fact;
  }

  // Findings of the plan as it is now are on their way.
  setOld(isOld) {
    for (const each of [this.counts, this.tightest]) {
      each.setAttribute("aria-busy", String(isOld));
      each.classList.toggle("pk-answer-old", isOld);
    }
  }

  setTightest(tightest) {
    this.tightest.hidden = !tightest;
    this.tightest.className = `pk-fact pk-open pk-tightest ${
      tightest?.level ? `pk-fact-${tightest.level}` : ""
    }`;
    this.tightest.title = tightest?.all ?? "";
    if (!tightest) return;
    const word = el("span", { class: "pk-tightest-word" }, "Tightest: ");
    this.tightest.replaceChildren(word, el("strong", {}, tightest.words));
  }

  setLevel() {
    const levels = [...this.facts.map(([, , level]) => level), ...this.findings.map(each => each.severity)];
    this.box.dataset.level = COUNTED.find(each => levels.includes(each)) ?? "fine";
    if (this.faults) this.box.dataset.level = "stop";
  }
}

export function counted(number, what) {
  return `${number || "no"} ${what}${number === 1 ? "" : "s"}`;
}
