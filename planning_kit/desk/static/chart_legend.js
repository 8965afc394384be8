// What the colours, patterns, lines and signs of the chart mean: only those that this plan has. The same
// entries stand in the page and in a saved picture.

import { CHART_FONTS, outline, rect, severitySign, text, widthOf } from "./chart_shapes.js";
import { el, svg } from "./dom.js";

const MARK = { width: 26, height: 14 };
const WORDS_FONT = "400 11px";
const ENTRY_GAP_PX = 16;
const ROW_PX = 18;

export function legendOf(data, notes) {
  const bars = data.bars;
  const worked = new Set(bars.filter(bar => bar[2] === "work").map(bar => bar[5]));
  const tasks = Object.entries(data.fills).filter(([task]) => worked.has(task));
  const has = kind => bars.some(bar => bar[2] === kind);
  const starts = new Map();
  const isShared = bars.some(([step, who, kind, start]) => {
    if (kind !== "work" || !step || !data.crew.includes(who)) return false;
    const other = starts.get(step);
    starts.set(step, start);
    return other === start;
  });
  const severities = new Set(
    notes?.findings?.filter(each => each.minute !== null).map(each => each.severity),
  );
  const entries = [
    ...tasks.map(([task, [fill, letter, title]]) => [
      "work",
      task ? `${task} ${title ?? ""}`.trim() : "outside any task",
      fill,
      letter,
    ]),
    has("travel") && ["travel", "translation"],
    has("wait") && ["wait", "wait"],
    isShared && ["shared", "done by both together"],
    notes?.tight?.length && ["tight", "no slack to plan"],
    data.light.night.length && ["night", "night"],
    data.light.day.length && ["day", "day"],
    data.light.penumbra.length && ["penumbra", "penumbra"],
    data.links.length && ["link", data.links.map(([name]) => name).join(", ")],
    data.handovers.length && ["handover", "one waits for the other, or an item passes"],
    data.inhibits.length && ["inhibit", "inhibit must stand"],
    data.ghosts.length && ["ghost", data.ghost_name],
    ...data.limits.map(([name]) => ["limit", `${name} limit`, name]),
    data.broken.some(each => each.steps.length) && ["broken", "breaks a rule"],
    data.broken.some(each => each.outside.length) && ["outside", "outside its window"],
    data.broken.some(each => each.line.length) && ["gap", "a gap or an order that is broken"],
    data.phases?.includes("past") && ["past", "done"],
    ...["stop", "concern", "remark"].map(name => severities.has(name) && ["finding", name, name]),
  ];
  return entries.filter(Boolean);
}

// The mark of an entry, drawn as in the chart.
function markOf([kind, , what, letter], theme, id, inkOnFill) {
  const { width, height } = MARK;
  const box = { y: 1, height: height - 2 };
  const low = { y: 4, height: height - 8 };
  const line = more =>
    svg("path", { d: `M1,${height / 2}H${width - 1}`, fill: "none", "stroke-width": 1.6, ...more });
  const frame = more => rect(1, width - 1, box, { fill: "none", ...more });
  const filled = (fill, strip = box) => rect(1, width - 1, strip, { fill });
  const marks = {
    work: () => [
      rect(1, width - 1, box, { fill: what, ...outline(false, theme) }),
      text(letter ?? "", width / 2, 11, { fill: inkOnFill, class: "pk-letter", "text-anchor": "middle" }),
    ],
    travel: () => rect(1, width - 1, low, { fill: `url(#${id}-travel)`, stroke: theme.quiet_ink }),
    wait: () => rect(1, width - 1, low, { fill: `url(#${id}-wait)`, stroke: theme.quiet_ink }),
    shared: () => rect(1, width - 1, box, { fill: theme.quiet_ink, opacity: 0.4 }),
    tight: () => frame(outline(true, theme)),
    night: () => [filled(theme.night_shade), filled(theme.night, { y: 1, height: 5 })],
    day: () => filled(theme.day, low),
    penumbra: () => filled(theme.penumbra, low),
    link: () => filled(theme.link, low),
    handover: () => line({ stroke: theme.quiet_ink, "marker-end": `url(#${id}-arrow)` }),
    inhibit: () => frame({ stroke: theme.quiet_ink, "stroke-dasharray": "3 2" }),
    ghost: () => frame({ stroke: theme.quiet_ink }),
    limit: () =>
      line({
        stroke: what === "hard" ? theme.stop : theme.ink,
        "stroke-dasharray": what === "hard" ? null : "6 3",
      }),
    broken: () => frame({ stroke: theme.stop, "stroke-width": 2.2 }),
    outside: () => [filled("#FFFFFF"), filled(`url(#${id}-outside)`)],
    gap: () => line({ stroke: theme.stop, "stroke-dasharray": "5 3", "stroke-width": 2.2 }),
    past: () => filled(`url(#${id}-past)`),
    finding: () => severitySign(what, width / 2, height / 2, 6, theme),
  };
  return [marks[kind]()].flat();
}

export class Legend {
  constructor(chart) {
    this.chart = chart;
    this.toggle = el(
      "button",
      {
        type: "button",
        class: "pk-legend-toggle",
        "aria-expanded": "false",
        title: "What the chart's signs mean",
      },
      "Legend",
    );
    this.list = el("ul", { class: "pk-legend", "aria-label": "Legend", hidden: true });
    this.toggle.addEventListener("click", () => {
      this.open(this.list.hidden);
      chart.paint(); // there is less room, or more
    });
  }

  open(isOpen) {
    this.list.hidden = !isOpen;
    this.toggle.setAttribute("aria-expanded", String(isOpen));
    this.show();
  }

  show() {
    const { chart: data, notes, theme, themes, clipId } = this.chart;
    if (this.list.hidden || !data) return;
    const entries = legendOf(data, notes);
    const said = JSON.stringify([entries, theme]);
    if (said === this.said) return;
    this.said = said;
    const picture = entry =>
      svg("svg", { ...MARK, "aria-hidden": "true" }, markOf(entry, theme, clipId, themes.ink_on_fill));
    this.list.replaceChildren(
      ...entries.map(entry => el("li", { title: entry[1] }, picture(entry), el("span", {}, entry[1]))),
    );
  }
}

// The legend as rows of a picture `width` px wide: the group and its height.
export function legendGroup(entries, { theme, clipId, inkOnFill }, width) {
  let [left, top] = [0, 0];
  const group = svg("g", {});
  for (const entry of entries) {
    const wide = MARK.width + 6 + widthOf(entry[1], WORDS_FONT);
    if (left && left + wide > width) [left, top] = [0, top + ROW_PX];
    group.append(
      svg(
        "g",
        { transform: `translate(${left.toFixed(1)},${top})` },
        markOf(entry, theme, clipId, inkOnFill),
        text(entry[1], MARK.width + 5, 11, { fill: theme.ink, style: `font: ${WORDS_FONT} ${CHART_FONTS}` }),
      ),
    );
    left += wide + ENTRY_GAP_PX;
  }
  return { group, height: top + ROW_PX };
}
