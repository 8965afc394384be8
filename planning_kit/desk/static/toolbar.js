// Above the chart: undo, versions, files, PET 0; and the messages that need an answer.

import { ConflictPanel } from "./conflict.js";
import { button, el } from "./dom.js";
import { hourMinute, momentMs, momentText } from "./times.js";
import { WorkControl } from "./work.js";

const MOST_OFFERS = 3;

export class Toolbar {
  constructor(send, chart) {
    this.send = send;
    // Greyed out, not disabled: a disabled button would lose the keyboard's place.
    const able = (label, kind) =>
      button(label, "", event => event.currentTarget.ariaDisabled !== "true" && send({ kind }), {
        "data-act": kind,
      });
    this.undo = able("Undo", "undo");
    this.redo = able("Redo", "redo");
    this.save = able("Save", "save");
    this.save.title = "Save to the scenario's folder (Alt+S)";
    this.versions = el("select", { class: "pk-field", "aria-label": "Version", title: "A named version" });
    this.name = el("input", {
      class: "pk-field pk-name",
      placeholder: "name a version",
      "aria-label": "Name of a new version",
    });
    this.folder = el("input", {
      class: "pk-field pk-name",
      placeholder: "new folder",
      "aria-label": "New folder for the export",
    });
    this.baseline = el("select", {
      class: "pk-field",
      "aria-label": "Baseline",
      title: "Show where a version had each step",
      onchange: () => send({ kind: "baseline", name: this.baseline.value }),
    });
    const drop = () => send({ kind: "drop", name: this.versions.value });
    const picked = kind => () => send({ kind, name: this.versions.value });
    const keep = () => {
      send({ kind: "keep", name: this.name.value });
      this.name.value = "";
    };
    const out = () => send({ kind: "export", folder: this.folder.value });
    this.name.addEventListener("keydown", event => event.key === "Enter" && keep());
    this.folder.addEventListener("keydown", event => event.key === "Enter" && out());
    this.state = el("span", { class: "pk-state", role: "status" });
    this.tightest = el("span", { class: "pk-fact pk-tightest" });
    this.head = el("div", { class: "pk-head", role: "status", "aria-label": "When both are inside" });
    this.said = el("div", { class: "pk-said", role: "status" });
    this.asks = el("div", { class: "pk-asks" });
    this.clash = el("div", { class: "pk-asks" });
    this.pet_zero = new PetZeroSlider(send);
    const group = (...parts) => el("span", { class: "pk-group" }, parts);
    const planning = (...parts) => el("span", { class: "pk-group pk-planning" }, parts);
    this.box = el(
      "div",
      { class: "pk-toolbar", role: "toolbar", "aria-label": "Plan" },
      group(this.undo, this.redo),
      group(this.save, this.state),
      planning(this.name, button("Keep", "Keep what is typed under this name", keep, { "data-act": "keep" })),
      planning(
        this.versions,
        button("Switch", "Make this version current (undo leads back)", picked("switch"), {
          "data-act": "switch",
        }),
        button("Compare", "What moved from this version to now", picked("compare"), {
          "data-act": "compare",
        }),
        button("×", "Delete this version", drop, { "data-act": "drop", "aria-label": "Delete this version" }),
      ),
      planning(el("label", { class: "pk-label" }, "Baseline ", this.baseline)),
      planning(
        this.folder,
        button("Export", "Save as a new folder beside this one", out, { "data-act": "export" }),
      ),
    );
    this.zoom = group(
      button("−", "Zoom out", () => chart.zoom(1.5), { "aria-label": "Zoom out" }),
      button("+", "Zoom in (Ctrl and wheel)", () => chart.zoom(1 / 1.5), { "aria-label": "Zoom in" }),
      button("All", "The whole outing (Home)", () => chart.zoomAll()),
    );
  }

  show(status) {
    this.undo.ariaDisabled = String(!status.undo);
    this.redo.ariaDisabled = String(!status.redo);
    this.save.ariaDisabled = String(!status.unsaved);
    this.undo.title = status.undo ? `Undo: ${status.undo} (Ctrl+Z)` : "Nothing to undo";
    this.redo.title = status.redo ? `Redo: ${status.redo} (Ctrl+Y)` : "Nothing to redo";
    this.isKept = status.is_kept;
    const unsaved = status.is_kept ? "unsaved" : "unsaved, not kept on disk";
    this.state.textContent = status.unsaved ? unsaved : "saved";
    this.state.classList.toggle("pk-unsaved", status.unsaved);
    options(
      this.versions,
      status.versions.map(name => [name, name]),
      this.versions.value,
    );
    options(this.baseline, [["", "none"], ...status.versions.map(name => [name, name])], status.baseline);
    this.setHead(status.head);
    this.pet_zero.show(status.pet_zero);
  }

  setHead(head) {
    this.head.replaceChildren(
      ...head.map(([name, words, level]) =>
        el("span", { class: `pk-fact ${level && `pk-fact-${level}`}` }, `${name}: `, el("strong", {}, words)),
      ),
      this.tightest,
    );
  }

  setTightest(tightest) {
    this.tightest.replaceChildren(...(tightest ? ["Tightest: ", el("strong", {}, tightest.words)] : []));
    this.tightest.className = `pk-fact pk-tightest ${tightest?.level ? `pk-fact-${tightest.level}` : ""}`;
    this.tightest.title = tightest?.all ?? "";
  }

  say(message) {
    const back = message.way_back;
    this.said.replaceChildren(
      message.text,
      ...(back
        ? [" ", button(back.label, "", () => this.send({ kind: back.kind }), { "data-act": back.kind })]
        : []),
    );
    this.said.className = `pk-said pk-said-${message.level}`;
    clearTimeout(this.timer);
    if (message.level === "good" && !back) this.timer = setTimeout(() => this.hush(), 8000);
  }

