// One card a lane: what is in hand or next, a key an event, and what goes with it. Cards stay while they are
// shown anew, so that nothing typed and no keyboard place is lost.

import { button, el, pet } from "./dom.js";
import { options } from "./toolbar.js";

const EVENT_KEYS = { started: "s", finished: "f", partly: "p", skipped: "k", suit: "r" };
const EVENT_WORDS = {
  started: "Started",
  finished: "Finished",
  partly: "Partly",
  skipped: "Skipped",
  suit: "Rate",
};
const EVENT_HINTS = {
  started: "Work on the step began",
  finished: "The step is done",
  partly: "Still at it: so many minutes remain",
  skipped: "It will not be done",
  suit: "Mean metabolic rate of this crew member since egress, W",
};

export class OutsideConsole {
  constructor(send, clock, onStep) {
    Object.assign(this, { send, clock, onStep });
    this.cards = new Map();
    this.box = el("div", { class: "pk-console", role: "group", "aria-label": "Log entries" });
    this.hint = el(
      "p",
      { class: "pk-hint" },
      "Keys: 1, 2, … choose a card; S started, F finished, P partly, K skipped, R rate. " +
        "Enter in a field logs the bold one. A time left empty is now. Choose a bar to log another step.",
    );
    this.box.append(this.hint);
  }

  show(message) {
    for (const [who, card] of this.cards)
      if (!message.lanes.some(lane => lane.who === who)) {
        card.box.remove();
        this.cards.delete(who);
      }
    message.lanes.forEach((lane, number) => {
      if (!this.cards.has(lane.who)) {
        const card = new LaneCard(this, lane, number + 1);
        this.cards.set(lane.who, card);
        this.hint.before(card.box);
      }
      this.cards.get(lane.who).show(lane, message.refused[lane.who], message.clock);
    });
  }

  pick(step) {
    // a step chosen in the chart is the one to log, on the cards that it is open on
    for (const card of this.cards.values()) card.pick(step);
  }

  goTo(step) {
    [...this.cards.values()].find(card => card.holds(step))?.box.focus();
  }

  onKey(event) {
    // from anywhere in the workbench, but not from a field
    const card = [...this.cards.values()][Number(event.key) - 1];
    if (!card || event.ctrlKey || event.metaKey || event.altKey) return false;
    card.box.focus();
    return true;
  }
}

class LaneCard {
  constructor(console, lane, number) {
    Object.assign(this, { console, who: lane.who });
    const field = (label, size, hint) =>
      el("input", {
        class: "pk-field",
        "aria-label": `${label}, ${this.who}`,
        placeholder: label,
        title: hint,
        size,
      });
    this.step = el("select", {
      class: "pk-field pk-step",
      "aria-label": `Step of ${this.who}`,
      onchange: () => {
        this.picked = this.step.value;
        this.hold();
        this.paint();
      },
    });
    this.fields = {
      at: field("now", 8, "When: PET like 1:23, UTC like 13:02Z or 134/13:02; empty: now"),
      remaining_min: field("min left", 5, "Minutes that the step still takes"),
      metabolic_w: field("W", 4, "Mean metabolic rate since egress, W"),
      note: field("note", 18, "A note"),
    };
    for (const each of Object.values(this.fields))
      each.addEventListener("input", () => {
        this.hold();
        this.paint();
      });
    this.alone = el("input", {
      type: "checkbox",
      onchange: () => {
        this.hold();
        this.paint();
      },
    });
    this.aloneLabel = el(
      "label",
      {
        class: "pk-label pk-alone",
        title: "A step of both: only this one has begun or finished it; else both have",
      },
      this.alone,
      ` ${this.who} only`,
    );
    this.buttons = Object.fromEntries(
      Object.keys(EVENT_KEYS).map(event => [
        event,
        button("", `${EVENT_HINTS[event]} (${EVENT_KEYS[event].toUpperCase()})`, () => this.log(event), {
          "data-event": event,
        }),
      ]),
    );
    for (const [event, each] of Object.entries(this.buttons))
      each.append(...keyed(EVENT_WORDS[event], EVENT_KEYS[event]));
    this.head = el("div", { class: "pk-lane-head" });
    this.about = el("div", { class: "pk-lane-about" });
    this.faults = el("div", { class: "pk-entry-faults", role: "alert", hidden: true });
    this.entry = el(
      "div",
      { class: "pk-lane-entry" },
      el("span", { class: "pk-group" }, this.step),
      el("span", { class: "pk-group" }, Object.values(this.buttons)),
      el(
        "span",
        { class: "pk-group pk-fields" },
        el("span", { class: "pk-label" }, "at"),
        Object.values(this.fields),
        this.aloneLabel,
      ),
    );
    this.box = el(
      "div",
      { class: "pk-lane-card", tabindex: 0, role: "group", "aria-label": this.who, "data-lane": this.who },
      this.head,
      this.about,
      this.entry,
      this.faults,
    );
    this.number = number;
    this.box.addEventListener("keydown", event => this.onKey(event));
  }

