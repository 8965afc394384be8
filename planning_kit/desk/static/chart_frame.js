// A frame drawn over the chart, and a zoom to it: on either axis, or with Shift on the ground.

import { CHART_LEFT, CHART_RIGHT } from "./chart_layout.js";
import { rect } from "./chart_shapes.js";

const LEAST_PX = 6;

export class ChartFrame {
  constructor(chart) {
    this.chart = chart;
    const { canvas } = chart;
    // Before the chart's own drags, which then hear nothing of it.
    const on = (name, act) => canvas.addEventListener(name, act, { capture: true });
    on("pointerdown", event => this.onDown(event));
    on("pointermove", event => this.onMove(event));
    on("pointerup", event => this.onUp(event));
    on("pointercancel", () => this.stop());
    on("keydown", event => event.key === "Escape" && this.stop());
  }

  isFor(event, [px, py]) {
    const { places } = this.chart;
    if (event.button !== 0 || !places || px < CHART_LEFT) return false;
    const isOnAxis = py < places.axis.height || py > places.bottom;
    return isOnAxis || (event.shiftKey && !this.chart.hit([px, py]) && !event.target.dataset?.finding);
  }

  onDown(event) {
    const at = this.chart.point(event);
    if (!this.isFor(event, at)) return;
    this.from = at[0];
    this.chart.canvas.focus({ preventScroll: true });
    this.chart.canvas.setPointerCapture(event.pointerId);
    this.take(event);
  }

  onMove(event) {
    if (this.from === undefined) return;
    const { chart } = this;
    const { axis, bottom } = chart.places;
    const inside = px => Math.max(CHART_LEFT, Math.min(chart.width - CHART_RIGHT, px));
    this.ends = [this.from, chart.point(event)[0]].map(inside).sort((a, b) => a - b);
    this.box?.remove();
    const strip = { y: axis.height, height: bottom - axis.height };
    this.box = rect(...this.ends, strip, { class: "pk-frame" }).drawn();
    chart.canvas.append(this.box);
    this.take(event);
  }

  onUp(event) {
    if (this.from === undefined) return;
    const { ends, chart } = this;
    this.stop();
    if (ends && ends[1] - ends[0] >= LEAST_PX) chart.zoomTo(...ends.map(px => chart.minuteAt(px)));
    this.take(event);
  }

  stop() {
    this.box?.remove();
    this.from = undefined;
    this.ends = null;
  }

  take(event) {
    event.stopImmediatePropagation();
    event.preventDefault();
  }
}