  hush() {
    this.said.replaceChildren();
  }

  offer({ offers }) {
    const more = offers.length - MOST_OFFERS;
    const told = `${more} more, shown when one of these is gone.`;
    const left = more > 0 ? [el("div", { class: "pk-ask" }, told)] : [];
    this.asks.replaceChildren(...offers.slice(0, MOST_OFFERS).map(offer => this.asked(offer)), ...left);
  }

  asked(offer) {
    const act = (label, hint, kind) =>
      button(label, hint, () => this.send({ kind, path: offer.path }), { "data-act": kind });
    const inUse = [
      `Another session on this scenario is open, with unsaved work of ${offer.written}: ` +
        "in use, it stays with that session. ",
      act("Copy", "Take a copy of it into this session; undo leads back", "restore"),
    ];
    const left = [
      `There is unsaved work on this scenario, last written ${offer.written}. `,
      act("Restore", "Take it up; undo leads back", "restore"),
      act("Discard", "Delete it", "discard"),
    ];
    return el("div", { class: "pk-ask", role: "alert" }, ...(offer.in_use ? inUse : left));
  }

  conflict(message) {
    const panel = new ConflictPanel(message, this.send, () => this.clash.replaceChildren());
    this.clash.replaceChildren(panel.box);
    panel.box.focus({ preventScroll: true });
  }
}

export function options(select, pairs, value) {
  const now = JSON.stringify(pairs);
  if (select.dataset.pairs !== now) {
    select.dataset.pairs = now;
    select.replaceChildren(...pairs.map(([key, words]) => el("option", { value: key }, words)));
  }
  if (pairs.some(([key]) => key === value)) select.value = value;
}

const KEYS_MS = 900;

export class PetZeroSlider {
  constructor(send) {
    this.send = send;
    this.field = el("input", {
      class: "pk-field pk-moment",
      type: "datetime-local",
      step: 60,
      "aria-label": "PET 0, UTC",
    });
    this.slider = el("input", {
      class: "pk-slider",
      type: "range",
      step: 1,
      "aria-label": "PET 0 within the range, minutes",
    });
    this.strip = el("div", { class: "pk-sweep", "aria-hidden": "true" });
    this.ends = [el("span", { class: "pk-quiet" }), el("span", { class: "pk-quiet" })];
    this.sweep = new WorkControl(
      "sweep",
      "Try all",
      "Time the plan at every 5 minutes of this range",
      send,
      () => this.strip.replaceChildren(),
    );
    this.box = el(
      "div",
      { class: "pk-pet-zero" },
      el("label", { class: "pk-label" }, "PET 0 UTC ", this.field),
      this.ends[0],
      el("span", { class: "pk-slide" }, this.slider, this.strip),
      this.ends[1],
      this.sweep.box,
    );
    this.slider.addEventListener("pointerdown", () => {
      this.drag = Math.random().toString(36);
    });
    this.slider.addEventListener("input", () => this.move());
    this.slider.addEventListener("pointerup", () => {
      this.drag = null;
    });
    this.slider.addEventListener("keydown", event => event.key.startsWith("Arrow") && this.holdKeys());
    // Typed digit by digit, a year changes four times: the keyboard ends with Enter or by leaving.
    this.field.addEventListener("keydown", event => {
      if (event.key === "Enter") this.commit();
      else if (event.key !== "Tab" && event.key !== "Shift") this.isTyping = true;
    });
    this.field.addEventListener("blur", () => this.isTyping && this.commit());
    this.field.addEventListener("change", () => this.isTyping || this.commit());
  }

  show(pet_zero) {
    this.first = pet_zero.first;
    this.last = pet_zero.last;
    this.slider.min = 0;
    this.slider.max = Math.round((this.last - this.first) / 60000);
    if (!this.drag && !this.isWaiting) this.slider.value = Math.round((pet_zero.at - this.first) / 60000);
    if (!this.isTyping) this.field.value = momentText(pet_zero.at);
    this.ends[0].textContent = hourMinute(this.first);
    this.ends[1].textContent = hourMinute(this.last);
  }

  commit() {
    this.isTyping = false;
    const ms = momentMs(this.field.value);
    if (ms !== null) this.send({ kind: "pet_zero", ms });
  }

  holdKeys() {
    // arrows in quick succession are one edit
    this.drag ??= Math.random().toString(36);
    clearTimeout(this.held);
    this.held = setTimeout(() => {
      this.drag = null;
    }, KEYS_MS);
  }

  move() {
    // one message at a time: the next goes when the last was answered
    if (this.isWaiting) return;
    this.isWaiting = true;
    const value = this.slider.value;
    this.send({ kind: "pet_zero", ms: this.first + Number(value) * 60000, drag: this.drag ?? null }, () => {
      this.isWaiting = false;
      if (this.slider.value !== value) this.move();
    });
  }

  swept(message) {
    if (message.result) this.strip.replaceChildren();
    for (const each of message.result ?? (message.part ? [message.part] : []))
      this.strip.append(this.tried(each));
    this.sweep.told(message, "bars: inside the hard limit; dots: no plan or past it");
  }

  tried(each) {
    const share = (each.ms - this.first) / (this.last - this.first);
    const level = each.left === null ? "none" : each.left < 0 ? "over" : "some";
    const words = each.left === null ? each.reason : `${each.left} min before the hard limit`;
    return el("span", {
      class: `pk-try pk-${level}`,
      style: `left:${(share * 100).toFixed(2)}%`,
      title: `${hourMinute(each.ms)}: ${words}`,
    });
  }
}
