// What the colours, patterns, lines and signs of the chart mean: only those that this plan has. The same
// entries stand in the page and in a saved picture.

import { CHART_FONTS, limitLine, outline, rect, severitySign, text, widthOf } from "./chart_shapes.js";
import { button, el, svg } from "./dom.js";

const MARK = { width: 26, height: 14 };
const WORDS_FONT = "400 11px";
const ENTRY_GAP_PX = 16;
const ROW_PX = 18;

// Entries of words and their mark, drawn as in the chart when it is asked for.
export function legendOf(data, notes, { theme, clipId, inkOnFill }) {
  const { width, height } = MARK;
  const [box, low] = [
    { y: 1, height: height - 2 },
    { y: 4, height: height - 8 },
  ];
  const block = (strip, fill, more) => () => rect(1, width - 1, strip, { fill, ...more });
  const frame = more => block(box, "none", more);
  const line = more => () =>
    svg("path", { d: `M1,${height / 2}H${width - 1}`, fill: "none", "stroke-width": 1.6, ...more });
  const quiet = { stroke: theme.quiet_ink };
  const pause = kind => block(low, `url(#${clipId}-${kind})`, quiet);
  const task =
    ([fill, letter]) =>
    () => [
      block(box, fill, outline(false, theme))(),
      text(letter, width / 2, 11, { fill: inkOnFill, class: "pk-letter", "text-anchor": "middle" }),
    ];
  const sign = name => () => severitySign(name, width / 2, height / 2, 6, theme);
  const night = () => [block(box, theme.night_shade)(), block({ y: 1, height: 5 }, theme.night)()];
  const outside = () => [block(box, "#FFFFFF")(), block(box, `url(#${clipId}-outside)`)()];
  const stop = { stroke: theme.stop, "stroke-width": 2.2 };

  const work = data.bars.filter(bar => bar[2] === "work");
  const tasks = Object.entries(data.fills).filter(([id]) => work.some(bar => bar[5] === id));
  const has = kind => data.bars.some(bar => bar[2] === kind);
  const both = work.filter(bar => bar[0] && data.crew.includes(bar[1])).map(bar => bar[0]);
  const isFound = name => notes?.findings?.some(each => each.severity === name && each.minute !== null);
  const breaks = name => data.broken.some(each => each[name].length);
  return [
    ...tasks.map(([id, look]) => [true, id ? `${id} ${look[2]}` : "outside any task", task(look)]),
    [has("travel"), "translation", pause("travel")],
    [has("wait"), "wait", pause("wait")],
    [new Set(both).size < both.length, "done by both", block(box, theme.quiet_ink, { opacity: 0.4 })],
    [notes?.tight?.length, "no slack to plan", frame(outline(true, theme))],
    [data.light.night.length, "night", night],
    [data.light.day.length, "day", block(low, theme.day)],
    [data.light.penumbra.length, "penumbra", block(low, theme.penumbra)],
    [data.links.length, "link or window", block(low, theme.link)],
    [data.handovers.length, "handover", line({ ...quiet, "marker-end": `url(#${clipId}-arrow)` })],
    [data.inhibits.length, "inhibit must stand", frame({ ...quiet, "stroke-dasharray": "3 2" })],
    [data.ghosts.length, data.ghost_name, frame(quiet)],
    ...data.limits.map(([name]) => [true, `${name} limit`, line(limitLine(name, theme))]),
    [breaks("steps"), "breaks a rule", frame(stop)],
    [breaks("outside"), "outside its window", outside],
    [breaks("line"), "broken gap or order", line({ ...stop, "stroke-dasharray": "5 3" })],
    [data.phases?.includes("past"), "done", block(box, `url(#${clipId}-past)`)],
    ...["stop", "concern", "remark"].map(name => [isFound(name), name, sign(name)]),
  ]
    .filter(([isThere]) => isThere)
    .map(([, words, mark]) => ({ words, mark }));
}

export class Legend {
  constructor(chart) {
    this.chart = chart;
    this.toggle = button("Legend", "What the chart's signs mean", () => {
      this.open(this.list.hidden);
      chart.paint(); // there is less room, or more
    });
    this.toggle.className = "pk-legend-toggle";
    this.list = el("ul", { class: "pk-legend", "aria-label": "Legend" });
    this.open(false);
  }

  open(isOpen) {
    this.list.hidden = !isOpen;
    this.toggle.setAttribute("aria-expanded", String(isOpen));
    this.show();
  }

  // Made anew only where something else is to be said.
  show() {
    if (this.list.hidden || !this.chart.look) return;
    const { chart: data, notes, theme, look } = this.chart;
    if (data === this.data && notes === this.notes && theme === this.theme) return;
    Object.assign(this, { data, notes, theme });
    const item = ({ words, mark }) =>
      el(
        "li",
        { title: words },
        svg("svg", { ...MARK, "aria-hidden": "true" }, mark()),
        el("span", {}, words),
      );
    this.list.replaceChildren(...legendOf(data, notes, look).map(item));
  }
}

// The legend as rows of a picture `width` px wide: the group and its height.
export function legendGroup(entries, theme, width) {
  let [left, top] = [0, 0];
  const style = `font: ${WORDS_FONT} ${CHART_FONTS}`;
  const group = svg("g", {});
  for (const { words, mark } of entries) {
    const wide = MARK.width + 6 + widthOf(words, WORDS_FONT);
    if (left && left + wide > width) [left, top] = [0, top + ROW_PX];
    const said = text(words, MARK.width + 5, 11, { fill: theme.ink, style });
    group.append(svg("g", { transform: `translate(${left.toFixed(1)},${top})` }, mark(), said));
    left += wide + ENTRY_GAP_PX;
  }
  return { group, height: top + ROW_PX };
}
