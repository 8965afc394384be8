// What a drop would come to, while the bar is still in the hand: asked of the kernel, painted as ghosts, told
// in a box at the pointer. Nothing is changed by it.

import { rect, text, widthOf } from "./chart_shapes.js";
import { el } from "./dom.js";
import { shape } from "./drawing.js";

const PAUSE_MS = 25; // a hand that moves on wants the next ghosts sooner than the checks of these
const LONG_PAUSE_MS = 250; // what gives way can take the kernel seconds
const MOST_WINDOWS = 3;
const BOX_GAP_PX = 16;
const GHOST_FONT = "650 11px";

// At most one question is under way; the newest drop that waits takes the place of older ones. The checks
// are asked for when the hand is still.
export class Candidate {
  constructor(send, onTold) {
    Object.assign(this, { send, onTold, drop: null, key: null, answer: null, flight: null });
  }

  // `drop` is the message that the drop would send; null: it would send none.
  ask(drop) {
    const key = drop && JSON.stringify(drop);
    if (key === this.key) return;
    clearTimeout(this.timer);
    Object.assign(this, { drop, key });
    if (!drop) this.answer = null;
    this.goOn();
  }

  goOn() {
    if (this.flight || !this.drop) return;
    if (!this.isCurrent) this.fly("candidate");
    else if (!this.answer.found && !this.answer.refused)
      this.timer = setTimeout(() => this.fly("consequences"), this.answer.waits ? LONG_PAUSE_MS : PAUSE_MS);
  }

  fly(kind) {
    const flight = { key: this.key };
    this.flight = flight;
    this.send({ kind, drop: this.drop }, () => {
      this.flight = null;
      this.goOn();
    });
  }

  hear(told) {
    if (!this.drop || !this.flight || this.flight.isLate) return; // taken back meanwhile
    this.answer = { ...told, key: this.flight.key };
    this.onTold();
  }

  get isCurrent() {
    return this.answer !== null && this.answer.key === this.key;
  }

  stop() {
    this.ask(null);
    if (this.flight) this.flight.isLate = true;
  }
}

// The steps that are pushed, where they would be; with each window that they leave or come into.
export function paintCandidate({ moved = [], windows = [] }, { places, x, clipId }) {
  const layer = [];
  for (const [step, who, start, finish] of moved) {
    const main = places.lanes[who]?.main;
    if (!main) continue;
    const [left, right] = [x(start), x(finish)];
    const line = (words, y) => {
      if (widthOf(words, GHOST_FONT) + 6 <= right - left) layer.push(text(words, left + 3, main.y + y, {}));
    };
    const changes = windows.filter(([changed]) => changed === step);
    layer.push(rect(left, right, main, { "data-step": step, class: changes.length ? "pk-leaves" : null }));
    line(step, Math.min(main.height - 3, 13));
    changes.forEach(([, was, now], at) => line(`${was || "none"} → ${now || "none"}`, 27 + at * 12));
  }
  return shape("g", { "clip-path": `url(#${clipId})`, class: "pk-candidate" }, layer);
}

// The lines of the box: where it goes, the end, limits, windows, then what the checks and margins say.
export function candidateLines(where, answer, isCurrent) {
  const line = (words, look = "") => el("div", { class: look || null }, words);
  const lines = [line(where, "pk-drag-where")];
  if (!answer) return lines;
  const old = isCurrent ? "" : "pk-pending";
  if (!answer.end) return [...lines, line(answer.refused ?? answer.waits, `pk-drag-stop ${old}`)];
  const { windows, limits } = answer;
  lines.push(line(answer.end, `pk-drag-end ${old}`));
  lines.push(...limits.map(words => line(words, `pk-drag-stop ${old}`)));
  lines.push(...windows.slice(0, MOST_WINDOWS).map(([, , , words]) => line(words, old)));
  if (windows.length > MOST_WINDOWS)
    lines.push(line(`${windows.length - MOST_WINDOWS} more in other windows`, old));
  if (!answer.found) return [...lines, line("stops, concerns, tightest margin: …", "pk-pending")];
  lines.push(line(answer.found, `pk-drag-${answer.level || "good"} ${old}`));
  if (answer.worst) lines.push(line(answer.worst, `pk-drag-worst ${old}`));
  if (answer.tightest) lines.push(line(`Tightest: ${answer.tightest.words}`, old));
  return lines;
}

// Beside the pointer, and all of it within the chart: `home` is what it is placed in, `room` the chart. By a
// transform, for which nothing is laid out.
export function placeBox(box, [width, height], [x, y], home, room) {
  const left = x + BOX_GAP_PX + width <= room.width ? x + BOX_GAP_PX : x - BOX_GAP_PX - width;
  const top = Math.min(y + BOX_GAP_PX, room.height - height);
  const px = room.left - home.left + Math.max(0, Math.min(left, room.width - width));
  box.style.transform = `translate(${px}px, ${room.top - home.top + Math.max(0, top)}px)`;
}
