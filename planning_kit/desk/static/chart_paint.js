// Painting the chart: from the kernel's plain data and a zoom to SVG. It knows no events.
// All texts of a scenario are text nodes: nothing here reads markup.

import { paintBroken } from "./chart_broken.js";
import { CHART_LEFT, CHART_RIGHT, HEIGHTS, TEXT_PX, fit, wrapped } from "./chart_layout.js";
import { outline, patterns, rect, text, widthOf } from "./chart_shapes.js";
import { svg } from "./dom.js";
import { gmt, pet, petFloor } from "./times.js";

const ID_FONT = "650 11px";
const THIN_FONT = "650 10px";
const LINE_PX = 11.5;
const ID_GAP = 4;

export function paintChart(chart, look) {
  const { places, x, theme, width, range } = look;
  const right = width - CHART_RIGHT;
  const seen = (from, until) => [Math.max(x(from), CHART_LEFT), Math.min(x(until), right)];
  const layers = {
    ground: svg("g"),
    bars: svg("g"),
    labels: svg("g", { class: "pk-labels" }),
    over: svg("g"),
    names: svg("g"),
  };
  const inside = svg(
    "g",
    { "clip-path": `url(#${look.clipId})` },
    layers.ground,
    layers.bars,
    layers.labels,
    layers.over,
  );
  const clip = svg(
    "clipPath",
    { id: look.clipId },
    svg("rect", { x: CHART_LEFT, y: 0, width: Math.max(0, right - CHART_LEFT), height: places.height }),
  );
  paintGround(chart, layers);
  paintBars(chart, layers);
  layers.bars.append(paintBroken(chart, look));
  paintOver(chart, layers);
  paintNames(chart, layers.names);
  return [svg("defs", {}, clip, patterns(look.clipId, theme)), inside, layers.names];

  function paintGround(data, { ground }) {
    for (const who of data.crew)
      ground.append(rect(CHART_LEFT, right, places.lanes[who].main, { fill: theme.lane }));
    for (const [who] of data.actors)
      ground.append(rect(CHART_LEFT, right, places.lanes[who].main, { fill: theme.lane }));
    const first = places.light.y + places.light.height;
    for (const [start, finish] of data.light.night) {
      ground.append(
        rect(x(start), x(finish), { y: first, height: places.bottom - first }, { fill: theme.night_shade }),
      );
    }
    for (const kind of ["day", "penumbra", "night"]) {
      for (const [start, finish] of data.light[kind]) {
        ground.append(rect(x(start), x(finish), places.light, { fill: theme[kind] }));
        const [from, until] = seen(start, finish);
        if (kind !== "penumbra" && until - from > 40) {
          const ink = { fill: theme[`${kind}_ink`], "text-anchor": "middle", class: "pk-small" };
          ground.append(text(kind, (until + from) / 2, places.light.y + 11, ink));
        }
      }
    }
    data.links.forEach(([, windows], number) => {
      for (const [start, finish] of windows)
        ground.append(rect(x(start), x(finish), places.links[number], { fill: theme.link }));
    });
    for (const minute of look.ticks) {
      ground.append(
        svg("line", {
          x1: x(minute),
          x2: x(minute),
          y1: HEIGHTS.axis,
          y2: places.bottom,
          stroke: theme.grid,
        }),
      );
    }
    data.inhibits.forEach((row, number) => {
      for (const [at, [inhibit, title, from, until]] of row.entries()) {
        if (until < range[0] || from > range[1]) continue;
        const strip = places.inhibits[number];
        ground.append(
          rect(x(from), x(until), strip, {
            fill: "transparent",
            stroke: theme.quiet_ink,
            "stroke-dasharray": "3 2",
            "data-inhibit": `${number} ${at}`,
          }),
        );
        const [left, end] = seen(from, until);
        const words = fit(`${inhibit} ${title}`, end - left - 8, TEXT_PX);
        ground.append(text(words, left + 4, strip.y + 11, { fill: theme.ink, class: "pk-small" }));
      }
    });
  }

  function paintBars(data, { bars, labels }) {
    const shared = new Map();
    data.bars.forEach((bar, number) => {
      const [step, who, kind, start, finish, task, title] = bar;
      const lane = places.lanes[who];
      if (!lane || finish < range[0] || start > range[1]) return;
      const share = kind === "work" ? 1 : kind === "wait" ? 0.32 : 0.14;
      const height = Math.max(5, lane.main.height * share);
      const strip = { y: lane.main.y + (lane.main.height - height) / 2, height };
      const [fill, texture] = data.fills[task] ?? ["#DDDDDD", ""];
      const about = {
        "data-bar": number,
        "data-step": step,
        "data-kind": kind,
        class: `pk-bar pk-bar-${kind}`,
      };
      if (kind !== "work") {
        bars.append(
          rect(x(start), x(finish), strip, {
            ...about,
            fill: `url(#${look.clipId}-${kind})`,
            stroke: theme.quiet_ink,
            "stroke-width": 0.8,
          }),
        );
        return;
      }
      bars.append(
        rect(x(start), x(finish), strip, { ...about, fill, ...outline(look.tight.has(step), theme) }),
      );
      if (texture)
        bars.append(
          rect(x(start), x(finish), strip, {
            fill: `url(#${look.clipId}-${texture})`,
            "pointer-events": "none",
          }),
        );
      label(labels, step || title, title, x(start), x(finish), strip, lane.isThin);
      if (step && data.crew.includes(who)) {
        const other = shared.get(step);
        if (other && other.start === start) bridge(bars, other.lane, lane, start, finish, fill);
        else shared.set(step, { start, lane });
      }
    });
  }

  function bridge(bars, upper, lower, start, finish, fill) {
    const top = upper.main.y + upper.main.height;
    bars.prepend(rect(x(start), x(finish), { y: top, height: lower.main.y - top }, { fill, opacity: 0.4 }));
  }

  function label(labels, name, title, from, until, strip, isThin) {
    const left = Math.max(from, CHART_LEFT);
    const room = Math.min(until, right) - left;
    const common = { fill: look.inkOnFill, "pointer-events": "none" };
    if (isThin) {
      if (room >= widthOf(name, THIN_FONT) + ID_GAP)
        labels.append(
          text(name, left + room / 2, strip.y + 13, {
            ...common,
            class: "pk-id pk-small",
            "text-anchor": "middle",
          }),
        );
      return;
    }
    const idPx = widthOf(name, ID_FONT);
    if (idPx + 2 * ID_GAP <= room) {
      labels.append(text(name, left + ID_GAP, strip.y + 13, { ...common, class: "pk-id" }));
      if (room >= 44 && title !== name) {
        wrapped(title, Math.floor((room - 7) / TEXT_PX), Math.floor((strip.height - 18) / LINE_PX)).forEach(
          (line, at) => {
            labels.append(
              text(line, left + 4, strip.y + 25 + at * LINE_PX, { ...common, class: "pk-small" }),
            );
          },
        );
      }
    } else if (room >= 9 && idPx <= strip.height - 8) {
      // else it is in the hover line
      const middle = left + room / 2 + 4;
      const low = strip.y + strip.height - 5;
      labels.append(
        text(name, middle, low, { ...common, class: "pk-id", transform: `rotate(-90 ${middle} ${low})` }),
      );
    }
  }

  function paintOver(data, { over }) {
    data.ghosts.forEach(([step, who, start, finish], number) => {
      const lane = places.lanes[who];
      if (!lane?.ghosts) return;
      const hollow = {
        fill: "transparent",
        stroke: theme.quiet_ink,
        "stroke-dasharray": lane.isThin ? "2 2" : null,
        class: "pk-ghost",
        "data-ghost": number,
      };
      over.append(rect(x(start), x(finish), lane.ghosts, hollow));
      if (!lane.isThin && x(finish) - x(start) > step.length * TEXT_PX + 4) {
        over.append(
          text(step, (x(start) + x(finish)) / 2, lane.ghosts.y + 10, {
            fill: theme.quiet_ink,
            class: "pk-small",
            "text-anchor": "middle",
          }),
        );
      }
    });
    for (const [name, minute] of data.limits) {
      const colour = name === "hard" ? theme.stop : theme.ink;
      over.append(
        svg("line", {
          x1: x(minute),
          x2: x(minute),
          y1: HEIGHTS.axis,
          y2: places.bottom,
          stroke: colour,
          "stroke-width": 1.6,
          "stroke-dasharray": name === "hard" ? null : "6 3",
        }),
      );
      over.append(
        text(`${name} ${petFloor(minute)}`, x(minute) - 4, places.bottom - (name === "hard" ? 15 : 4), {
          fill: colour,
          class: "pk-small",
          "text-anchor": "end",
        }),
      );
    }
    for (const [from, to, left, used] of data.handovers) {
      const a = places.lanes[from]?.main;
      const b = places.lanes[to]?.main;
      if (!a || !b) continue;
      const isDown = a.y < b.y;
      const y1 = isDown ? a.y + a.height : a.y;
      const y2 = isDown ? b.y : b.y + b.height;
      over.append(
        svg("path", {
          d: `M${x(left)},${y1} C${x(left)},${(y1 + y2) / 2} ${x(used)},${(y1 + y2) / 2} ${x(used)},${y2}`,
          fill: "none",
          stroke: theme.quiet_ink,
          "stroke-width": 1.1,
          "marker-end": `url(#${look.clipId}-arrow)`,
        }),
      );
    }
  }

  function paintNames(data, names) {
    const name = (words, strip, attributes = {}) =>
      names.append(
        text(words, CHART_LEFT - 8, strip.y + strip.height / 2 + 4, {
          fill: theme.ink,
          "text-anchor": "end",
          class: "pk-lane-name",
          ...attributes,
        }),
      );
    const quiet = { fill: theme.quiet_ink, class: "pk-small" };
    name("light", places.light, quiet);
    data.links.forEach(([link], number) =>
      name(fit(link, CHART_LEFT - 14, TEXT_PX), places.links[number], { ...quiet, class: "pk-tiny" }),
    );
    for (const who of data.crew) {
      name(who, places.lanes[who].main, { class: "pk-crew-name" });
      if (places.lanes[who].ghosts) name(chart.ghost_name, places.lanes[who].ghosts, quiet);
      name("findings", places.lanes[who].marks, quiet);
    }
    for (const [who] of data.actors) name(fit(who, CHART_LEFT - 14, 7), places.lanes[who].main);
    if (data.inhibits.length) name("inhibits", places.inhibits[0], quiet);
    names.append(
      text("GMT", CHART_LEFT - 36, 12, { ...quiet, "text-anchor": "end" }),
      text("PET", CHART_LEFT - 36, places.bottom + 14, { ...quiet, "text-anchor": "end" }),
    );
    look.ticks.forEach(minute => {
      if (x(minute) < CHART_LEFT - 1 || x(minute) > right + 1) return;
      names.append(
        text(pet(minute), x(minute), places.bottom + 14, {
          fill: theme.ink,
          class: "pk-small",
          "text-anchor": "middle",
        }),
      );
      names.append(
        text(gmt(data.pet_zero_ms + minute * 60000), x(minute), 12, {
          fill: theme.quiet_ink,
          class: "pk-small",
          "text-anchor": "middle",
        }),
      );
    });
  }
}
