// The chart under the planner's hands: zoom, choice and drags. One message on drop; while dragging it is only
// asked what that would come to.

import { Candidate } from "./chart_candidate.js";
import { ChartDrag } from "./chart_drag.js";
import * as hands from "./chart_hands.js";
import { ChartKeys } from "./chart_keys.js";
import { CHART_LEFT, CHART_RIGHT, layoutLanes, ticksFor } from "./chart_layout.js";
import { paintChart } from "./chart_paint.js";
import { outline, paintMarks, ringOf } from "./chart_shapes.js";
import { el, svg } from "./dom.js";
import { pet } from "./times.js";

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
    this.along = []; // chosen besides it
    this.keys = new ChartKeys(this);
    this.candidate = new Candidate(send, () => this.drag?.paint());
    this.canvas.addEventListener("pointerdown", event => this.onDown(event));
    this.canvas.addEventListener("pointermove", event => this.onMove(event));
    this.canvas.addEventListener("pointerup", event => this.onUp(event));
    // What is let go is told before the capture is lost: lost without that, nobody knows where.
    for (const lost of ["pointercancel", "lostpointercapture"])
      this.canvas.addEventListener(lost, () => this.stopDrag());
    this.canvas.addEventListener("pointerleave", () => {
      this.tip.hidden = true;
    });
    this.canvas.addEventListener("dblclick", () => this.zoomAll());
    this.canvas.addEventListener("wheel", event => this.onWheel(event), { passive: false });
    this.canvas.addEventListener("keydown", event => this.keys.onKey(event));
  }

  load(chart, themes) {
    this.themes = themes ?? this.themes;
    const isFirst = !this.chart;
    if (this.drag?.bar) this.stopDrag(); // it was of another plan
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
    return hands.wholeRange(this.chart);
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
    const range = hands.zoomedRange(this.range, factor, around, this.chart);
    if (range) this.setRange(range[0], range[1] - range[0]);
  }

  setRange(start, size) {
    this.range = hands.keptRange(start, size, this.chart);
    this.isWhole = hands.isWholeRange(this.range, this.chart);
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
    return hands.xOf(minute, this.range, this.width);
  }

  minuteAt(px) {
    return hands.minuteOf(px, this.range, this.width);
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
    this.drag?.paint();
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
    for (const bar of this.canvas.querySelectorAll(".pk-bar-work"))
      if (this.chosen.has(bar.dataset.step)) bar.parentNode.append(ringOf(bar));
  }

  get chosen() {
    return new Set(this.selected ? [...this.along, this.selected] : []);
  }

  // Choose one more, or one less where it was chosen.
  chooseToo(step) {
    const others = [...this.chosen].filter(each => each !== step);
    if (others.length === this.chosen.size) others.push(step);
    this.choose(others.pop() ?? null, true, others);
  }

  choose(step, isOurs = true, along = []) {
    if (step === this.selected && !along.length && !this.along.length) return;
    const isOther = step !== this.selected;
    Object.assign(this, { selected: step, along });
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
    if (along.length)
      this.live.textContent = `${along.length + 1} steps chosen: ${[...this.chosen].join(" ")}`;
    if (isOurs && isOther && step) this.events.onChoose(step);
  }

  // What is where

  work() {
    return hands.workBars(this.chart);
  }

  point(event) {
    const box = this.canvas.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  hit([px, py]) {
    const who = hands.laneNear(this.places.lanes, py);
    const lane = who && this.places.lanes[who].main;
    if (!lane || py < lane.y || py > lane.y + lane.height) return null;
    return hands.barAt(hands.laneOf(this.work(), who), px, minute => this.x(minute));
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
    if (found && (event.shiftKey || event.ctrlKey || event.metaKey)) {
      this.chooseToo(found.bar.step);
      event.preventDefault();
      return;
    }
    if (found && !this.chosen.has(found.bar.step)) this.choose(found.bar.step);
    this.drag = new ChartDrag(this, at, found);
    this.canvas.setPointerCapture(event.pointerId);
    this.tip.hidden = true;
    event.preventDefault();
  }

  onMove(event) {
    const at = this.point(event);
    if (this.drag) this.drag.move(at, event.altKey);
    else this.hover(event, at);
  }

  onUp() {
    const drag = this.drag;
    this.drag = null;
    drag?.finish();
  }

  stopDrag() {
    this.drag?.stop();
    this.drag = null;
  }

  hover(event, at) {
    const target = event.target.dataset ?? {};
    const found = this.hit(at);
    this.canvas.style.cursor = this.isFixed || !found ? "default" : found.isEdge ? "ew-resize" : "grab";
    const lines = hands.hoverLines(target, this.chart, this.notes);
    this.tip.hidden = !lines?.length;
    if (!lines?.length) return;
    this.tip.replaceChildren(...lines.map(line => el("div", {}, line)));
    const home = this.root.getBoundingClientRect();
    const most = home.width - this.tip.offsetWidth - 8;
    this.tip.style.left = `${Math.min(event.clientX - home.left + 14, most)}px`;
    this.tip.style.top = `${event.clientY - home.top + 16}px`;
  }
}
