// The lanes below the picture: who works, waits and walks when, night and penumbra behind them, now in them.

import { svg } from "./elements.js";
import { petText } from "./film_lookup.js";

const [WIDE, LANE, LEFT, HEAD] = [1000, 26, 46, 16];
export const xAt = (minute, end_min) => LEFT + (minute / end_min) * (WIDE - LEFT - 6);
export const minuteOf = (x, end_min) =>
  Math.min(end_min, Math.max(0, ((x - LEFT) / (WIDE - LEFT - 6)) * end_min));

const text = (words, x, y, more = {}) => {
  const element = svg("text", { x, y, ...more });
  element.textContent = words;
  return element;
};
const box = (x, y, width, height, more) =>
  svg("rect", { x, y, width: Math.max(0.5, width), height, ...more });

// `chosen(minute)` is called for a press anywhere on it. `set(minute)` moves now.
export function stripOf(scene, chosen) {
  const { lanes, bars } = scene.strip;
  const end = scene.end_min;
  const high = HEAD + lanes.length * LANE + 4;
  const picture = svg("svg", { viewBox: `0 0 ${WIDE} ${high}`, class: "pkf-strip", "aria-hidden": "true" });
  for (const [kind, opacity] of [
    ["night", 0.3],
    ["penumbra", 0.15],
  ]) {
    for (const [from, until] of scene.light.kinds[kind] ?? []) {
      const [a, b] = [from, until].map(minute => xAt(Math.min(end, Math.max(0, minute)), end));
      if (b > a) picture.append(box(a, 0, b - a, high, { fill: "#2E3856", opacity }));
    }
  }
  for (let hour = 0; hour * 60 <= end; hour += 1) {
    const x = xAt(hour * 60, end);
    picture.append(svg("line", { x1: x, x2: x, y1: 0, y2: high, stroke: "currentColor", opacity: 0.25 }));
    picture.append(text(petText(hour * 60), x + 3, 11, { class: "pkf-small" }));
  }
  lanes.forEach((lane, n) => picture.append(text(lane, 4, HEAD + n * LANE + 17, { class: "pkf-lane" })));
  for (const [who, from, until, fill, letter, step] of bars) {
    const lane = lanes.indexOf(who);
    if (lane < 0) continue;
    const [x, wide] = [xAt(from, end), xAt(until, end) - xAt(from, end)];
    const bar = box(x, HEAD + lane * LANE + 2, wide, LANE - 5, {
      fill,
      stroke: "#15181C",
      "stroke-width": 0.6,
    });
    const told = svg("title");
    told.textContent = `${who} ${step ?? ""} ${petText(from)} to ${petText(until)}`;
    bar.append(told);
    picture.append(bar);
    const words = wide > 44 && step ? step : wide > 12 ? letter : "";
    if (words) picture.append(text(words, x + 3, HEAD + lane * LANE + 17, { class: "pkf-bar" }));
  }
  for (const { severity, from, words } of scene.findings) {
    if (from === null || from > end || severity === "remark") continue;
    const x = xAt(from, end);
    const sign = svg("path", {
      d: `M${x} 14 l-4 -8 h8 z`,
      fill: severity === "stop" ? "#D6262D" : "#E69F00",
    });
    const told = svg("title");
    told.textContent = words;
    sign.append(told);
    picture.append(sign);
  }
  const now = svg("line", { y1: 0, y2: high, class: "pkf-now" });
  picture.append(now);
  const press = event => {
    const at = picture.getBoundingClientRect();
    chosen(minuteOf(((event.clientX - at.left) / at.width) * WIDE, end));
  };
  picture.addEventListener("pointerdown", event => {
    picture.setPointerCapture(event.pointerId);
    press(event);
  });
  picture.addEventListener("pointermove", event => event.buttons && press(event));
  const set = minute => {
    for (const name of ["x1", "x2"]) now.setAttribute(name, xAt(minute, end));
  };
  set(0);
  return { element: picture, set };
}
