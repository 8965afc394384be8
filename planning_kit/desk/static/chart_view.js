// The chart as it is seen: which part of the outing, how high, painted, and saved as a picture. What hands do
// with it is in `chart.js`.

import * as hands from "./chart_hands.js";
import { CHART_LEFT, CHART_RIGHT, layoutLanes, ticksFor } from "./chart_layout.js";
import { Legend } from "./chart_legend.js";
import { Overview } from "./chart_overview.js";
import { paintChart } from "./chart_paint.js";
import { chartPng, chartSvg, pictureName } from "./chart_picture.js";
import { paintMarks, ringOf } from "./chart_shapes.js";
import { tagOf } from "./chart_words.js";
import { el, svg } from "./dom.js";
import { change, redraw } from "./drawing.js";
import { download } from "./page.js";

const LEAST_PX = 200;
const LOW_PX = 210; // lower, the overview gives its room to the lanes
const LEGEND_PX = 600; // as high as that, the legend stands open at first
const SOON_MS = 60;

export class ChartView {
  constructor(root) {
    this.root = root;
    this.clipId = `pk-clip-${Math.random().toString(36).slice(2)}`;
    this.canvas = svg("svg", {
      class: "pk-chart",
      tabindex: 0,
      role: "listbox",
      "aria-label": "Plan: arrows choose a step, Alt and arrows move it, plus and minus change its minutes",
    });
    this.room = el("div", { class: "pk-chart-room" }, this.canvas);
    this.room.style.contain = "size"; // what is in it says nothing of how high it may be
    this.overview = new Overview(this);
    this.legend = new Legend(this);
    this.foot = el("div", { class: "pk-chart-foot" }, this.legend.toggle, this.overview.box);
    this.tip = el("div", { class: "pk-tip", role: "tooltip", hidden: true });
    this.live = el("span", { class: "pk-live", role: "status" });
    const parts = [this.room, this.foot, this.legend.list, this.live];
    this.box = el("section", { class: "pk-chart-box", "aria-label": "Plan" }, parts);
    root.append(this.tip);
    this.selected = null;
    this.along = []; // chosen besides it
    this.pointed = null; // px from the left, while the pointer is over the chart
    this.sizes = new ResizeObserver(() => this.refit());
    this.sizes.observe(this.room);
  }

  stop() {
    this.sizes.disconnect();
  }

  load(chart, themes) {
    this.themes = themes ?? this.themes;
    const isFirst = !this.chart;
    if (this.drag?.bar) {
      if (this.drag.isOn) this.events.onRefused("The plan has changed meanwhile: drag once more.");
      this.stopDrag(); // it was of another plan
    }
    this.chart = chart;
    if (this.notes) this.notes = { ...this.notes, hovers: [], ghost_hovers: [] }; // the rest follows
    this.places = layoutLanes(chart, this.given); // also of a chart that is hidden, and so not painted
    if (isFirst || this.isWhole) this.zoomAll();
    else this.paint();
  }

  tell(notes) {
    this.notes = notes;
    this.said = new Map();
    if (this.look) this.draw();
  }

  // Zoom

  zoomAll() {
    this.range = hands.wholeRange(this.chart);
    this.isWhole = true;
    this.paint();
  }

  // About the chosen step, else what is pointed at, each of which stays where it is; else what is most worth
  // to be seen comes to the middle.
  zoom(factor, around = this.heldAt()) {
    const { range, chart } = this;
    const about = around === null ? [hands.middleSeen(range, chart), chart, 0.5] : [around, chart];
    const zoomed = hands.zoomedRange(range, factor, ...about);
    if (zoomed) this.setRange(zoomed[0], zoomed[1] - zoomed[0]);
  }

  heldAt() {
    const bar = this.selected && this.work().find(each => each.step === this.selected);
    if (bar) return (bar.start + bar.finish) / 2;
    return this.pointed === null ? null : this.minuteAt(this.pointed);
  }

  setRange(start, size) {
    this.range = hands.keptRange(start, size, this.chart);
    this.isWhole = hands.isWholeRange(this.range, this.chart);
    this.paint();
  }

  zoomTo(from, until) {
    this.setRange(...hands.framedRange(from, until, this.chart));
  }

