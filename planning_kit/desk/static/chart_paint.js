// Painting the chart: from the kernel's plain data and a zoom to SVG. It knows no events.
// All texts of a scenario are text nodes: nothing here reads markup.

import { paintBroken } from "./chart_broken.js";
import { CHART_LEFT, CHART_RIGHT, TEXT_PX, fit, fitNamed } from "./chart_layout.js";
import { block, limitLine, outline, patterns, rect, text } from "./chart_shapes.js";
import { clearTicks, limitWords, wordsOfBars } from "./chart_words.js";
import { shape } from "./drawing.js";
import { gmt, pet, petFloor } from "./times.js";

const WORD_CLASSES = { id: "pk-id", title: "pk-small", letter: "pk-letter", leader: "pk-id pk-beside" };
const GMT_HALF_PX = 26;
const WORDS_PX = 11; // the least height of a strip with words in it
const SHARES = { work: 1, wait: 0.32, travel: 0.14 }; // of the height of a lane

const baseOf = ({ y, height }) => y + height / 2 + 3.5;
const under = ({ y, height }) => y + height;
const aroundAll = strips => ({ y: strips[0].y, height: under(strips.at(-1)) - strips[0].y });

export function paintChart(chart, look) {
  const { places, x, theme, width, range, clipId } = look;
  const right = width - CHART_RIGHT;
  const seen = (from, until) => [Math.max(x(from), CHART_LEFT), Math.min(x(until), right)];
  const [ground, bridges, bars, labels, over, names] = [[], [], [], [], [], []];
  const small = (words, left, y, fill, anchor = "middle") =>
    text(words, left, y, { fill, "text-anchor": anchor, class: "pk-small" });
  const upright = (minute, y2, more) =>
    shape("line", { x1: x(minute), x2: x(minute), y1: places.axis.height, y2, ...more });
  const bar = (from, until, strip, more) => rect(x(from), x(until), strip, more);
  const field = { y: 0, height: places.height };
  const clip = shape("clipPath", { id: clipId }, rect(CHART_LEFT, Math.max(CHART_LEFT, right), field, {}));
  paintGround(chart);
  paintBars(chart);
  bars.push(paintBroken(chart, look));
  paintOver(chart);
  paintNames(chart);
  const inside = shape(
    "g",
    { "clip-path": `url(#${clipId})` },
    shape("g", {}, ground),
    shape("g", {}, bridges, bars),
    shape("g", {}, over),
    // Words last, with a rim of the ground's colour: arrows and lines do not strike them out.
    shape("g", { class: "pk-labels", "aria-hidden": "true" }, labels),
  );
  const beside = shape("g", { "aria-hidden": "true" }, names);
  return [shape("defs", {}, clip, patterns(clipId, theme)), inside, beside];

  function paintGround(data) {
    for (const { main } of Object.values(places.lanes))
      ground.push(rect(CHART_LEFT, right, main, { fill: theme.lane }));
    const first = under(places.light);
    for (const [start, finish] of data.light.night)
      ground.push(
        bar(start, finish, { y: first, height: places.bottom - first }, { fill: theme.night_shade }),
      );
    for (const kind of ["day", "penumbra", "night"]) {
      for (const [start, finish] of data.light[kind]) {
        ground.push(bar(start, finish, places.light, { fill: theme[kind] }));
        const [from, until] = seen(start, finish);
        if (kind !== "penumbra" && until - from > 40 && places.light.height >= WORDS_PX)
          ground.push(small(kind, (until + from) / 2, baseOf(places.light), theme[`${kind}_ink`]));
      }
    }
    data.links.forEach(([, windows], number) => {
      for (const [start, finish] of windows)
        ground.push(bar(start, finish, places.links[number], { fill: theme.link }));
    });
    for (const minute of look.ticks) ground.push(upright(minute, places.bottom, { stroke: theme.grid }));
    const frame = { fill: "transparent", stroke: theme.quiet_ink, "stroke-dasharray": "3 2" };
    data.inhibits.forEach((row, number) => {
      const strip = places.inhibits[number];
      for (const [at, [inhibit, title, from, until]] of row.entries()) {
        if (until < range[0] || from > range[1]) continue;
        ground.push(bar(from, until, strip, { ...frame, "data-inhibit": `${number} ${at}` }));
        const [left, end] = seen(from, until);
        const words = fitNamed(inhibit, title, end - left - 8, TEXT_PX);
        if (words && strip.height >= WORDS_PX)
          ground.push(small(words, left + 4, baseOf(strip), theme.ink, "start"));
      }
    });
  }

  function paintBars(data) {
    const shared = new Map();
    const inBars = [];
    data.bars.forEach((each, number) => {
      const [step, who, kind, start, finish, task, title] = each;
      const lane = places.lanes[who];
      if (!lane || finish < range[0] || start > range[1]) return;
      const height = Math.max(5, lane.main.height * SHARES[kind]);
      const strip = { y: lane.main.y + (lane.main.height - height) / 2, height };
      const [fill, letter] = data.fills[task] ?? ["#DDDDDD", ""];
      const about = {
        "data-bar": number,
        "data-step": step,
        "data-kind": kind,
        class: `pk-bar pk-bar-${kind}`,
      };
      if (kind !== "work") {
        const hatched = { fill: `url(#${clipId}-${kind})`, stroke: theme.quiet_ink, "stroke-width": 0.8 };
        bars.push(block(x(start), x(finish), strip, { ...about, ...hatched }));
        return;
      }
      const line = outline(look.tight.has(step), theme, x(finish) - x(start));
      const option = look.nameOf && {
        role: "option",
        id: `${clipId}-${number}`,
        "aria-selected": "false",
        "aria-label": look.nameOf(each),
      };
      bars.push(block(x(start), x(finish), strip, { ...about, ...option, fill, ...line }));
      inBars.push({ name: step || title, title, letter, from: x(start), until: x(finish), strip, lane });
      if (!step || !data.crew.includes(who)) return;
      const other = shared.get(step);
      if (other?.start === start) bridges.push(bridge(other.lane, lane, start, finish, fill));
      else shared.set(step, { start, lane });
    });
    for (const words of wordsOfBars(inBars, [CHART_LEFT, right])) paintWords(words);
  }

  function bridge(upper, lower, start, finish, fill) {
    const y = under(upper.main);
    return bar(start, finish, { y, height: lower.main.y - y }, { fill, opacity: 0.4 });
  }

  // Ids stay level; letters are quiet, as the legend tells them too.
  function paintWords({ kind, words, x: left, y, anchor, line }) {
    if (line) {
      const d = `M${line[0]},${line[1]} V${line[2]}`;
      labels.push(shape("path", { d, stroke: theme.quiet_ink, class: "pk-leader" }));
    }
    const fill = kind === "leader" ? theme.ink : look.inkOnFill;
    const how = { fill, class: WORD_CLASSES[kind], "text-anchor": anchor === "start" ? null : anchor };
    labels.push(text(words, left.toFixed(1), y, how));
  }

  function paintOver(data) {
    data.ghosts.forEach(([step, who, start, finish], number) => {
      const { ghosts: strip, isThin } = places.lanes[who] ?? {};
      if (!strip) return;
      const dash = { "stroke-dasharray": isThin ? "2 2" : null, class: "pk-ghost", "data-ghost": number };
      over.push(bar(start, finish, strip, { fill: "transparent", stroke: theme.quiet_ink, ...dash }));
      const isRoomy = x(finish) - x(start) > step.length * TEXT_PX + 4 && strip.height >= WORDS_PX;
      if (!isThin && isRoomy)
        over.push(small(step, (x(start) + x(finish)) / 2, baseOf(strip), theme.quiet_ink));
    });
    for (const [name, minute] of data.limits)
      over.push(upright(minute, places.bottom + 3, { ...limitLine(name, theme), "stroke-width": 1.6 }));
    for (const [from, to, left, used] of data.handovers) {
      const [a, b] = [places.lanes[from]?.main, places.lanes[to]?.main];
      if (!a || !b) continue;
      const [y1, y2] = a.y < b.y ? [under(a), b.y] : [a.y, under(b)];
      const [x1, x2, middle] = [x(left), x(used), (y1 + y2) / 2];
      over.push(
        shape("path", {
          d: `M${x1},${y1} C${x1},${middle} ${x2},${middle} ${x2},${y2}`,
          fill: "none",
          stroke: theme.quiet_ink,
          "stroke-width": 1.1,
          "marker-end": `url(#${clipId}-arrow)`,
        }),
      );
    }
  }

  function paintNames(data) {
    const name = (words, strip, more = { class: "pk-lane-name" }) =>
      names.push(text(words, CHART_LEFT - 8, strip.y + strip.height / 2 + 4, { ...ends, ...more }));
    const ends = { fill: theme.ink, "text-anchor": "end" };
    const quiet = { fill: theme.quiet_ink, class: "pk-small" };
    const tiny = { ...quiet, class: "pk-tiny" };
    if (places.light.height >= WORDS_PX) name("light", places.light, quiet);
    if (places.links[0]?.height < 6.5) name("links", aroundAll(places.links), tiny);
    else
      data.links.forEach(([words], at) => name(fit(words, CHART_LEFT - 14, TEXT_PX), places.links[at], tiny));
    for (const who of data.crew) {
      const { main, marks, ghosts } = places.lanes[who];
      name(who, main, { class: "pk-crew-name" });
      if (ghosts?.height >= WORDS_PX - 2) name(chart.ghost_name, ghosts, quiet);
      name("findings", marks, quiet);
    }
    for (const [who] of data.actors) {
      const { main } = places.lanes[who];
      name(fit(who, CHART_LEFT - 14, 7), main, main.height < WORDS_PX ? { class: "pk-tiny" } : undefined);
    }
    if (data.inhibits.length) name("inhibits", aroundAll(places.inhibits), quiet);
    const foot = baseOf(places.foot);
    for (const [words, y] of [
      ["GMT", 12],
      ["PET", foot],
    ])
      names.push(small(words, CHART_LEFT - 36, y, theme.quiet_ink, "end"));
    const told = data.limits.map(([limit, minute]) => [limit, minute, `${limit} ${petFloor(minute)}`]);
    const limits = limitWords(told, x, [CHART_LEFT - 1, width - 2]);
    for (const { name: limit, words, left } of limits)
      names.push(
        text(words, left.toFixed(1), foot, { fill: limitLine(limit, theme).stroke, class: "pk-limit" }),
      );
    const ticks = look.ticks.filter(minute => x(minute) >= CHART_LEFT - 1 && x(minute) <= right + 1);
    for (const minute of clearTicks(ticks, x, limits))
      names.push(small(pet(minute), x(minute), foot, theme.ink));
    for (const minute of ticks.filter(each => x(each) + GMT_HALF_PX <= width))
      names.push(small(gmt(data.pet_zero_ms + minute * 60000), x(minute), 12, theme.quiet_ink));
  }
}
