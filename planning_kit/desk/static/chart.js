// The chart under the planner's hands: zoom, choice, drags and keys. One message on drop, none while
// dragging.

import {
  CHART_LEFT,
  CHART_RIGHT,
  layoutLanes,
  outline,
  paintChart,
  paintMarks,
  rect,
  text,
  ticksFor,
} from "./chart_paint.js";
import { el, pet, svg } from "./dom.js";

const EDGE_PX = 6;
const DRAG_PX = 4;
const EDGE_MIN = 8;
const LEAST_PX = 200;
const SOON_MS = 60;

export class PlanChart {
  constructor(root, send, events) {
    Object.assign(this, { root, send, events });
    this.clipId = `pk-clip-${Math.random().toString(36).slice(2)}`;
    this.canvas = svg("svg", {
      class: "pk-chart",
      tabindex: 0,
      role: "application",
      "aria-label": "Plan: arrows choose a step, Alt and arrows move it, plus and minus change its minutes",
    });
    this.tip = el("div", { class: "pk-tip", role: "tooltip", hidden: true });
    this.live = el("span", { class: "pk-live", role: "status" });
    this.box = el("section", { class: "pk-chart-box", "aria-label": "Plan" }, this.canvas, this.live);
    root.append(this.tip);
    this.selected = null;
    this.canvas.addEventListener("pointerdown", event => this.onDown(event));
    this.canvas.addEventListener("pointermove", event => this.onMove(event));
    this.canvas.addEventListener("pointerup", event => this.onUp(event));
    this.canvas.addEventListener("pointercancel", () => this.stopDrag());
    this.canvas.addEventListener("pointerleave", () => {
      this.tip.hidden = true;
    });
    this.canvas.addEventListener("dblclick", () => this.zoomAll());
    this.canvas.addEventListener("wheel", event => this.onWheel(event), { passive: false });
    this.canvas.addEventListener("keydown", event => this.onKey(event));
  }

  load(chart, themes) {
    this.themes = themes ?? this.themes;
    const isFirst = !this.chart;
    this.chart = chart;
    if (this.notes) this.notes = { ...this.notes, hovers: [], ghost_hovers: [] }; // the rest follows
    this.places = layoutLanes(chart);
    if (isFirst || this.isWhole) this.zoomAll();
    else this.paint();
  }

  tell(notes) {
    this.notes = notes;
    if (!this.look) return;
    this.paintMarks();
    const tight = new Set(notes.tight);
    for (const bar of this.canvas.querySelectorAll(".pk-bar-work")) {
      for (const [name, value] of Object.entries(outline(tight.has(bar.dataset.step), this.theme)))
        bar.setAttribute(name, value);
    }
  }

  // Zoom

  whole() {
    const last = Math.max(this.chart.end, ...this.chart.limits.map(([, minute]) => minute));
    return [-EDGE_MIN, last + EDGE_MIN];
  }

  zoomAll() {
    this.range = this.whole();
    this.isWhole = true;
    this.paint();
  }

  middle() {
    // of the chosen step where one is chosen, else of the view
    const bar = this.selected && this.work().find(each => each.step === this.selected);
    return bar ? (bar.start + bar.finish) / 2 : (this.range[0] + this.range[1]) / 2;
  }

  zoom(factor, around = this.middle()) {
    const [first, last] = this.whole();
    const size = Math.min((this.range[1] - this.range[0]) * factor, last - first);
    if (size < 5) return;
    const share = (around - this.range[0]) / (this.range[1] - this.range[0]);
    this.setRange(around - share * size, size);
  }

  setRange(start, size) {
    const [first, last] = this.whole();
    const from = Math.max(first, Math.min(start, Math.max(last, this.chart.horizon) - size));
    this.range = [from, from + size];
    this.isWhole = size >= last - first - 0.01 && from === first;
    this.paint();
  }

  onWheel(event) {
    if (!event.ctrlKey && !event.metaKey) return; // the page scrolls
    event.preventDefault();
    this.zoom(event.deltaY > 0 ? 1.2 : 1 / 1.2, this.minuteAt(this.point(event)[0]));
  }

  // Painting

  get theme() {
    return this.themes[this.root.dataset.theme] ?? this.themes.light;
  }

  x(minute) {
    return (
      CHART_LEFT +
      ((minute - this.range[0]) / (this.range[1] - this.range[0])) * (this.width - CHART_LEFT - CHART_RIGHT)
    );
  }

  minuteAt(px) {
    return (
      this.range[0] +
      ((px - CHART_LEFT) / (this.width - CHART_LEFT - CHART_RIGHT)) * (this.range[1] - this.range[0])
    );
  }

