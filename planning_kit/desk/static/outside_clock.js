// What time it is outside, where the log is kept, and where the outing stands in words.

import { button, el } from "./dom.js";
import { logWords, nextWords, silenceWords, standingLevel, standingLines } from "./outside_words.js";
import { gmtSeconds, petSeconds } from "./times.js";

// Re-timed is at every whole minute: after this long without, the picture is old.
const SILENT_MS = 100000;

const CALLS = {
  pet_zero: ["Log PET 0", "PET 0 was called: PET counts from that moment"],
  ingress: ["Log ingress", "Both are inside: what they have not begun is left"],
};

export class OutsideClock {
  constructor(send) {
    this.send = send;
    this.pet = el("strong", { class: "pk-clock-pet", "aria-label": "PET now" });
    this.gmt = el("span", { class: "pk-clock-gmt" });
    this.next = el("span", { class: "pk-clock-next", "aria-label": "What changes next" });
    this.kind = el(
      "select",
      { class: "pk-field", "aria-label": "Clock", title: "What now is", onchange: () => this.onKind() },
      [
        ["wall", "follows the wall clock"],
        ["running", "runs from"],
        ["held", "is held at"],
      ].map(([key, words]) => el("option", { value: key }, words)),
    );
    this.at = el("input", {
      class: "pk-field pk-at",
      "aria-label": "Now, PET or UTC",
      placeholder: "1:40 or 13:00Z",
      title: "PET like 1:40, UTC like 13:00Z or 134/13:00",
    });
    this.at.addEventListener("keydown", event => event.key === "Enter" && this.set());
    this.setButton = button("Set", "Set now by hand", () => this.set(), { "data-act": "clock" });
    this.by = el("input", {
      class: "pk-field pk-by",
      "aria-label": "Logged by",
      placeholder: "your name",
      title: "Who logs: written into every entry",
    });
    this.callAt = el("input", {
      class: "pk-field pk-call-at",
      "aria-label": "Time of pet_zero or ingress",
      placeholder: "now",
      title: "When: UTC like 11:24Z, or PET; empty: now",
    });
    const call = () =>
      send(
        { kind: "log", lane: "", event: this.clock.call, at: this.callAt.value, by: this.by.value },
        () => {
          if (!this.last.refused[this.clock.call]) this.callAt.value = "";
        },
      );
    this.callAt.addEventListener("keydown", event => event.key === "Enter" && call());
    this.callButton = button("", "", call, { "data-act": "call" });
    this.call = el("span", { class: "pk-group" }, this.callButton, this.callAt);
    this.where = el("span", { class: "pk-quiet pk-log-where" });
    this.rehearse = button(
      "Rehearse from here",
      "Go on in a log of this session; the file is left alone",
      () => send({ kind: "rehearse" }),
      { "data-act": "rehearse" },
    );
    this.trouble = el("div", { class: "pk-trouble", role: "alert", hidden: true });
    this.standing = el("ul", {
      class: "pk-standing",
      tabindex: 0,
      "aria-live": "polite",
      "aria-label": "Where the outing stands",
    });
    this.box = el(
      "div",
      { class: "pk-outside-top" },
      el(
        "div",
        { class: "pk-face" },
        el("span", { class: "pk-clock-label" }, "PET"),
        this.pet,
        el("span", { class: "pk-clock-beside" }, this.gmt, this.next),
      ),
      (this.controls = el(
        "div",
        { class: "pk-clock" },
        el(
          "span",
          { class: "pk-group" },
          el("span", { class: "pk-label" }, "Now"),
          this.kind,
          this.at,
          this.setButton,
        ),
        this.call,
      )),
      this.trouble,
    );
    this.book = el(
      "div",
      { class: "pk-row-tools pk-book" },
      el("label", { class: "pk-label" }, "By ", this.by),
      this.where,
      this.rehearse,
    );
  }

  onKind() {
    const isWall = this.kind.value === "wall";
    this.at.hidden = this.setButton.hidden = isWall;
    if (isWall || this.kind.value === "held") this.set();
    else this.at.focus();
  }

  set() {
    this.send(
      { kind: "clock", clock: this.kind.value, text: this.kind.value === "wall" ? "" : this.at.value },
      () => {
        if (this.clock.kind !== this.kind.value) this.show(this.last);
        else this.at.value = "";
      },
    );
  }

  show(message) {
    this.last = message;
    this.clock = message.clock;
    this.seen = performance.now();
    if (this.box.ownerDocument.activeElement !== this.at) {
      this.kind.value = message.clock.kind;
      this.at.hidden = this.setButton.hidden = message.clock.kind === "wall";
    }
    this.changes = message.chart ?? this.changes;
    this.call.hidden = !message.clock.call;
    [this.callButton.textContent, this.callButton.title] = CALLS[message.clock.call] ?? ["", ""];
    this.where.textContent = logWords(message.log);
    this.where.classList.toggle("pk-unkept", !message.log.is_kept);
    this.rehearse.hidden = !message.log.later;
    this.standing.replaceChildren(
      ...standingLines(message.standing).map(line => el("li", { class: standingLevel(line) }, line)),
    );
    this.tick();
  }

  get nowMs() {
    return this.clock.now_ms + (this.clock.runs ? performance.now() - this.seen : 0);
  }

  get minute() {
    return (this.nowMs - this.clock.pet_zero_ms) / 60000;
  }

  setTrouble() {
    const silent = this.clock.runs ? performance.now() - this.seen : 0;
    const shown = (this.clock.now_ms - this.clock.pet_zero_ms) / 60000;
    const words = silent > SILENT_MS ? silenceWords(silent, shown) : this.last.trouble;
    this.trouble.hidden = !words;
    if (this.trouble.textContent !== words) this.trouble.textContent = words;
  }

  tick() {
    if (!this.clock) return;
    this.setTrouble();
    this.pet.textContent = petSeconds(this.minute);
    const how = { held: ", held", running: ", set by hand" }[this.clock.kind] ?? "";
    this.gmt.textContent = `GMT ${gmtSeconds(this.nowMs)}${how}`;
    const next = this.changes ? nextWords(this.changes, this.minute) : [];
    if (this.next.textContent !== next.join(""))
      this.next.replaceChildren(...next.map(each => el("div", {}, each)));
  }
}
