// Beside the board: a thread over all outings, the season, what an early end costs. The kernel answers for
// the campaign as it stands on the board; whatever changes that has it asked anew, and what stands is greyed
// until the answer is there.

import { strips } from "./board_strips.js";
import { button, el, options, tabButton, tableOf, turnTab } from "./dom.js";

export const LOOKS = [
  ["board", "Board", "Outings beside each other, with their tasks"],
  ["thread", "Thread", "Where an item is, or what a state is, over all outings"],
  ["season", "Season", "The dates of all outings, rest, last dates of tasks, night"],
  ["end", "Early end", "What an outing leaves if it ends at any minute"],
];
const PAUSE_MS = 120; // a slider that moves on is not asked about

// A minute as typed, `h:mm` or minutes; NaN: neither.
export function minuteOf(text) {
  const [, hours, minutes] = /^\s*(?:(\d+):)?(\d+)\s*$/.exec(text) ?? [];
  return minutes === undefined ? NaN : 60 * Number(hours ?? 0) + Number(minutes);
}

function plainTable({ caption, columns, rows, is_long: isLong }) {
  if (!rows.length) return el("p", { class: "pk-quiet" }, `${caption}: nothing`);
  if (!isLong) return tableOf(columns, rows, caption);
  const table = tableOf(columns, rows);
  table.ariaLabel = caption;
  return el("details", {}, el("summary", {}, caption), table);
}

export class BoardLooks {
  // `events`: `onLook` when another one is chosen, `lines` makes a list of words with their severities.
  constructor(send, events) {
    Object.assign(this, { send, events, what: "board", asks: 0, answered: 0, chosen: {}, known: {} });
    this.tabs = el(
      "div",
      { class: "pk-tabs pk-looks", role: "tablist", "aria-label": "Views of the campaign" },
      LOOKS.map(([name, words, hint]) =>
        tabButton(words, 0, {
          title: hint,
          "data-look": name,
          onclick: () => this.look(name),
          onkeydown: event => this.onTabKey(event),
        }),
      ),
    );
    this.pick = el("select", { class: "pk-field", onchange: () => this.choose(this.pick.value) });
    this.range = el("input", {
      type: "range",
      min: 0,
      step: 1,
      "aria-label": "Work ends at this minute",
      oninput: () => this.setMinute(Number(this.range.value), PAUSE_MS),
    });
    this.field = el("input", {
      class: "pk-field pk-name",
      "aria-label": "Work ends at, PET h:mm",
      onchange: () => this.setMinute(minuteOf(this.field.value)),
    });
    this.minute = el(
      "span",
      { class: "pk-group" },
      "ends at PET",
      button("−", "A minute earlier", () => this.setMinute(this.known.end.minute - 1)),
      this.range,
      button("+", "A minute later", () => this.setMinute(this.known.end.minute + 1)),
      this.field,
    );
    this.stands = el("p", { class: "pk-hint", role: "status" });
    this.answer = el("div", { class: "pk-look-answer" });
    this.box = el(
      "div",
      { class: "pk-look", role: "tabpanel", hidden: true },
      (this.picks = el("div", { class: "pk-group pk-look-picks" }, this.pick, this.minute)),
      this.stands,
      this.answer,
    );
    this.mark();
  }

  onTabKey(event) {
    const names = LOOKS.map(([name]) => name);
    turnTab(event, this.tabs, names, this.what, next => this.look(next));
  }

  look(what) {
    this.what = what;
    this.mark();
    this.events.onLook();
    this.ask();
  }

  mark() {
    for (const tab of this.tabs.children) {
      const isOn = tab.dataset.look === this.what;
      tab.ariaSelected = String(isOn);
      tab.tabIndex = isOn ? 0 : -1;
    }
    const isBoard = this.what === "board";
    this.box.hidden = isBoard;
    if (isBoard) return;
    const [, words, hint] = LOOKS.find(([name]) => name === this.what);
    this.box.setAttribute("aria-label", words);
    this.pick.ariaLabel = this.what === "thread" ? "What is followed" : "Outing";
    this.picks.hidden = this.what === "season";
    this.minute.hidden = this.what !== "end";
    this.paint(this.known[this.what] ?? { words: hint });
  }

  choose(value) {
    this.chosen = { ...this.chosen, [this.what === "thread" ? "name" : "outing"]: value };
    if (this.what === "end") delete this.chosen.minute;
    this.ask();
  }

  setMinute(minute, pauseMs = 0) {
    if (!this.known.end) return;
    if (Number.isNaN(minute)) {
      this.field.setAttribute("aria-invalid", "true");
      return;
    }
    this.chosen.minute = Math.min(Math.max(minute, 0), this.known.end.last);
    this.known.end.minute = this.chosen.minute;
    this.range.value = this.chosen.minute;
    this.ask(pauseMs);
  }

  // Of what is looked at; the board has it told without being asked.
  ask(pauseMs = 0) {
    clearTimeout(this.timer);
    if (this.what === "board") return;
    this.asks += 1;
    this.setOld();
    const message = { kind: "board_look", what: this.what, ask: this.asks, ...this.chosen };
    this.timer = setTimeout(() => this.send(message), pauseMs);
  }

  setOld() {
    const isOld = this.asks !== this.answered;
    this.box.setAttribute("aria-busy", String(isOld));
    if (isOld) this.stands.textContent = "Worked out anew …";
  }

  hear(message) {
    if (message.ask !== this.asks) return;
    this.answered = message.ask;
    this.known[message.what] = message;
    this.setOld();
    if (message.what === this.what) this.paint(message);
  }

  paint(message) {
    const { picks = [], words = "", stands = "", tables = [], lines = [] } = message;
    options(
      this.pick,
      picks.map(([value, label]) => [value, label]),
      message.name ?? message.outing,
    );
    this.pick.disabled = !picks.length;
    if (message.last !== undefined) {
      this.range.max = message.last;
      this.range.value = message.minute;
      this.range.setAttribute("aria-valuetext", `PET ${message.at}`);
      this.field.value = message.at;
      this.field.removeAttribute("aria-invalid");
    }
    if (this.asks === this.answered) this.stands.textContent = stands && `The campaign ${stands}.`;
    this.answer.replaceChildren(
      el("p", { class: "pk-look-words" }, words),
      message.rows ? strips(message, words) : "",
      lines.length ? el("h4", { class: "pk-sub" }, "What it costs the outings to come") : "",
      lines.length ? this.events.lines(lines) : "",
      ...tables.map(plainTable),
    );
  }
}