  zoomToChoice() {
    const bars = this.work().filter(each => this.chosen.has(each.step));
    if (bars.length) this.zoomTo(...hands.rangeAround(bars));
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
    this.given = this.heightGiven();
    this.places = layoutLanes(this.chart, this.given);
    if (this.given === null) this.room.style.height = `${this.places.height}px`;
    this.width = this.room.clientWidth;
    this.look = {
      places: this.places,
      x: minute => this.x(minute),
      theme: this.theme,
      width: this.width,
      range: this.range,
      ticks: ticksFor(this.range, this.width - CHART_LEFT - CHART_RIGHT),
      clipId: this.clipId,
      inkOnFill: this.themes.ink_on_fill,
      nameOf: bar => this.nameOf(bar),
    };
    this.canvas.setAttribute("viewBox", `0 0 ${this.width} ${this.places.height}`);
    this.canvas.style.height = `${this.places.height}px`;
    this.draw();
    this.canvas.dataset.painted = String(Number(this.canvas.dataset.painted ?? 0) + 1);
    this.overview.follow();
  }

  // All of it, in the room that it has: most is as it was and stays.
  draw() {
    this.look.tight = new Set(this.notes?.tight);
    const marks = paintMarks(this.notes?.findings ?? [], this.look);
    redraw(this.canvas, [...paintChart(this.chart, this.look), marks]);
    this.paintChoice();
    this.dress?.();
    this.drag?.paint();
    this.legend.show();
  }

  // The height that the page leaves for the lanes; null where it leaves it to the chart.
  heightGiven() {
    const { room, box } = this;
    if (room.style.height) room.style.height = "";
    if (room.clientHeight < 1) return null;
    if (this.given === undefined && box.clientHeight >= LEGEND_PX) this.legend.open(true);
    box.classList.toggle("pk-low", box.clientHeight < LOW_PX);
    return room.clientHeight;
  }

  refit() {
    if (!this.chart) return;
    const { clientWidth, clientHeight } = this.room;
    const height = this.given ?? this.places.height;
    if (this.isBehind || clientWidth !== this.width || Math.abs(clientHeight - height) > 1) this.paint();
  }

  nameOf(bar) {
    if (!this.notes) return hands.nameOfBar(bar, []);
    const [step] = bar;
    if (!this.said.has(step)) this.said.set(step, hands.findingsFor(step, this.notes.findings));
    return hands.nameOfBar(bar, this.said.get(step));
  }

  asSvg() {
    return chartSvg(this);
  }

  asPng() {
    return chartPng(this);
  }

  saveSvg() {
    const picture = new Blob([this.asSvg()], { type: "image/svg+xml" });
    download(picture, pictureName(this.chart.title, "svg"));
  }

  async savePng() {
    download(await this.asPng(), pictureName(this.chart.title, "png"));
  }

  paintSoon() {
    // a page that was hidden for less than a frame tells nobody that it is back
    clearTimeout(this.soon);
    this.soon = setTimeout(
      () => this.isBehind && this.box.isConnected && this.box.clientWidth >= LEAST_PX && this.paint(),
      SOON_MS,
    );
  }

  paintChoice() {
    this.canvas.querySelectorAll(".pk-chosen").forEach(each => each.remove());
    this.canvas.removeAttribute("aria-activedescendant");
    const bars = [...this.canvas.querySelectorAll(".pk-bar-work")];
    const { chosen } = this;
    for (const bar of bars) {
      const isChosen = chosen.has(bar.dataset.step);
      change(bar, { "aria-selected": String(isChosen) });
      if (isChosen) bar.parentNode.append(ringOf(bar).drawn());
    }
    const last = bars.find(bar => this.selected && bar.dataset.step === this.selected);
    if (!last) return;
    this.canvas.setAttribute("aria-activedescendant", last.id);
    const tag = tagOf(this.chart.bars[last.dataset.bar], this.look);
    this.canvas.append(...tag.map(each => each.drawn()));
  }

  get chosen() {
    return new Set(this.selected ? [...this.along, this.selected] : []);
  }

  work() {
    return hands.workBars(this.chart);
  }
}
