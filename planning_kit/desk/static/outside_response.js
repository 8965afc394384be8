// What is done when something goes wrong: the responses of the scenario, those of the step in hand first. One
// is shown with its call, its first actions and the ways home from now; nothing is called before its button.

import { button, el } from "./dom.js";

export class OutsideResponse {
  constructor(send, clock) {
    Object.assign(this, { send, clock, asked: null, told: null });
    this.call = button("", "What is done when something goes wrong (E): shows it first", () => this.ask(), {
      "data-call": "response",
      hidden: true,
    });
    this.call.append("R", el("u", {}, "e"), "sponse…");
    this.preview = el("div", {
      class: "pk-call pk-call-response",
      tabindex: -1,
      role: "alertdialog",
      "aria-label": "A response that is not taken yet",
      hidden: true,
    });
  }

  // Without an id: which one.
  ask(id = "", crew = "") {
    if (!this.asked) this.before = document.activeElement;
    this.asked = { id, crew };
    this.send({ kind: "response", response: id, crew });
  }

  // The minute has gone on.
  refresh() {
    if (this.asked?.id) this.send({ kind: "response", response: this.asked.id, crew: this.asked.crew });
  }

  tell(message) {
    if (!this.asked || (message.answer?.id ?? "") !== this.asked.id) return; // closed, or another asked
    const isNew = this.preview.hidden || this.shown !== this.asked.id;
    this.told = message;
    this.shown = this.asked.id;
    this.preview.hidden = false;
    this.preview.replaceChildren(...(message.answer ? this.one(message) : this.which(message)));
    if (isNew) this.preview.focus({ preventScroll: true });
  }

  which({ choices }) {
    const choice = (each, at) =>
      el(
        "li",
        {},
        el(
          "button",
          { type: "button", class: "pk-item", "data-response": each.id, onclick: () => this.ask(each.id) },
          el("span", { class: "pk-item-head" }, `${at < 9 ? `${at + 1}  ` : ""}${each.words}`),
          el("span", { class: "pk-left" }, each.call),
          el(
            "span",
            { class: "pk-source" },
            each.for.length ? `now, if not: ${each.for.join("; ")}` : each.id,
          ),
        ),
      );
    return [
      el("h3", {}, "What has gone wrong? Nothing is called yet."),
      el("ol", { class: "pk-list pk-responses" }, choices.map(choice)),
      el("div", { class: "pk-call-answers" }, this.notNow()),
    ];
  }

  one({ answer, at }) {
    const who = ["EV1", "EV2"];
    const crew = each =>
      button(each, `It concerns ${each}`, () => this.ask(answer.id, each), {
        "aria-pressed": String(answer.crew.length === 1 && answer.crew[0] === each),
        "data-concerns": each,
      });
    return [
      el("h3", {}, `${answer.words}: ${answer.call}. Not called yet.`),
      el(
        "div",
        { class: "pk-row-tools" },
        "It concerns ",
        who.map(crew),
        el("span", { class: "pk-quiet" }, `PET ${at}`),
      ),
      el(
        "dl",
        { class: answer.is_short ? "pk-short" : "" },
        answer.facts.flatMap(([name, words]) => [
          el("dt", {}, name),
          el("dd", { class: answer.is_short && name === "left with it" ? "pk-over" : "" }, words),
        ]),
      ),
      el(
        "div",
        { class: "pk-call-answers" },
        button(`Take it: ${answer.call}`, "Decide: this is called now, and logged", () => this.take(), {
          "data-act": "take_response",
        }),
        button("Others", "Back to the list", () => this.ask()),
        this.notNow(),
      ),
    ];
  }

  notNow() {
    return button("Not now (Escape)", "Nothing is called", () => this.close(), { "data-act": "not_now" });
  }

  take() {
    const { id, crew } = this.asked;
    this.close();
    this.send({ kind: "take_response", response: id, crew, by: this.clock.by.value });
  }

  close() {
    this.asked = null;
    this.preview.hidden = true;
    if (this.before?.isConnected) this.before.focus({ preventScroll: true });
  }

  // A key that is held down asks once; a digit chooses from the list.
  onKey({ key, repeat, ctrlKey, metaKey, altKey }) {
    if (ctrlKey || metaKey || altKey) return false;
    const nth = this.asked && !this.asked.id && this.told?.choices[Number(key) - 1];
    if (key === "Escape" && this.asked) this.close();
    else if (nth) this.ask(nth.id);
    else if (key.toLowerCase() !== "e" || this.call.hidden) return false;
    else if (!repeat) this.ask();
    return true;
  }
}