  paint() {
    // Hidden, as it is for a moment when the theme changes: what was drawn stays true of its own width.
    this.isBehind = this.box.clientWidth < LEAST_PX;
    if (!this.chart || this.isBehind) {
      this.paintSoon();
      return;
    }
    this.width = this.box.clientWidth;
    this.look = {
      places: this.places,
      x: minute => this.x(minute),
      theme: this.theme,
      width: this.width,
      range: this.range,
      ticks: ticksFor(this.range, this.width - CHART_LEFT - CHART_RIGHT),
      clipId: this.clipId,
      tight: new Set(this.notes?.tight),
      inkOnFill: this.themes.ink_on_fill,
    };
    this.canvas.setAttribute("viewBox", `0 0 ${this.width} ${this.places.height}`);
    this.canvas.style.height = `${this.places.height}px`;
    this.canvas.replaceChildren(...paintChart(this.chart, this.look));
    this.marks = null;
    this.paintMarks();
    this.canvas.dataset.painted = String(Number(this.canvas.dataset.painted ?? 0) + 1);
    this.paintChoice();
    this.dress?.();
  }

  paintSoon() {
    // a page that was hidden for less than a frame tells nobody that it is back
    clearTimeout(this.soon);
    this.soon = setTimeout(
      () => this.isBehind && this.box.isConnected && this.box.clientWidth >= LEAST_PX && this.paint(),
      SOON_MS,
    );
  }

  paintMarks() {
    const marks = paintMarks(this.notes?.findings ?? [], this.look);
    if (this.marks) this.marks.replaceWith(marks);
    else this.canvas.append(marks);
    this.marks = marks;
  }

  paintChoice() {
    this.canvas.querySelectorAll(".pk-chosen").forEach(each => each.remove());
    if (!this.selected) return;
    for (const bar of this.canvas.querySelectorAll(".pk-bar-work")) {
      if (bar.dataset.step !== this.selected) continue;
      const ring = bar.cloneNode();
      ring.setAttribute("class", "pk-chosen");
      ["data-bar", "data-step", "data-kind", "fill", "stroke", "stroke-width"].forEach(name =>
        ring.removeAttribute(name),
      );
      bar.parentNode.append(ring);
    }
  }

  choose(step, isOurs = true) {
    if (step === this.selected) return;
    this.selected = step;
    this.canvas.dataset.chosen = step ?? "";
    this.paintChoice();
    const bar = step && this.work().find(each => each.step === step);
    this.live.textContent = bar
      ? `${step} ${bar.title}, ${bar.who}, ${pet(bar.start)} to ${pet(bar.finish)}`
      : "";
    if (bar && (bar.finish < this.range[0] || bar.start > this.range[1])) {
      this.setRange(
        (bar.start + bar.finish - this.range[1] + this.range[0]) / 2,
        this.range[1] - this.range[0],
      );
    }
    if (isOurs && step) this.events.onChoose(step);
  }

  // What is where

  work() {
    return this.chart.bars
      .map(([step, who, kind, start, finish, task, title]) => ({
        step,
        who,
        kind,
        start,
        finish,
        task,
        title,
      }))
      .filter(bar => bar.kind === "work" && bar.step);
  }

  lane(who, without = null) {
    return this.work()
      .filter(bar => bar.who === who && bar.step !== without)
      .sort((a, b) => a.start - b.start);
  }

