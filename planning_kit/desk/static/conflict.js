// Another saved meanwhile: what of theirs is taken as it is, and a choice wherever both changed the same.

import { button, el, tableOf } from "./dom.js";

const SIDES = ["yours", "theirs"];
const PLACE_COLUMNS = ["table", "row", "column", "was"];

export class ConflictPanel {
  constructor(message, send, onClose) {
    Object.assign(this, { clashes: message.clashes ?? [], send, onClose });
    this.chosen = new Map(this.clashes.filter(each => each.choice).map(each => [each, each.choice]));
    this.group = `pk-clash-${Math.random().toString(36).slice(2)}`;
    this.left = el("span", { class: "pk-quiet", role: "status" });
    this.merge = button(
      "Merge",
      "Both changes in one draft; look at the plan, then save",
      () => this.sendChoices(),
      { "data-act": "merge" },
    );
    this.box = el(
      "div",
      { class: "pk-ask pk-conflict", role: "alertdialog", "aria-label": "Conflict", tabindex: -1 },
      el("strong", {}, "Nothing was saved: another has changed the folder since it was read."),
      message.problem ? this.unreadable(message) : this.both(message.taken),
    );
    this.count();
  }

  unreadable(message) {
    return [
      el(
        "div",
        {},
        `What is in the folder now holds faults, so that it cannot be merged: ${message.problem}`,
      ),
      el("div", { class: "pk-scroll" }, tableOf(message.sides.columns, message.sides.rows, "Both sides")),
      el("div", {}, "Export your own to a new folder, or have the folder mended. ", this.closing()),
    ];
  }

  both(taken) {
    const count = (number, one, many) => `${number} ${number === 1 ? one : many}`;
    const words = taken.length
      ? `${count(taken.length, "change of theirs touches", "changes of theirs touch")} ` +
        "nothing that you changed, and will be taken"
      : "They changed nothing else that is in these tables";
    return [
      taken.length
        ? el(
            "details",
            {},
            el("summary", {}, words),
            el("div", { class: "pk-scroll" }, tableOf([...PLACE_COLUMNS, "theirs"], taken)),
          )
        : el("div", {}, `${words}.`),
      this.clashes.length
        ? el("div", { class: "pk-scroll" }, this.table())
        : el("div", {}, "Nothing was changed by both of you."),
      el(
        "div",
        { class: "pk-answers" },
        this.merge,
        this.clashes.length ? [this.all("yours", "All mine"), this.all("theirs", "All theirs")] : null,
        this.left,
        button(
          "Load theirs instead",
          "Load the folder; your own work stays as a version",
          () => {
            this.send({ kind: "take_theirs" });
            this.onClose();
          },
          { "data-act": "take_theirs" },
        ),
        this.closing(),
      ),
    ];
  }

  closing() {
    return button("Close", "Go on editing; nothing is lost", this.onClose, { "data-act": "close_conflict" });
  }

  table() {
    return el(
      "table",
      { class: "pk-plain" },
      el("caption", {}, "Changed by both: choose"),
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          [...PLACE_COLUMNS, ...SIDES].map(name => el("th", { scope: "col" }, name)),
        ),
      ),
      el(
        "tbody",
        {},
        this.clashes.map((clash, number) =>
          el(
            "tr",
            {},
            PLACE_COLUMNS.map(name => el("td", {}, clash[name])),
            SIDES.map(side => el("td", {}, this.option(clash, number, side))),
          ),
        ),
      ),
    );
  }

  option(clash, number, side) {
    const radio = el("input", {
      type: "radio",
      name: `${this.group}-${number}`,
      value: side,
      checked: clash.choice === side,
      "aria-label": `${clash.table} ${clash.row} ${clash.column}, ${side}: ${clash[side] || "empty"}`,
      onchange: () => {
        this.chosen.set(clash, side);
        this.count();
      },
    });
    return el("label", {}, radio, " ", clash[side] || el("em", {}, "empty"));
  }

  all(side, words) {
    return button(
      words,
      `Choose ${side} wherever both changed the same`,
      () => {
        this.box.querySelectorAll(`input[value=${side}]`).forEach(radio => {
          radio.checked = true;
        });
        this.clashes.forEach(clash => this.chosen.set(clash, side));
        this.count();
      },
      { "data-all": side },
    );
  }

  count() {
    const open = this.clashes.length - this.chosen.size;
    this.merge.ariaDisabled = String(open > 0);
    this.left.textContent = open ? `${open} to choose` : "";
  }

  sendChoices() {
    if (this.merge.ariaDisabled === "true") return;
    this.send({ kind: "merge", choices: [...this.chosen].map(([clash, side]) => [...clash.where, side]) });
    this.onClose();
  }
}
