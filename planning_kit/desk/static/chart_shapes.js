// The shapes that the chart is made of. All texts are text nodes: nothing here reads markup.

import { shape } from "./drawing.js";

const MARK_PX = 6.5;
const SLIM_PX = 9;
const LEAST_PX = 0.6;

// As in workbench.css.
export const CHART_FONTS = 'system-ui, -apple-system, "Segoe UI", "Liberation Sans", Arial, sans-serif';

// Without slack to plan: a bold outline, less so where it would hide a bar of few pixels.
export function outline(isTight, theme, px = Infinity) {
  const bold = px < SLIM_PX ? 1.2 : 2.2;
  return { stroke: isTight ? theme.ink : theme.bar_outline, "stroke-width": isTight ? bold : 0.8 };
}

// The planned limit is broken, the hard one is not.
export function limitLine(name, theme) {
  return name === "hard" ? { stroke: theme.stop } : { stroke: theme.ink, "stroke-dasharray": "6 3" };
}

// The ring around a chosen bar: its box alone, or it would be read out as another bar.
export function ringOf(bar) {
  return shape("polygon", { points: bar.getAttribute("points"), class: "pk-chosen" });
}

export function severitySign(severity, cx, cy, r, theme, attributes = {}) {
  const line = { stroke: theme.ink, "stroke-width": 1.1, ...attributes };
  if (severity === "remark") return shape("circle", { cx, cy, r: r - 1, fill: theme.remark, ...line });
  const corners = severity === "stop" ? 8 : 3;
  const turn = severity === "stop" ? Math.PI / 8 : -Math.PI / 2;
  const points = Array.from({ length: corners }, (_, at) => {
    const angle = turn + (at * 2 * Math.PI) / corners;
    const x = cx + r * Math.cos(angle);
    const y = cy + (corners === 3 ? 1.5 : 0) + r * Math.sin(angle);
    return `${x.toFixed(1)},${y.toFixed(1)}`;
  });
  return shape("polygon", { points: points.join(" "), fill: theme[severity], ...line });
}

// The marks of findings, which come after the chart: at one spot the worst stands for those behind it.
export function paintMarks(findings, { places, x, theme, clipId }) {
  const marks = [];
  const taken = {};
  findings.forEach((found, number) => {
    if (found.minute === null) return;
    for (const who of found.lanes) {
      const strip = who === "" ? places.whole : places.lanes[who]?.marks;
      const key = `${who}|${Math.round(x(found.minute) / 14)}`;
      if (!strip || taken[key]) continue;
      const r = Math.min(MARK_PX, strip.height / 2);
      taken[key] = true;
      marks.push(
        severitySign(found.severity, x(found.minute), strip.y + strip.height / 2, r, theme, {
          "data-finding": number,
          class: "pk-mark",
        }),
      );
    }
  });
  return shape("g", { "clip-path": `url(#${clipId})` }, marks);
}

export function patterns(id, theme) {
  const tile = (name, size, ...marks) =>
    shape(
      "pattern",
      { id: `${id}-${name}`, width: size, height: size, patternUnits: "userSpaceOnUse" },
      marks,
    );
  const paper = shape("rect", { width: 6, height: 6, fill: theme.paper });
  return [
    tile("travel", 6, paper, shape("path", { d: "M0,6 L6,0", stroke: theme.ink, "stroke-width": 1 })),
    tile("wait", 6, paper, shape("circle", { cx: 2, cy: 2, r: 0.9, fill: theme.quiet_ink })),
    tile(
      "outside",
      7,
      shape("path", { d: "M0,0 L7,7 M0,7 L7,0", stroke: "rgba(21,24,28,0.6)", "stroke-width": 1 }),
    ),
    shape(
      "marker",
      {
        id: `${id}-arrow`,
        viewBox: "0 0 6 6",
        refX: 5,
        refY: 3,
        markerWidth: 6,
        markerHeight: 6,
        orient: "auto",
      },
      shape("path", { d: "M0,0 L6,3 L0,6 Z", fill: theme.quiet_ink }),
    ),
  ];
}

export function rect(from, until, strip, attributes) {
  return shape("rect", {
    x: from.toFixed(2),
    y: strip.y,
    width: Math.max(LEAST_PX, until - from).toFixed(2),
    height: strip.height,
    ...attributes,
  });
}

// A bar: where a polygon stands is no property of style, so that no rule of any sheet is asked when it moves.
export function block(from, until, { y, height }, attributes) {
  const [left, right] = [from, from + Math.max(LEAST_PX, until - from)].map(px => px.toFixed(2));
  const [top, low] = [y, y + height].map(px => px.toFixed(2));
  const points = `${left},${top} ${right},${top} ${right},${low} ${left},${low}`;
  return shape("polygon", { points, ...attributes });
}

export function text(words, x, y, attributes) {
  return shape("text", { x, y, ...attributes }, words);
}

// Bold letters differ by half in width: what is written beside each other must be measured.
const ruler = document.createElement("canvas").getContext("2d");
const measured = new Map();

export function widthOf(words, font) {
  const key = `${font} ${words}`;
  if (!measured.has(key)) {
    ruler.font = `${font} ${CHART_FONTS}`;
    measured.set(key, ruler.measureText(words).width);
  }
  return measured.get(key);
}