  show(lane, refused, clock) {
    this.lane = lane;
    this.isCrew = !lane.title;
    const how = { "in progress": "  (in progress)", done: "  (finished by the other)" };
    this.pairs = lane.steps.map(step => [
      step.step,
      `${step.step}  ${step.title || step.step}${how[step.status] ?? ""}`,
    ]);
    if (!lane.steps.some(step => step.step === this.picked)) this.picked = null;
    const first = lane.steps[0];
    const isBusy = first?.status === "in progress";
    const minute = (clock.now_ms - clock.egress_ms) / 60000;
    this.head.replaceChildren(
      el("span", { class: "pk-lane-number", "aria-hidden": "true" }, this.number),
      el("strong", { class: "pk-lane-who" }, lane.who),
      el("span", { class: "pk-lane-does" }, laneWords(lane, first, isBusy, minute)),
      ...lateSign(first),
    );
    this.about.hidden = !first;
    if (first)
      this.about.replaceChildren(
        el(
          "button",
          {
            type: "button",
            class: "pk-link pk-lane-step",
            title: "Why it stands where it does",
            onclick: () => this.console.onStep(first.step),
          },
          `${first.step} ${first.title}`,
        ),
        first.place ? ` ${first.place}` : "",
      );
    this.setRefused(refused);
    this.paint();
  }

  holds(step) {
    return this.lane.steps.some(each => each.step === step);
  }

  pick(step) {
    if (!this.holds(step)) return;
    this.picked = this.step.value = step;
    this.hold();
    this.paint();
  }

  get chosen() {
    return this.lane.steps.find(step => step.step === this.step.value);
  }

  get primary() {
    return this.held?.event ?? this.usual;
  }

  get usual() {
    return ["in progress", "done"].includes(this.chosen?.status) ? "finished" : "started";
  }

  // What is being typed is about this step and this event, whatever is heard meanwhile: a row of another
  // writer must not make it an entry of the step after.
  hold() {
    const isTyped = this.alone.checked || Object.values(this.fields).some(field => field.value);
    if (!isTyped || !this.step.value) this.held = null;
    else if (this.held?.step !== this.step.value) this.held = { step: this.step.value, event: this.usual };
  }

  offer() {
    const isGone = this.held && !this.holds(this.held.step);
    options(
      this.step,
      isGone ? [[this.held.step, `${this.held.step}  (not open any more)`], ...this.pairs] : this.pairs,
      this.held?.step ?? this.picked ?? this.lane.steps[0]?.step ?? "",
    );
    this.entry.hidden = !this.step.value;
  }

  paint() {
    this.offer();
    for (const [event, each] of Object.entries(this.buttons)) {
      const can = event === "suit" ? this.isCrew : Boolean(this.chosen?.events.includes(event));
      each.ariaDisabled = String(!can);
      each.classList.toggle("pk-primary", event === this.primary && (can || Boolean(this.held)));
    }
    this.aloneLabel.hidden = !this.chosen?.is_shared;
    this.buttons.suit.hidden = this.fields.metabolic_w.hidden = !this.isCrew;
  }

