// The chart of a plan that is under way: what is done is hatched, what is in hand is outlined, a line stands
// at now. Drawn over the chart each time that it is painted; between two paintings only the line moves.

import { CHART_LEFT, CHART_RIGHT } from "./chart_layout.js";
import { rect, text } from "./chart_shapes.js";
import { keptRange, wholeRange } from "./chart_hands.js";
import { button, el, svg } from "./dom.js";
import { petFloor } from "./times.js";

const FLAG_PX = 34;
// What is seen around now, while the chart follows it.
const BEFORE_MIN = 30;
const AROUND_MIN = 150;

export class OutsideChart {
  constructor(chart, now) {
    Object.assign(this, { chart, now });
    chart.dress = () => this.paint();
    const hint = "The chart around now, which it follows; or the whole outing (N)";
    this.button = button("", hint, () => this.turn(), { "data-act": "follow" });
    this.button.append("Around ", el("u", {}, "n"), "ow");
    this.tell();
  }

  // Around now

  get isFollowing() {
    return Boolean(this.around) && this.chart.range === this.around;
  }

  // Before `data` are loaded: the chart stays around now, unless the planner has moved it meanwhile.
  follow(isFirst, data) {
    if (isFirst) this.before = { range: this.chart.range, isWhole: this.chart.isWhole };
    if (isFirst || this.isFollowing) this.stand(data);
  }

  stand(data) {
    const whole = wholeRange(data);
    const size = Math.min(AROUND_MIN, whole[1] - whole[0]);
    this.around = keptRange(this.now() - BEFORE_MIN, size, data);
    Object.assign(this.chart, { range: this.around, isWhole: false });
  }

  turn() {
    if (this.isFollowing) this.chart.zoomAll();
    else {
      this.stand(this.chart.chart);
      this.chart.paint();
    }
  }

  // The plan is seen as it was seen before.
  leave() {
    this.around = null;
    if (this.before) Object.assign(this.chart, this.before);
  }

  onKey({ key, ctrlKey, metaKey, altKey }) {
    if (key.toLowerCase() !== "n" || ctrlKey || metaKey || altKey) return false;
    this.turn();
    return true;
  }

  tell() {
    this.button.setAttribute("aria-pressed", String(this.isFollowing));
  }

  paint() {
    const { chart, places, look } = {
      chart: this.chart.chart,
      places: this.chart.places,
      look: this.chart.look,
    };
    if (!chart.phases) return;
    this.tell();
    const id = `${look.clipId}-past`;
    const inside = { "clip-path": `url(#${look.clipId})`, "pointer-events": "none" };
    const isDark = this.chart.root.dataset.theme === "dark";
    const hatch = svg(
      "pattern",
      { id, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
      svg("rect", { width: 5, height: 5, fill: isDark ? "rgba(21,25,30,0.3)" : "rgba(60,66,76,0.3)" }),
      svg("path", {
        d: "M0,0 V5",
        stroke: isDark ? "rgba(21,25,30,0.55)" : "rgba(27,31,36,0.45)",
        "stroke-width": 1.4,
      }),
    );
    const [done, over] = [[], []];
    chart.bars.forEach(([, who, kind, start, finish], number) => {
      const lane = places.lanes[who]?.main;
      const phase = chart.phases[number];
      if (!lane || kind !== "work" || phase === "ahead") return;
      const until = phase === "past" ? finish : Math.min(finish, chart.now);
      done.push(
        rect(this.chart.x(start), this.chart.x(until), lane, { fill: `url(#${id})`, class: "pk-past" }),
      );
      if (phase === "running")
        over.push(
          rect(
            this.chart.x(start) - 2,
            this.chart.x(finish) + 2,
            { y: lane.y - 3, height: lane.height + 6 },
            { fill: "none", class: "pk-running" },
          ),
        );
    });
    const canvas = this.chart.canvas;
    canvas.querySelector("defs").append(hatch);
    // Under the labels, so that what was done stays readable.
    const labels = canvas.querySelector(".pk-labels");
    labels.parentNode.insertBefore(svg("g", inside, done), labels);
    const foot = places.axis.height - 1; // the flag is as high as the axis: it covers the time behind it
    this.flag = svg(
      "g",
      {},
      svg("path", { class: "pk-now-flag", d: `M0,${foot} h-${FLAG_PX} V0 h${2 * FLAG_PX} V${foot} Z` }),
      text("", 0, foot / 2 + 4, { class: "pk-now-words", "text-anchor": "middle" }),
    );
    this.line = svg(
      "g",
      { class: "pk-now-line" },
      svg("path", { d: `M0,${foot} V${places.bottom}` }),
      this.flag,
    );
    labels.parentNode.append(svg("g", inside, over));
    canvas.append(svg("g", inside, this.line)); // over all, the flag over the times beside it
    this.tick();
  }

  tick() {
    if (!this.line || !this.chart.chart?.phases) return;
    const minute = this.now();
    const x = this.chart.x(minute);
    this.line.setAttribute("transform", `translate(${x.toFixed(2)},0)`);
    // The flag stays whole where the line is near an end.
    const ends = [CHART_LEFT + FLAG_PX, this.chart.width - CHART_RIGHT - FLAG_PX];
    const isNear = x > CHART_LEFT - 1 && x < this.chart.width - CHART_RIGHT + 1;
    this.flag.setAttribute(
      "transform",
      `translate(${isNear ? (Math.max(ends[0], Math.min(ends[1], x)) - x).toFixed(2) : 0},0)`,
    );
    this.line.querySelector("text").textContent = `now ${petFloor(minute)}`;
  }
}
