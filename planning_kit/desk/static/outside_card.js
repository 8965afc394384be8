// The card of one lane: what is typed there is about one step and one event until it is logged or given up.

import { button, el, options } from "./dom.js";
import {
  EVENT_HINTS,
  EVENT_KEYS,
  EVENT_WORDS,
  entryOf,
  eventOfKey,
  heldAfter,
  offeredSteps,
  problemsOf,
  stepPairs,
  triedWords,
  usualEvent,
} from "./outside_entry.js";
import { keyed, laneWords, lateSign } from "./outside_words.js";
import { pet } from "./times.js";

export class LaneCard {
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
      metabolic_w: field("W", 4, "Mean metabolic rate since PET 0, W"),
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
      el("span", { class: "pk-group pk-acts" }, Object.values(this.buttons), this.step),
      el(
        "span",
        { class: "pk-group pk-fields" },
        el("span", { class: "pk-label" }, "at"),
        Object.values(this.fields),
        this.aloneLabel,
      ),
    );
    this.does = el("div", { class: "pk-lane-does" });
    this.after = el("div", { class: "pk-lane-next" });
    this.box = el(
      "div",
      {
        class: `pk-lane-card ${lane.is_crew ? "" : "pk-lane-slim"}`,
        tabindex: 0,
        role: "group",
        "aria-label": this.who,
        "data-lane": this.who,
      },
      this.head,
      this.does,
      this.about,
      this.after,
      this.entry,
      this.faults,
    );
    this.number = number;
    this.box.addEventListener("keydown", event => this.onKey(event));
  }

  show(lane, refused, clock) {
    this.lane = lane;
    this.isCrew = lane.is_crew;
    this.pairs = stepPairs(lane.steps);
    if (!lane.steps.some(step => step.step === this.picked)) this.picked = null;
    const first = lane.steps[0];
    const isBusy = first?.status === "in progress";
    const minute = (clock.now_ms - clock.pet_zero_ms) / 60000;
    this.head.replaceChildren(
      el("span", { class: "pk-lane-number", "aria-hidden": "true" }, this.number),
      el("strong", { class: "pk-lane-who" }, lane.who),
      ...(lane.title ? [el("span", { class: "pk-quiet" }, lane.title)] : []),
      ...lateSign(first),
    );
    this.does.replaceChildren(...laneWords(lane, first, isBusy, minute));
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
    const next = lane.steps.find(step => step !== first && step.status !== "done" && step.start !== null);
    this.after.textContent = next ? `then ${pet(next.start)} ${next.step} ${next.title}` : "";
    for (const each of [this.does, this.about, this.after]) each.title = each.textContent; // where it is cut
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
    return usualEvent(this.chosen);
  }

  hold() {
    const isTyped = this.alone.checked || Object.values(this.fields).some(field => field.value);
    this.held = heldAfter(this.held, this.step.value, this.usual, isTyped);
  }

  offer() {
    const { pairs, value } = offeredSteps(this.lane, this.pairs, this.held, this.picked);
    options(this.step, pairs, value);
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
    this.faults.replaceChildren(
      el("span", {}, el("strong", {}, `Not logged: ${triedWords(refused.entry)}. `), problemsOf(refused)),
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
    const entry = entryOf(event, this.step.value, this.chosen, this.alone.checked, typed);
    this.console.send({ kind: "log", lane: this.who, by: this.console.clock.by.value, ...entry }, () => {
      if (!this.isRefused) this.clear(typed);
    });
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
      const found = eventOfKey(event.key);
      if (!found) return;
      if (found === "partly" && !this.fields.remaining_min.value) this.fields.remaining_min.focus();
      else if (found === "suit" && !this.fields.metabolic_w.value) this.fields.metabolic_w.focus();
      else this.log(found);
    }
    event.preventDefault();
  }
}
