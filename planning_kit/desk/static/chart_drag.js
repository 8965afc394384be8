// One drag in the chart: of bars to another place, of an end to other minutes, or of the ground to other
// minutes. A ghost follows the hand, others show what the drop would come to; nothing is changed before it.

import { candidateLines, paintCandidate, placeBox } from "./chart_candidate.js";
import * as hands from "./chart_hands.js";
import { CHART_LEFT } from "./chart_layout.js";
import { rect, text, widthOf } from "./chart_shapes.js";
import { el, svg } from "./dom.js";
import { redraw } from "./drawing.js";

const DRAG_PX = 4;
const GUIDE_FONT = "650 12px";

export class ChartDrag {
  constructor(chart, at, found, isAgain) {
    Object.assign(this, { chart, from: at, at, range: [...chart.range], isOn: false, isAgain, ...found });
    if (!this.bar) return;
    this.bars = chart.work();
    this.taken = hands.takenWith(this.bars, chart.chosen, this.bar);
    this.targets = this.isEdge ? hands.snapTargets(chart.chart, this.bars, this.bar) : [];
    this.box = el("div", { class: "pk-drag-box" });
    // Asked for its size once it is filled, it would have the page laid out now, and again for the frame.
    this.size = [0, 0];
    this.sizes = new ResizeObserver(() => {
      this.size = [this.box.offsetWidth, this.box.offsetHeight];
      this.place();
    });
    this.sizes.observe(this.box);
  }

  // `isFree`: it snaps to nothing.
  move(at, isFree = false) {
    Object.assign(this, { at, isFree });
    if (this.chart.isFixed && this.bar) return;
    if (!this.isOn && Math.hypot(at[0] - this.from[0], at[1] - this.from[1]) < DRAG_PX) return;
    this.isOn = true;
    if (this.bar) {
      this.paint();
      return;
    }
    const moved = (at[0] - this.from[0]) * hands.minutesPerPx(this.range, this.chart.width);
    this.chart.setRange(this.range[0] - moved, this.range[1] - this.range[0]);
  }

  get movedPx() {
    return this.at[0] - this.from[0];
  }

  paint() {
    if (!this.isOn || !this.bar) return;
    const { canvas, candidate, root } = this.chart;
    this.rooms = [root, canvas].map(each => each.getBoundingClientRect()); // before anything is written
    candidate.ask(this.message()); // a zoom or another size of the page also makes it another drop
    const { answer, isCurrent } = candidate;
    this.hand?.remove();
    if (answer !== this.shown || !this.ghosts?.isConnected) this.paintGhosts(answer);
    const drawn = this.isEdge ? this.drawnEnd() : this.drawnBars();
    this.hand = svg("g", { class: "pk-drag", "pointer-events": "none" }, drawn.shapes);
    canvas.append(this.hand);
    this.box.replaceChildren(...candidateLines(drawn.where, answer, isCurrent));
    if (!this.box.isConnected) root.append(this.box);
    this.place();
  }

  place() {
    if (this.rooms) placeBox(this.box, this.size, this.at, ...this.rooms);
  }

  // The steps that are pushed, and their present bars pale. They stay until there is another answer, which is
  // drawn with the same nodes.
  paintGhosts(answer) {
    const { canvas, look } = this.chart;
    this.shown = answer;
    if (!answer?.moved) {
      this.clear();
      return;
    }
    this.ghosts ??= svg("g", {});
    redraw(this.ghosts, [paintCandidate(answer, look)]);
    if (!this.ghosts.isConnected) canvas.append(this.ghosts);
    const steps = new Set(answer.moved.map(([step]) => step));
    canvas.classList.add("pk-trying");
    for (const bar of canvas.querySelectorAll(".pk-bar-work"))
      bar.classList.toggle("pk-pale", steps.has(bar.dataset.step));
  }

  drawnEnd() {
    const { chart, bar } = this;
    const { minutes, to } = this.end();
    const was = Math.round((bar.finish - bar.start) * 10) / 10;
    const main = chart.places.lanes[bar.who].main;
    return {
      where: `${bar.step}: ${was} → ${minutes} min${to ? `, to the ${to.words}` : ""}`,
      shapes: [
        rect(chart.x(bar.start), chart.x(bar.start + minutes), main, { class: "pk-drag-bar" }),
        ...(to ? this.guide(to) : []),
      ],
    };
  }

