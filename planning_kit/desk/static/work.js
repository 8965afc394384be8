// Long questions: a button that starts and stops, how far it is, whether the answer is of the plan as it is
// now.

import { button, el, tableOf } from "./dom.js";

export class WorkControl {
  constructor(question, label, hint, send, onStart = () => {}) {
    Object.assign(this, { question, label, send, onStart });
    this.button = button(label, hint, () => this.press(), { "data-act": question });
    this.meter = el("progress", { max: 1, hidden: true, "aria-label": `${label}, how far` });
    this.words = el("span", { class: "pk-quiet", role: "status" });
    this.box = el("span", { class: "pk-group" }, this.button, this.meter, this.words);
  }

  press() {
    if (this.isRunning) {
      this.send({ kind: "stop", question: this.question });
      this.words.textContent = "stopping";
      return;
    }
    this.onStart();
    this.send({ kind: "ask", question: this.question });
  }

  // Gives whether the message holds something to show: a part, or the answer.
  told({ state, words, share, part, result }, done = "") {
    this.isRunning = state === "running";
    this.button.textContent = this.isRunning ? "Stop" : this.label;
    this.meter.hidden = !this.isRunning;
    if (typeof share === "number") this.meter.value = share;
    else this.meter.removeAttribute("value");
    this.words.textContent = { running: words || "begun", stopped: "stopped", failed: words, done }[state];
    this.hasAnswer = Boolean(result);
    return Boolean(part || result);
  }

  setOld(isOld, place) {
    const isShown = isOld && !this.isRunning && this.hasAnswer;
    place.classList.toggle("pk-answer-old", isShown);
    if (isShown) this.words.textContent = "of the plan before your last edits";
    else if (this.words.textContent.startsWith("of the plan")) this.words.textContent = "";
  }
}

function capital(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

export class OddsPane {
  constructor(send, onStep) {
    this.onStep = onStep;
    this.control = new WorkControl(
      "odds",
      "Work out",
      "Sample durations and travel of the plan as it is now",
      send,
    );
    this.body = el(
      "div",
      {},
      el(
        "p",
        { class: "pk-hint" },
        "How likely the plan is to fit, when durations vary between low and high.",
      ),
    );
    this.parts = [this.control.box, this.body];
  }

  told(message) {
    this.control.told(message);
    const found = message.result;
    if (!found) return;
    const bar = each => [
      el("span", { class: "pk-item-text" }, each.what),
      el("span", { class: "pk-left" }, each.odds),
      el(
        "span",
        { class: "pk-meter" },
        el("span", { class: "pk-fill", style: `width:${(100 * each.share).toFixed(1)}%` }),
      ),
    ];
    const list = items =>
      el(
        "ul",
        { class: "pk-list" },
        items.map(each =>
          el(
            "li",
            {},
            el(
              each.step ? "button" : "div",
              {
                type: each.step ? "button" : null,
                class: "pk-item pk-margin",
                onclick: each.step ? () => this.onStep(each.step) : null,
              },
              bar(each),
            ),
          ),
        ),
      );
    this.body.replaceChildren(
      list(found.items),
      found.reasons.length ? tableOf(["what is broken", ""], found.reasons) : "",
      tableOf(["both inside", "at the latest"], found.finish),
      el("h4", { class: "pk-sub" }, "Windows caught, least likely first"),
      found.windows.length ? list(found.windows) : el("p", { class: "pk-hint" }, "No step needs a window."),
      el("p", { class: "pk-source" }, found.about),
    );
  }

  setOld(isOld) {
    this.control.setOld(isOld, this.body);
  }
}

export class OrderPane {
  constructor(send) {
    this.send = send;
    this.control = new WorkControl(
      "order",
      "Search",
      "Search for a better order of the same work; the page stays live",
      send,
    );
    this.body = el(
      "div",
      {},
      el(
        "p",
        { class: "pk-hint" },
        "Another order of the same work that ends earlier or does more, timed and checked as any plan. " +
          "It may take a minute or two.",
      ),
    );
    this.parts = [this.control.box, this.body];
  }

  told(message) {
    this.control.told(message);
    const found = message.result;
    if (message.state === "running") this.looked = null;
    if (!found) return;
    const chances = pairs =>
      el(
        "dl",
        {},
        pairs.flatMap(([name, words]) => [el("dt", {}, name), el("dd", {}, words)]),
      );
    this.body.replaceChildren(
      el("p", {}, found.verdict),
      found.rejected.length
        ? el(
            "ul",
            {},
            found.rejected.map(words => el("li", {}, words)),
          )
        : "",
      el("h4", { class: "pk-sub" }, "The plan as it was asked about"),
      chances(found.current),
      ...found.orders.map((order, number) =>
        el(
          "section",
          { "aria-label": `Order with the ${order.name}` },
          el("h4", { class: "pk-sub" }, `${capital(order.name)}: ${order.facts.join("; ")}`),
          chances(order.chances),
          el(
            "p",
            { class: "pk-source" },
            order.is_repeatable ? order.verdict : `${order.verdict}; cut short, so it may differ next time`,
          ),
          el(
            "ol",
            { class: "pk-why" },
            order.moves.map(words => el("li", {}, words)),
          ),
          this.buttons(number),
        ),
      ),
    );
  }

  buttons(number) {
    const look = button(
      "Preview",
      "Show where this order has each step, as ghosts",
      () => {
        const isOn = this.looked === number;
        this.looked = isOn ? null : number;
        this.body
          .querySelectorAll("[data-look]")
          .forEach(each =>
            each.setAttribute("aria-pressed", String(Number(each.dataset.look) === this.looked)),
          );
        this.send({ kind: "preview", number: this.looked });
      },
      { "data-look": number, "aria-pressed": "false" },
    );
    const take = button(
      "Take it",
      "Make it the draft: one edit, which undo takes back",
      event => {
        if (event.currentTarget.ariaDisabled === "true") return;
        this.looked = null;
        this.send({ kind: "take", number });
      },
      { "data-take": number },
    );
    return el("div", { class: "pk-group" }, look, take);
  }

  setOld(isOld) {
    this.control.setOld(isOld, this.body);
    this.body.querySelectorAll("[data-take], [data-look]").forEach(each => {
      each.ariaDisabled = String(isOld);
    });
  }
}
