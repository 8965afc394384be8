// Painting the chart: from the kernel's plain data and a zoom to SVG. It knows no events.
// All texts of a scenario are text nodes: nothing here reads markup.

import { paintBroken } from "./chart_broken.js";
import { CHART_LEFT, CHART_RIGHT, TEXT_PX, fit } from "./chart_layout.js";
import { outline, patterns, rect, text } from "./chart_shapes.js";
import { clearTicks, limitWords, wordsOfBars } from "./chart_words.js";
import { svg } from "./dom.js";
import { gmt, pet, petFloor } from "./times.js";

const WORD_CLASSES = { id: "pk-id", title: "pk-small", letter: "pk-letter", leader: "pk-id pk-beside" };
const GMT_HALF_PX = 26;
const WORDS_PX = 11; // the least height of a strip with words in it

const OPTION = { role: "option", "aria-selected": "false" };

const baseOf = ({ y, height }) => y + height / 2 + 3.5;

export function paintChart(chart, look) {
  const { places, x, theme, width, range } = look;
  const right = width - CHART_RIGHT;
  const seen = (from, until) => [Math.max(x(from), CHART_LEFT), Math.min(x(until), right)];
  const layers = {
    ground: svg("g"),
    bars: svg("g"),
    labels: svg("g", { class: "pk-labels", "aria-hidden": "true" }),
    over: svg("g"),
    names: svg("g", { "aria-hidden": "true" }),
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
        if (kind !== "penumbra" && until - from > 40 && places.light.height >= WORDS_PX) {
          const ink = { fill: theme[`${kind}_ink`], "text-anchor": "middle", class: "pk-small" };
          ground.append(text(kind, (until + from) / 2, baseOf(places.light), ink));
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
          y1: places.axis.height,
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
        if (strip.height < WORDS_PX) continue;
        const words = fit(`${inhibit} ${title}`, end - left - 8, TEXT_PX);
        ground.append(text(words, left + 4, baseOf(strip), { fill: theme.ink, class: "pk-small" }));
      }
    });
  }

  function paintBars(data, { bars, labels }) {
    const shared = new Map();
    const named = [];
    data.bars.forEach((bar, number) => {
      const [step, who, kind, start, finish, task, title] = bar;
      const lane = places.lanes[who];
      if (!lane || finish < range[0] || start > range[1]) return;
      const share = kind === "work" ? 1 : kind === "wait" ? 0.32 : 0.14;
      const height = Math.max(5, lane.main.height * share);
      const strip = { y: lane.main.y + (lane.main.height - height) / 2, height };
      const [fill, letter] = data.fills[task] ?? ["#DDDDDD", ""];
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
        rect(x(start), x(finish), strip, {
          ...about,
          ...(look.nameOf
            ? { ...OPTION, id: `${look.clipId}-${number}`, "aria-label": look.nameOf(bar) }
            : {}),
          fill,
          ...outline(look.tight.has(step), theme, x(finish) - x(start)),
        }),
      );
      named.push({ name: step || title, title, letter, from: x(start), until: x(finish), strip, lane });
      if (step && data.crew.includes(who)) {
        const other = shared.get(step);
        if (other && other.start === start) bridge(bars, other.lane, lane, start, finish, fill);
        else shared.set(step, { start, lane });
      }
    });
    paintWords(labels, wordsOfBars(named, [CHART_LEFT, right]));
  }

  function bridge(bars, upper, lower, start, finish, fill) {
    const top = upper.main.y + upper.main.height;
    bars.prepend(rect(x(start), x(finish), { y: top, height: lower.main.y - top }, { fill, opacity: 0.4 }));
  }

  // Ids stay level; letters are quiet, as the legend tells them too.
  function paintWords(labels, words) {
    for (const { kind, words: line, x: left, y, anchor, line: leader } of words) {
      const isOut = kind === "leader";
      if (leader) {
        const [at, y1, y2] = leader;
        labels.append(svg("path", { d: `M${at},${y1} V${y2}`, stroke: theme.quiet_ink, class: "pk-leader" }));
      }
      const ink = { fill: isOut ? theme.ink : look.inkOnFill, class: WORD_CLASSES[kind] };
      if (anchor !== "start") ink["text-anchor"] = anchor;
      labels.append(text(line, left.toFixed(1), y, ink));
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
      const isHigh = !lane.isThin && lane.ghosts.height >= WORDS_PX;
      if (isHigh && x(finish) - x(start) > step.length * TEXT_PX + 4) {
        over.append(
          text(step, (x(start) + x(finish)) / 2, baseOf(lane.ghosts), {
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
          y1: places.axis.height,
          y2: places.bottom + 3,
          stroke: colour,
          "stroke-width": 1.6,
          "stroke-dasharray": name === "hard" ? null : "6 3",
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
    if (places.light.height >= WORDS_PX) name("light", places.light, quiet);
    const [link, last] = [places.links[0], places.links[places.links.length - 1]];
    if (link?.height >= 6.5) {
      data.links.forEach(([words], number) =>
        name(fit(words, CHART_LEFT - 14, TEXT_PX), places.links[number], { ...quiet, class: "pk-tiny" }),
      );
    } else if (link)
      name("links", { y: link.y, height: last.y + last.height - link.y }, { class: "pk-tiny" });
    for (const who of data.crew) {
      name(who, places.lanes[who].main, { class: "pk-crew-name" });
      if (places.lanes[who].ghosts?.height >= WORDS_PX - 2)
        name(chart.ghost_name, places.lanes[who].ghosts, quiet);
      name("findings", places.lanes[who].marks, quiet);
    }
    for (const [who] of data.actors) name(fit(who, CHART_LEFT - 14, 7), places.lanes[who].main);
    if (data.inhibits.length) name("inhibits", places.inhibits[0], quiet);
    const foot = baseOf(places.foot);
    names.append(
      text("GMT", CHART_LEFT - 36, 12, { ...quiet, "text-anchor": "end" }),
      text("PET", CHART_LEFT - 36, foot, { ...quiet, "text-anchor": "end" }),
    );
    const limits = limitWords(
      data.limits.map(([limit, minute]) => [limit, minute, `${limit} ${petFloor(minute)}`]),
      x,
      [CHART_LEFT - 1, width - 2],
    );
    for (const { name: limit, words, left } of limits) {
      const ink = { fill: limit === "hard" ? theme.stop : theme.ink, class: "pk-limit" };
      names.append(text(words, left.toFixed(1), foot, ink));
    }
    const middle = { class: "pk-small", "text-anchor": "middle" };
    const ticks = look.ticks.filter(minute => x(minute) >= CHART_LEFT - 1 && x(minute) <= right + 1);
    for (const minute of clearTicks(ticks, x, limits))
      names.append(text(pet(minute), x(minute), foot, { ...middle, fill: theme.ink }));
    for (const minute of ticks.filter(each => x(each) + GMT_HALF_PX <= width)) {
      const words = gmt(data.pet_zero_ms + minute * 60000);
      names.append(text(words, x(minute), 12, { ...middle, fill: theme.quiet_ink }));
    }
  }
}
