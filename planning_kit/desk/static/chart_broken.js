// What breaks a rule: a frame that stands out of its lane, hatched where the step lies outside its window; a
// dashed line with a cross between the two ends of a gap or an order. The hover says which rule, and by how
// much.

import { rect } from "./chart_shapes.js";
import { shape } from "./drawing.js";

const BEYOND_PX = 3;
const CROSS_PX = 5;

export function paintBroken(data, { places, x, theme, clipId }) {
  const layer = [];
  const bars = data.bars.filter(([, who, kind]) => kind === "work" && places.lanes[who]);
  const of = step => bars.filter(bar => bar[0] === step);
  const still = { "pointer-events": "none" };
  const frame = { ...still, class: "pk-broken-frame", fill: "none", stroke: theme.stop, "stroke-width": 2.2 };
  for (const { outside } of data.broken) {
    for (const [step, from, until] of outside)
      for (const [, who] of of(step))
        layer.push(
          rect(x(from), x(until), places.lanes[who].main, { ...still, fill: "#FFFFFF", opacity: 0.4 }),
          rect(x(from), x(until), places.lanes[who].main, {
            ...still,
            class: "pk-broken-outside",
            fill: `url(#${clipId}-outside)`,
          }),
        );
  }
  for (const step of new Set(data.broken.flatMap(each => each.steps))) {
    for (const [, who, , start, finish] of of(step)) {
      const { y, height } = places.lanes[who].main;
      layer.push(rect(x(start), x(finish), { y: y - BEYOND_PX, height: height + 2 * BEYOND_PX }, frame));
    }
  }
  data.broken.forEach(({ line }, number) => {
    if (line.length) layer.push(...brokenLine(line, number));
  });
  return shape("g", { class: "pk-broken" }, layer);

  function brokenLine([[source, first], [target, last]], number) {
    const [begin, end] = [places.lanes[source].main, places.lanes[target].main];
    const [x1, x2, y1, y2] = [x(first), x(last), ...facing(begin, end)];
    const [mx, my] = [(x1 + x2) / 2, (y1 + y2) / 2];
    const look = { stroke: theme.stop, "stroke-width": 2.2, "data-broken": number, fill: "none" };
    const cross =
      `M${mx - CROSS_PX},${my - CROSS_PX} l${2 * CROSS_PX},${2 * CROSS_PX} ` +
      `M${mx - CROSS_PX},${my + CROSS_PX} l${2 * CROSS_PX},${-2 * CROSS_PX}`;
    return [
      shape("line", { x1, x2, y1, y2, ...look, "stroke-dasharray": "5 3", class: "pk-broken-line" }),
      shape("path", { d: cross, ...look }),
    ];
  }
}

// The edges that two strips turn to each other; of one strip its lower edge.
function facing(begin, end) {
  if (begin.y === end.y) return [begin.y + begin.height, end.y + end.height];
  return begin.y < end.y ? [begin.y + begin.height, end.y] : [begin.y, end.y + end.height];
}