  setRefused(refused) {
    this.isRefused = Boolean(refused);
    const bad = new Set(refused?.faults.map(fault => fault.column));
    for (const [name, field] of Object.entries(this.fields)) {
      field.classList.toggle("pk-bad-field", bad.has(name));
      field.setAttribute("aria-invalid", String(bad.has(name)));
      // A view that opens anew gets what was typed in another.
      if (refused && !this.wasRefused && !field.value) field.value = refused.entry[name];
    }
    const typed = refused?.entry;
    if (refused && !this.wasRefused && !this.held && typed.step && typed.event in EVENT_KEYS)
      this.held = { step: typed.step, event: typed.event };
    this.wasRefused = this.isRefused;
    this.faults.hidden = !refused;
    if (!refused) return;
    const entry = refused.entry;
    const tried = [entry.step, entry.event, entry.at && `at ${entry.at}`].filter(Boolean).join(" ");
    this.faults.replaceChildren(
      el(
        "span",
        {},
        el("strong", {}, `Not logged: ${tried}. `),
        refused.faults.map(fault => fault.problem).join("; "),
      ),
      button("Give up", "Forget what was typed here", () => {
        this.clear();
        this.console.send({ kind: "forget", slot: this.who });
      }),
    );
  }

  log(event) {
    // One that is held is sent all the same: the log says why not.
    if (this.buttons[event].ariaDisabled === "true" && this.held?.event !== event) return;
    const typed = Object.fromEntries(Object.entries(this.fields).map(([name, field]) => [name, field.value]));
    const step = event === "suit" ? "" : this.step.value;
    const { is_shared, awaits, status } = this.chosen ?? {};
    const isAlone =
      (is_shared && this.alone.checked) || (awaits && (event === "started" || status === "done"));
    const alone = step && isAlone ? "yes" : "";
    this.console.send(
      { kind: "log", lane: this.who, event, step, alone, by: this.console.clock.by.value, ...typed },
      () => {
        if (!this.isRefused) this.clear(typed);
      },
    );
  }

  clear(sent) {
    // what was typed after an entry was sent belongs to the next one, and stays
    for (const [name, field] of Object.entries(this.fields))
      if (!sent || field.value === sent[name]) field.value = "";
    this.alone.checked = false;
    this.picked = this.held = null;
    this.offer();
    this.hold();
    this.paint();
  }

  onKey(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const isField = event.target.matches("input");
    if (isField && event.key === "Escape") this.box.focus();
    else if (isField && event.key === "Enter")
      this.log(event.target === this.fields.remaining_min ? "partly" : this.primary);
    else if (isField || event.target.matches("select")) return;
    else {
      const found = Object.keys(EVENT_KEYS).find(name => EVENT_KEYS[name] === event.key.toLowerCase());
      if (!found) return;
      if (found === "partly" && !this.fields.remaining_min.value) this.fields.remaining_min.focus();
      else if (found === "suit" && !this.fields.metabolic_w.value) this.fields.metabolic_w.focus();
      else this.log(found);
    }
    event.preventDefault();
  }
}

function keyed(words, key) {
  const at = words.toLowerCase().indexOf(key);
  return [words.slice(0, at), el("u", {}, words[at]), words.slice(at + 1)].filter(part => part !== "");
}

// Two lines: what they do now, and the step that this is about.
function laneWords(lane, first, isBusy, minute) {
  if (!first) return ["all steps done"];
  if (first.status === "done") return ["the other has finished this; still at it?"];
  if (isBusy && first.awaits)
    return [`the other is at it since ${pet(first.start)}; this one's start is not called`];
  if (isBusy) {
    const left = first.finish - minute;
    return [
      `at work since ${pet(first.start)}; `,
      left < 0.02
        ? el("strong", { class: "pk-over" }, "estimate used up")
        : left < 1
          ? "less than a minute to go"
          : `about ${Math.round(left)} min to go`,
    ];
  }
  const when = first.start === null ? "the next finds no place any more" : `next at ${pet(first.start)}`;
  return [lane.between ? `${lane.between}; ${when}` : when];
}

function lateSign(first) {
  if (!first || first.late === null) return [];
  const late = Math.round(first.late);
  const words = late === 0 ? "as planned" : `${Math.abs(late)} min ${late > 0 ? "behind" : "ahead"}`;
  return [el("span", { class: `pk-late ${late > 0 ? "pk-is-late" : ""}` }, words)];
}
