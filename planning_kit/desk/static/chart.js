// The chart under the planner's hands: choice and drags. One message on drop; while dragging it is only
// asked what that would come to.

import { Candidate } from "./chart_candidate.js";
import { ChartDrag } from "./chart_drag.js";
import { ChartFrame } from "./chart_frame.js";
import * as hands from "./chart_hands.js";
import { ChartKeys } from "./chart_keys.js";
import { ChartView } from "./chart_view.js";
import { el } from "./dom.js";

export class PlanChart extends ChartView {
  constructor(root, send, events) {
    super(root);
    Object.assign(this, { send, events });
    this.frame = new ChartFrame(this);
    this.keys = new ChartKeys(this);
    this.candidate = new Candidate(send, () => this.drag?.paint());
    this.canvas.addEventListener("pointerdown", event => this.onDown(event));
    this.canvas.addEventListener("pointermove", event => this.onMove(event));
    this.canvas.addEventListener("pointerup", event => this.onUp(event));
    // What is let go is told before the capture is lost: lost without that, nobody knows where.
    for (const lost of ["pointercancel", "lostpointercapture"])
      this.canvas.addEventListener(lost, () => this.stopDrag());
    this.canvas.addEventListener("pointerleave", () => {
      this.pointed = null;
      this.tip.hidden = true;
    });
    this.canvas.addEventListener("dblclick", () => this.zoomAll());
    this.canvas.addEventListener("wheel", event => this.onWheel(event), { passive: false });
    this.canvas.addEventListener("keydown", event => this.keys.onKey(event));
  }

  onWheel(event) {
    if (!event.ctrlKey && !event.metaKey) return; // the page scrolls
    event.preventDefault();
    this.zoom(event.deltaY > 0 ? 1.2 : 1 / 1.2, this.minuteAt(this.point(event)[0]));
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
    if (along.length)
      this.live.textContent = `${along.length + 1} steps chosen: ${[...this.chosen].join(" ")}`;
    if (isOurs && isOther && step) this.events.onChoose(step);
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
    if (found && (event.shiftKey || event.ctrlKey || event.metaKey)) {
      this.chooseToo(found.bar.step);
      event.preventDefault();
      return;
    }
    const isAgain = found && found.bar.step === this.selected;
    if (found && !this.chosen.has(found.bar.step)) this.choose(found.bar.step);
    this.drag = new ChartDrag(this, at, found, isAgain);
    this.canvas.setPointerCapture(event.pointerId);
    this.tip.hidden = true;
    event.preventDefault();
  }

  onMove(event) {
    const at = this.point(event);
    [this.pointed] = at;
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
