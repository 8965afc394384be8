// One drag in the chart: of a bar to another place, of its end to other minutes, or of the ground to other
// minutes. A ghost shows what it would come to; only the drop says anything to the kernel.

import { draggedMinutesOf, laneNear, laneOf, mayGoTo, minutesPerPx, placeInLane } from "./chart_hands.js";
import { rect, text } from "./chart_shapes.js";
import { svg } from "./dom.js";

const DRAG_PX = 4;

export class ChartDrag {
  constructor(chart, at, found) {
    Object.assign(this, { chart, from: at, at, range: [...chart.range], isOn: false, ...found });
  }

  move(at) {
    this.at = at;
    if (this.chart.isFixed && this.bar) return;
    if (!this.isOn && Math.hypot(at[0] - this.from[0], at[1] - this.from[1]) < DRAG_PX) return;
    this.isOn = true;
    if (this.bar) {
      this.paint();
      return;
    }
    const moved = (at[0] - this.from[0]) * minutesPerPx(this.range, this.chart.width);
    this.chart.setRange(this.range[0] - moved, this.range[1] - this.range[0]);
  }

  paint() {
    this.ghost?.remove();
    this.ghost = svg(
      "g",
      { class: "pk-drag", "pointer-events": "none" },
      this.isEdge ? this.ghostOfEnd() : this.ghostOfBar(),
    );
    this.chart.canvas.append(this.ghost);
  }

  ghostOfEnd() {
    const { chart, bar } = this;
    const main = chart.places.lanes[bar.who].main;
    const minutes = this.minutes();
    const was = Math.round((bar.finish - bar.start) * 10) / 10;
    const end = chart.x(bar.start + minutes);
    return [
      rect(chart.x(bar.start), end, main, { class: "pk-drag-bar" }),
      this.words(`${was} → ${minutes} min`, end + 5, main.y + 14),
    ];
  }

  ghostOfBar() {
    const { chart, bar, at, from } = this;
    const drop = this.drop();
    const width = chart.x(bar.finish) - chart.x(bar.start);
    const main = chart.places.lanes[drop?.who ?? bar.who].main;
    const low = main.y + main.height;
    const left = chart.x(bar.start) + at[0] - from[0];
    return [
      rect(left, left + width, main, { class: "pk-drag-bar" }),
      this.words(bar.step, left + 4, main.y + 13),
      drop
        ? svg("path", { d: `M${drop.px},${main.y - 7} V${low + 7}`, class: "pk-drop-line" })
        : this.words(`${bar.step} keeps its lane`, left + 4, low - 8, chart.theme.stop),
    ];
  }

  words(words, x, y, fill = this.chart.theme.ink) {
    return text(words, x, y, { class: "pk-drag-text", fill });
  }

  minutes() {
    return draggedMinutesOf(
      this.bar,
      this.at[0] - this.from[0],
      minutesPerPx(this.chart.range, this.chart.width),
    );
  }

  drop() {
    const { chart, bar, at, from } = this;
    const bars = chart.work();
    const who = laneNear(chart.places.lanes, at[1]) ?? bar.who;
    if (!mayGoTo(who, bar, bars, chart.chart.crew)) return null;
    const lane = laneOf(bars, who, bar.step);
    const place = placeInLane(lane, chart.minuteAt(chart.x((bar.start + bar.finish) / 2) + at[0] - from[0]));
    const last = lane.length ? chart.x(lane[lane.length - 1].finish) + 3 : chart.x(0);
    const px = place < lane.length ? chart.x(lane[place].start) - 2 : last;
    return { who, before: lane[place]?.step ?? null, px };
  }

  end() {
    this.stop();
    if (!this.isOn || !this.bar) return;
    if (this.isEdge) {
      const minutes = this.minutes();
      const isOther = Math.abs(minutes - (this.bar.finish - this.bar.start)) > 1e-6;
      if (isOther) this.chart.send({ kind: "minutes", step: this.bar.step, minutes });
    } else {
      const drop = this.drop();
      if (drop) this.chart.sendMove(this.bar, drop.who, drop.before);
    }
  }

  stop() {
    this.ghost?.remove();
  }
}
