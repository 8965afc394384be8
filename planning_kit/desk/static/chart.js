// The chart under the planner's hands: choice, drags and keys. One message on drop, none while dragging.

import { ChartDrag } from "./chart_drag.js";
import { ChartFrame } from "./chart_frame.js";
import * as hands from "./chart_hands.js";
import { ChartView } from "./chart_view.js";
import { el } from "./dom.js";

export class PlanChart extends ChartView {
  constructor(root, send, events) {
    super(root);
    Object.assign(this, { send, events });
    this.frame = new ChartFrame(this);
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

  onWheel(event) {
    if (!event.ctrlKey && !event.metaKey) return; // the page scrolls
    event.preventDefault();
    this.zoom(event.deltaY > 0 ? 1.2 : 1 / 1.2, this.minuteAt(this.point(event)[0]));
  }

  choose(step, isOurs = true) {
    if (step === this.selected) return;
    this.selected = step;
    this.canvas.dataset.chosen = step ?? "";
    this.paintChoice();
    const bar = step && this.work().find(each => each.step === step);
    // With the keyboard here the bar itself is read out.
    const isSilent = !bar || document.activeElement === this.canvas;
    this.live.textContent = isSilent
      ? ""
      : this.nameOf(this.chart.bars.find(each => each[0] === step && each[2] === "work"));
    if (bar && (bar.finish < this.range[0] || bar.start > this.range[1])) {
      this.setRange(
        (bar.start + bar.finish - this.range[1] + this.range[0]) / 2,
        this.range[1] - this.range[0],
      );
    }
    if (isOurs && step) this.events.onChoose(step);
  }

  // What is where

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
    if (found) this.choose(found.bar.step);
    this.drag = new ChartDrag(this, at, found);
    this.canvas.setPointerCapture(event.pointerId);
    this.tip.hidden = true;
    event.preventDefault();
  }

  onMove(event) {
    const at = this.point(event);
    if (this.drag) this.drag.move(at);
    else this.hover(event, at);
  }

  onUp() {
    const drag = this.drag;
    this.drag = null;
    drag?.end();
  }

  sendMove(bar, who, before) {
    if (!hands.staysPut(this.work(), bar, who, before))
      this.send({ kind: "move", step: bar.step, lane: who, before });
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

  // Keys

  onKey(event) {
    if (event.ctrlKey || event.metaKey) return;
    const bar = this.selected && this.work().find(each => each.step === this.selected);
    if (this.doKey(event, bar)) event.preventDefault();
  }

  doKey({ key, altKey }, bar) {
    if (key === "Escape") this.stopDrag();
    else if (key === "Home") this.zoomAll();
    else if (key === "z" && !altKey) this.zoomToChoice();
    else if (key === "Enter" && bar) this.events.onOpen(bar.step);
    else if (!bar) return this.startWithKeys(key);
    else if (!altKey) return this.walkWithKeys(key, bar);
    else return !this.isFixed && this.moveWithKeys(key, bar);
    return true;
  }

  startWithKeys(key) {
    const first = this.work()[0];
    if (!key.startsWith("Arrow") || !first) return false;
    this.choose(first.step);
    return true;
  }

  walkWithKeys(key, bar) {
    if (key.startsWith("Arrow")) {
      const step = hands.stepBeside(key, bar, this.work(), Object.keys(this.places.lanes));
      if (step !== null) this.choose(step);
    } else if (!this.isFixed && (key === "+" || key === "-")) {
      const minutes = Math.max(1, Math.round(bar.finish - bar.start) + (key === "+" ? 1 : -1));
      this.send({ kind: "minutes", step: bar.step, minutes });
    } else return false;
    return true;
  }

  moveWithKeys(key, bar) {
    const move = hands.moveOfKey(key, bar, this.work(), this.chart.crew);
    if (move) this.sendMove(bar, move.who, move.before);
    return key.startsWith("Arrow");
  }
}
