// The whole outing in small below the chart, and the part that is seen as a window in it: dragged, pulled at
// its ends, and moved with keys.

import { wholeRange } from "./chart_hands.js";
import { CHART_LEFT, CHART_RIGHT } from "./chart_layout.js";
import { limitLine, rect } from "./chart_shapes.js";
import { el, svg } from "./dom.js";
import { redraw, shape } from "./drawing.js";
import { pet } from "./times.js";

const HEIGHT_PX = 20;
// How far a key moves the window, in shares of it.
const STEPS = { ArrowRight: 0.1, ArrowLeft: -0.1, ArrowUp: 0.1, ArrowDown: -0.1, PageDown: 1, PageUp: -1 };
const ZOOM = 1.25;
const LEAST_WINDOW_PX = 8;

export class Overview {
  constructor(chart) {
    this.chart = chart;
    this.picture = svg("svg", { class: "pk-overview-picture", "aria-hidden": "true" });
    const ends = [0, 1].map(end => el("span", { class: "pk-window-end", "data-end": end }));
    const about = {
      class: "pk-window",
      role: "slider",
      tabindex: 0,
      "aria-label": "Part of the outing that is seen",
    };
    this.window = el("div", { ...about, onkeydown: event => this.onKey(event) }, ends);
    const drop = () => {
      this.pull = null;
    };
    const hands = {
      onpointerdown: event => this.onDown(event),
      onpointermove: event => this.onMove(event),
      onpointerup: drop,
      onpointercancel: drop,
      ondblclick: () => chart.zoomAll(),
    };
    this.box = el("div", { class: "pk-overview", ...hands }, this.picture, this.window);
  }

  // Painted anew only where something else is to be seen: zooming moves the window alone.
  follow() {
    const { chart: data, theme, width, range } = this.chart;
    if (data !== this.data || theme !== this.theme || width !== this.width) {
      const room = width - CHART_LEFT - CHART_RIGHT;
      Object.assign(this, { data, theme, width, room, ends: wholeRange(data) });
      this.picture.setAttribute("viewBox", `0 0 ${room} ${HEIGHT_PX}`);
      redraw(
        this.picture,
        overviewOf(data, minute => this.x(minute), theme),
      );
    }
    const [from, until] = range;
    const left = Math.max(0, Math.min(this.x(from), this.room - LEAST_WINDOW_PX)); // not to the horizon
    const right = Math.min(this.room, this.x(until));
    this.window.style.left = `${left}px`;
    this.window.style.width = `${Math.max(LEAST_WINDOW_PX, right - left)}px`;
    const [min, max] = this.ends;
    for (const [name, minute] of Object.entries({ min, max, now: (from + until) / 2 }))
      this.window.setAttribute(`aria-value${name}`, String(Math.round(minute)));
    this.window.setAttribute("aria-valuetext", `PET ${pet(from)} to ${pet(until)}`);
  }

  x(minute) {
    return ((minute - this.ends[0]) / (this.ends[1] - this.ends[0])) * this.room;
  }

  minutes(px) {
    return (px / this.room) * (this.ends[1] - this.ends[0]);
  }

  onDown(event) {
    if (event.button !== 0 || !this.ends) return;
    const [from, until] = this.chart.range;
    const at = this.ends[0] + this.minutes(event.clientX - this.box.getBoundingClientRect().left);
    if (!this.window.contains(event.target)) this.chart.setRange(at - (until - from) / 2, until - from);
    this.pull = { px: event.clientX, range: [...this.chart.range], end: event.target.dataset?.end };
    this.box.setPointerCapture(event.pointerId);
    this.window.focus({ preventScroll: true });
    event.preventDefault();
  }

  onMove(event) {
    if (!this.pull) return;
    const { px, end } = this.pull;
    const [from, until] = this.pull.range;
    const by = this.minutes(event.clientX - px);
    if (end === undefined) this.chart.setRange(from + by, until - from);
    else if (end === "0") this.chart.zoomTo(Math.min(from + by, until), until);
    else this.chart.zoomTo(from, Math.max(from, until + by));
  }

  onKey(event) {
    const { key } = event;
    const [from, until] = this.chart.range;
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (key in STEPS) this.chart.setRange(from + STEPS[key] * (until - from), until - from);
    else if (key === "+" || key === "-") this.chart.zoom(key === "+" ? 1 / ZOOM : ZOOM, (from + until) / 2);
    else if (key === "Home") this.chart.zoomAll();
    else return;
    event.preventDefault();
  }
}

// Nights, a thin bar a lane (one path a colour, or 150 steps would cost as much as the chart), and limits.
function overviewOf(data, x, theme) {
  const lanes = [...data.crew, ...data.actors.map(([who]) => who)];
  const each = (HEIGHT_PX - 4) / lanes.length;
  const fills = new Map();
  for (const [, who, kind, start, finish, task] of data.bars) {
    const at = lanes.indexOf(who);
    if (kind !== "work" || at < 0) continue;
    const [fill] = data.fills[task] ?? data.fills[""] ?? ["#DDDDDD"];
    const wide = Math.max(0.7, x(finish) - x(start) - 0.4).toFixed(1);
    const high = (each - 1.5).toFixed(1);
    const bar = `M${x(start).toFixed(1)},${(2 + at * each).toFixed(1)}h${wide}v${high}h-${wide}z`;
    fills.set(fill, (fills.get(fill) ?? "") + bar);
  }
  const across = { y: 0, height: HEIGHT_PX };
  return [
    ...data.light.night.map(([start, finish]) =>
      rect(x(start), x(finish), across, { fill: theme.night_shade }),
    ),
    ...[...fills].map(([fill, d]) => shape("path", { d, fill })),
    ...data.limits.map(([name, minute]) =>
      shape("path", {
        d: `M${x(minute).toFixed(1)},0v${HEIGHT_PX}`,
        ...limitLine(name, theme),
        "stroke-width": 1.4,
      }),
    ),
  ];
}