  // A thin line where an end snapped to, with what is there.
  guide({ minute, words }) {
    const { places, width, theme } = this.chart;
    const x = this.chart.x(minute);
    const left = Math.max(CHART_LEFT, Math.min(x + 4, width - widthOf(words, GUIDE_FONT) - 4));
    return [
      svg("path", { d: `M${x},${places.axis.height} V${places.bottom}`, class: "pk-guide" }),
      text(words, left, places.axis.height + 12, { class: "pk-drag-text", fill: theme.ink }),
    ];
  }

  drawnBars() {
    const { chart, bar } = this;
    const drop = this.drop();
    const names = this.taken.steps.join(" ");
    const main = chart.places.lanes[drop.why ? bar.who : drop.who].main;
    const own = hands.laneOf(this.bars, bar.who).filter(({ step }) => this.taken.steps.includes(step));
    const first = chart.x(own[0].start) + this.movedPx;
    const snapped = !drop.why && !this.isFree && hands.isNearPx(first, drop.px) ? drop.px - first : 0;
    const shapes = own.flatMap(({ step, start, finish }) => {
      const left = chart.x(start) + this.movedPx + snapped;
      return [
        rect(left, left + chart.x(finish) - chart.x(start), main, { class: "pk-drag-bar" }),
        text(step, left + 4, main.y + 13, { class: "pk-drag-text", fill: chart.theme.ink }),
      ];
    });
    if (drop.why) return { where: drop.why, shapes };
    const low = main.y + main.height + 7;
    shapes.push(svg("path", { d: `M${drop.px},${main.y - 7} V${low}`, class: "pk-drop-line" }));
    const place = drop.before === null ? "last" : `before ${drop.before}`;
    return { where: `${names}: ${drop.who}, ${this.message() ? place : "where it is"}`, shapes };
  }

  end() {
    const targets = this.isFree ? [] : this.targets;
    const perPx = hands.minutesPerPx(this.chart.range, this.chart.width);
    return hands.draggedEnd(this.bar, this.movedPx, perPx, targets);
  }

  // Where the bars would go, or why they cannot.
  drop() {
    const { chart, bar, bars, taken, at } = this;
    const who = hands.laneNear(chart.places.lanes, at[1]) ?? bar.who;
    const why = taken.why || hands.whyNotTo(who, bar.who, taken.steps, bars, chart.chart.crew);
    if (why) return { why };
    const lane = hands.laneOf(bars, who).filter(({ step }) => !taken.steps.includes(step));
    const middle = chart.minuteAt(chart.x((bar.start + bar.finish) / 2) + this.movedPx);
    const place = hands.placeInLane(lane, middle);
    const last = lane.length ? chart.x(lane[lane.length - 1].finish) + 3 : chart.x(0);
    const px = place < lane.length ? chart.x(lane[place].start) - 2 : last;
    return { who, before: lane[place]?.step ?? null, px };
  }

  // What the drop says; null: nothing.
  message() {
    const { bar, bars, taken } = this;
    if (this.isEdge) {
      const { minutes } = this.end();
      const isOther = Math.abs(minutes - (bar.finish - bar.start)) > 1e-6;
      return isOther ? { kind: "minutes", step: bar.step, minutes } : null;
    }
    const drop = this.drop();
    return drop.why ? null : hands.moveOf(bars, bar.who, taken.steps, drop.who, drop.before);
  }

  // Dropped; where it was not moved the bar alone is chosen.
  finish() {
    this.stop();
    if (!this.bar) return;
    if (!this.isOn) this.chart.choose(this.bar.step);
    // Chosen before, too: a film that was moved since goes back to it.
    if (!this.isOn && this.isAgain) this.chart.send({ kind: "explain", step: this.bar.step, isAgain: true });
    const message = this.isOn && this.message();
    if (message) this.chart.send(message);
  }

  stop() {
    this.chart.candidate.stop();
    this.clear();
    this.sizes?.disconnect();
    this.box?.remove();
  }

  clear() {
    this.hand?.remove();
    this.ghosts?.remove();
    this.chart.canvas.classList.remove("pk-trying");
  }
}