  point(event) {
    const box = this.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  laneAt(y) {
    const found = Object.entries(this.places.lanes).find(
      ([, { main }]) => y >= main.y - 8 && y <= main.y + main.height + 8,
    );
    return found?.[0];
  }

  hit([px, py]) {
    const who = this.laneAt(py);
    const lane = who && this.places.lanes[who].main;
    if (!lane || py < lane.y || py > lane.y + lane.height) return null;
    const bars = this.lane(who);
    const edge = bars.find(bar => {
      const end = this.x(bar.finish);
      const inner = Math.min(EDGE_PX, (end - this.x(bar.start)) / 3);
      return px >= end - inner && px <= end + EDGE_PX / 2;
    });
    if (edge) return { bar: edge, isEdge: true };
    const bar = bars.find(each => px >= this.x(each.start) && px <= this.x(each.finish));
    return bar ? { bar, isEdge: false } : null;
  }

  // Drags

  onDown(event) {
    if (event.button !== 0) return;
    this.canvas.focus({ preventScroll: true });
    const finding = event.target.dataset?.finding;
    if (finding !== undefined) {
      this.events.onFinding(Number(finding));
      return;
    }
    const at = this.point(event);
    const found = this.hit(at);
    if (found) this.choose(found.bar.step);
    this.drag = { from: at, at, range: [...this.range], isOn: false, ...found };
    this.canvas.setPointerCapture(event.pointerId);
    this.tip.hidden = true;
    event.preventDefault();
  }

  onMove(event) {
    const at = this.point(event);
    if (!this.drag) {
      this.hover(event, at);
      return;
    }
    this.drag.at = at;
    if (this.isFixed && this.drag.bar) return;
    if (!this.drag.isOn && Math.hypot(at[0] - this.drag.from[0], at[1] - this.drag.from[1]) < DRAG_PX) return;
    this.drag.isOn = true;
    if (!this.drag.bar) {
      const perPx = (this.drag.range[1] - this.drag.range[0]) / (this.width - CHART_LEFT - CHART_RIGHT);
      this.setRange(
        this.drag.range[0] - (at[0] - this.drag.from[0]) * perPx,
        this.drag.range[1] - this.drag.range[0],
      );
    } else {
      this.paintDrag();
    }
  }

  paintDrag() {
    const { bar, isEdge, at, from } = this.drag;
    this.drag.ghost?.remove();
    const theme = this.theme;
    const ghost = svg("g", { class: "pk-drag", "pointer-events": "none" });
    if (isEdge) {
      const main = this.places.lanes[bar.who].main;
      const minutes = this.draggedMinutes();
      const was = Math.round((bar.finish - bar.start) * 10) / 10;
      ghost.append(rect(this.x(bar.start), this.x(bar.start + minutes), main, { class: "pk-drag-bar" }));
      ghost.append(
        text(`${was} → ${minutes} min`, this.x(bar.start + minutes) + 5, main.y + 14, {
          class: "pk-drag-text",
          fill: theme.ink,
        }),
      );
    } else {
      const drop = this.dropAt(at);
      const width = this.x(bar.finish) - this.x(bar.start);
      const main = this.places.lanes[drop?.who ?? bar.who].main;
      const left = this.x(bar.start) + at[0] - from[0];
      ghost.append(rect(left, left + width, main, { class: "pk-drag-bar" }));
      ghost.append(text(bar.step, left + 4, main.y + 13, { class: "pk-drag-text", fill: theme.ink }));
      if (!drop)
        ghost.append(
          text(`${bar.step} keeps its lane`, left + 4, main.y + main.height - 8, {
            class: "pk-drag-text",
            fill: theme.stop,
          }),
        );
      if (drop)
        ghost.append(
          svg("path", { d: `M${drop.px},${main.y - 7} V${main.y + main.height + 7}`, class: "pk-drop-line" }),
        );
    }
    this.drag.ghost = ghost;
    this.canvas.append(ghost);
  }

  draggedMinutes() {
    const { bar, at, from } = this.drag;
    const perPx = (this.range[1] - this.range[0]) / (this.width - CHART_LEFT - CHART_RIGHT);
    return Math.max(1, Math.round(bar.finish - bar.start + (at[0] - from[0]) * perPx));
  }

  isBoth(step) {
    return this.work().filter(bar => bar.step === step && this.chart.crew.includes(bar.who)).length > 1;
  }

  dropAt([px, py]) {
    const { bar, from } = this.drag;
    const who = this.laneAt(py) ?? bar.who;
    const isOpen =
      who === bar.who ||
      (this.chart.crew.includes(who) && this.chart.crew.includes(bar.who) && !this.isBoth(bar.step));
    if (!isOpen) return null;
    const lane = this.lane(who, bar.step);
    // Dropped where the bar's middle is: before the first step whose middle lies later.
    const middle = this.minuteAt(this.x((bar.start + bar.finish) / 2) + px - from[0]);
    const next = lane.findIndex(each => (each.start + each.finish) / 2 > middle);
    const at = next < 0 ? lane.length : next;
    const edge =
      at < lane.length
        ? this.x(lane[at].start) - 2
        : lane.length
          ? this.x(lane[at - 1].finish) + 3
          : this.x(0);
    return { who, before: lane[at]?.step ?? null, px: edge };
  }

  onUp() {
    const drag = this.drag;
    this.stopDrag();
    if (!drag?.isOn || !drag.bar) return;
    this.drag = drag;
    const { bar, isEdge, at } = drag;
    if (isEdge) {
      const minutes = this.draggedMinutes();
      if (Math.abs(minutes - (bar.finish - bar.start)) > 1e-6)
        this.send({ kind: "minutes", step: bar.step, minutes });
    } else {
      const drop = this.dropAt(at);
      if (drop) this.sendMove(bar, drop.who, drop.before);
    }
    this.drag = null;
  }

  sendMove(bar, who, before) {
    const lane = this.lane(bar.who);
    const at = lane.findIndex(each => each.step === bar.step);
    const stays = who === bar.who && (lane[at + 1]?.step ?? null) === before;
    if (!stays) this.send({ kind: "move", step: bar.step, lane: who, before });
  }

  stopDrag() {
    this.drag?.ghost?.remove();
    this.drag = null;
  }

  hover(event, at) {
    const target = event.target.dataset ?? {};
    const found = this.hit(at);
    this.canvas.style.cursor = this.isFixed || !found ? "default" : found.isEdge ? "ew-resize" : "grab";
    let lines = null;
    if (target.finding !== undefined) {
      const told = this.notes.findings[Number(target.finding)];
      lines = [`${told.severity} ${told.check} ${told.when}`, told.message];
    } else if (target.ghost !== undefined) lines = this.notes?.ghost_hovers[Number(target.ghost)];
    else if (target.inhibit !== undefined) {
      const [row, number] = target.inhibit.split(" ");
      const [inhibit, title, from, until] = this.chart.inhibits[row][number];
      lines = [`${inhibit} ${title}`, `Must stand from PET ${pet(from)} to ${pet(until)}`];
    } else if (target.bar !== undefined)
      lines = this.notes?.hovers[Number(target.bar)] ?? [this.chart.bars[Number(target.bar)][6]];
    this.tip.hidden = !lines?.length;
    if (!lines?.length) return;
    this.tip.replaceChildren(...lines.map(line => el("div", {}, line)));
    const home = this.root.getBoundingClientRect();
    const most = home.width - this.tip.offsetWidth - 8;
    this.tip.style.left = `${Math.min(event.clientX - home.left + 14, most)}px`;
    this.tip.style.top = `${event.clientY - home.top + 16}px`;
  }

  // Keys

  onKey(event) {
    if (event.ctrlKey || event.metaKey) return;
    const bar = this.selected && this.work().find(each => each.step === this.selected);
    const isDone =
      event.key === "Escape"
        ? (this.stopDrag(), true)
        : event.key === "Home"
          ? (this.zoomAll(), true)
          : event.key === "Enter" && bar
            ? (this.events.onOpen(bar.step), true)
            : !bar
              ? this.startWithKeys(event.key)
              : !event.altKey
                ? this.walkWithKeys(event.key, bar)
                : !this.isFixed && this.moveWithKeys(event.key, bar);
    if (isDone) event.preventDefault();
  }

  startWithKeys(key) {
    const first = this.work()[0];
    if (!key.startsWith("Arrow") || !first) return false;
    this.choose(first.step);
    return true;
  }

  walkWithKeys(key, bar) {
    const lane = this.lane(bar.who);
    const at = lane.findIndex(each => each.step === bar.step);
    if (key === "ArrowRight" || key === "ArrowLeft") {
      const next = lane[at + (key === "ArrowRight" ? 1 : -1)];
      if (next) this.choose(next.step);
    } else if (key === "ArrowUp" || key === "ArrowDown") {
      const people = Object.keys(this.places.lanes);
      const who = people[people.indexOf(bar.who) + (key === "ArrowDown" ? 1 : -1)];
      const near =
        who &&
        this.lane(who).sort((a, b) => Math.abs(a.start - bar.start) - Math.abs(b.start - bar.start))[0];
      if (near) this.choose(near.step);
    } else if (!this.isFixed && (key === "+" || key === "-")) {
      const minutes = Math.max(1, Math.round(bar.finish - bar.start) + (key === "+" ? 1 : -1));
      this.send({ kind: "minutes", step: bar.step, minutes });
    } else return false;
    return true;
  }

  moveWithKeys(key, bar) {
    const lane = this.lane(bar.who);
    const at = lane.findIndex(each => each.step === bar.step);
    if (key === "ArrowLeft" && at > 0) this.sendMove(bar, bar.who, lane[at - 1].step);
    else if (key === "ArrowRight" && at < lane.length - 1)
      this.sendMove(bar, bar.who, lane[at + 2]?.step ?? null);
    else if (key === "ArrowUp" || key === "ArrowDown") {
      const who = this.chart.crew[this.chart.crew.indexOf(bar.who) + (key === "ArrowDown" ? 1 : -1)];
      if (!who || !this.chart.crew.includes(bar.who) || this.isBoth(bar.step)) return true;
      this.sendMove(bar, who, this.lane(who).find(each => each.start >= bar.start)?.step ?? null);
    } else return key.startsWith("Arrow");
    return true;
  }
}
