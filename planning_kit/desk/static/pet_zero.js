// PET 0: a field and a slider within its range, and what the plan comes to at every 5 minutes of it.

import { el, say } from "./dom.js";
import { hourMinute, momentMs, momentText } from "./times.js";
import { WorkControl } from "./work.js";

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
    say(this.ends[0], hourMinute(this.first));
    say(this.ends[1], hourMinute(this.last));
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
    this.sweep.told(message, "bars: inside the hard limit");
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
