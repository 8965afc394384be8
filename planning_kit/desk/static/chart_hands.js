// What the planner's hands mean in the chart, as numbers: how far it is zoomed, what is under the pointer,
// where a bar would drop, which step a key leads to. A range is the first and last minute that are seen.

import { CHART_LEFT, CHART_RIGHT } from "./chart_layout.js";
import { pet, petCeil, petFloor } from "./times.js";

const EDGE_PX = 6;
const EDGE_MIN = 8;
const LEAST_RANGE_MIN = 5;
const BESIDE_LANE_PX = 8;
const BESIDE_MIN = 10;

// Minutes and pixels

export function minutesPerPx(range, width) {
  return (range[1] - range[0]) / (width - CHART_LEFT - CHART_RIGHT);
}

export function xOf(minute, range, width) {
  return CHART_LEFT + ((minute - range[0]) / (range[1] - range[0])) * (width - CHART_LEFT - CHART_RIGHT);
}

export function minuteOf(px, range, width) {
  return range[0] + ((px - CHART_LEFT) / (width - CHART_LEFT - CHART_RIGHT)) * (range[1] - range[0]);
}

// Zoom

export function wholeRange(chart) {
  const last = Math.max(chart.end, ...chart.limits.map(([, minute]) => minute));
  return [-EDGE_MIN, last + EDGE_MIN];
}

// Where a range of `size` may begin: within the whole, and as far to the right as the horizon.
export function keptRange(start, size, chart) {
  const [first, last] = wholeRange(chart);
  const from = Math.max(first, Math.min(start, Math.max(last, chart.horizon) - size));
  return [from, from + size];
}

export function isWholeRange([from, to], chart) {
  const [first, last] = wholeRange(chart);
  return to - from >= last - first - 0.01 && from === first;
}

// What `around` has on either side keeps its share, or is to be the `share` that is given; null where it
// would be too little to see.
export function zoomedRange(range, factor, around, chart, share = null) {
  const [first, last] = wholeRange(chart);
  const size = Math.min((range[1] - range[0]) * factor, last - first);
  if (size < LEAST_RANGE_MIN) return null;
  const before = share ?? (around - range[0]) / (range[1] - range[0]);
  return keptRange(around - before * size, size, chart);
}

// What a zoom is about where nothing is pointed at or chosen: now, else the middle of the work, so far as it
// is seen. Limits may lie far behind all work, and the middle of the view be empty.
export function middleSeen([from, until], chart) {
  if (chart.now > from && chart.now < until) return chart.now;
  const seen = workBars(chart).filter(bar => bar.finish > from && bar.start < until);
  if (!seen.length) return (from + until) / 2;
  const first = Math.min(...seen.map(bar => bar.start));
  const last = Math.max(...seen.map(bar => bar.finish));
  return (Math.max(from, first) + Math.min(until, last)) / 2;
}

// Start and size of a range from one minute to another, of either order: never too little to see.
export function framedRange(from, until, chart) {
  const [first, last] = wholeRange(chart);
  const size = Math.min(Math.max(Math.abs(until - from), LEAST_RANGE_MIN), last - first);
  return [(from + until - size) / 2, size];
}

// The chosen bars with as much again on either side.
export function rangeAround(bars) {
  const from = Math.min(...bars.map(each => each.start));
  const until = Math.max(...bars.map(each => each.finish));
  const beside = Math.max(BESIDE_MIN, until - from);
  return [from - beside, until + beside];
}

// What is where

// What may be said of a step: its own, and what is of no step and said of those of its lane and minute.
export function findingsFor(step, findings) {
  return findings.filter(each => !each.step || each.step === step);
}

// A bar as it is read out: step, title, who, when, and the findings there.
export function nameOfBar([step, who, , start, finish, , title], findings) {
  const isThere = ({ minute, lanes }) =>
    minute !== null && lanes.includes(who) && minute >= start && minute <= finish;
  const told = findings
    .filter(each => (each.step ? each.step === step : isThere(each)))
    .map(each => `. ${each.severity}: ${each.message}`);
  return `${step} ${title}, ${who}, PET ${pet(start)} to ${pet(finish)}${told.join("")}`;
}

export function workBars(chart) {
  return chart.bars
    .map(([step, who, kind, start, finish, task, title]) => ({ step, who, kind, start, finish, task, title }))
    .filter(bar => bar.kind === "work" && bar.step);
}

export function laneOf(bars, who, without = null) {
  return bars.filter(bar => bar.who === who && bar.step !== without).sort((a, b) => a.start - b.start);
}

export function isBothOf(bars, step, crew) {
  return bars.filter(bar => bar.step === step && crew.includes(bar.who)).length > 1;
}

export function laneNear(lanes, y) {
  const found = Object.entries(lanes).find(
    ([, { main }]) => y >= main.y - BESIDE_LANE_PX && y <= main.y + main.height + BESIDE_LANE_PX,
  );
  return found?.[0];
}

// The bar at a pixel of its lane. Its right edge is grabbed a little beyond it too; a short bar keeps a
// middle.
export function barAt(lane, px, x) {
  const edge = lane.find(bar => {
    const end = x(bar.finish);
    const inner = Math.min(EDGE_PX, (end - x(bar.start)) / 3);
    return px >= end - inner && px <= end + EDGE_PX / 2;
  });
  if (edge) return { bar: edge, isEdge: true };
  const bar = lane.find(each => px >= x(each.start) && px <= x(each.finish));
  return bar ? { bar, isEdge: false } : null;
}

// What the tip says of what is under the pointer: a finding, a ghost, an inhibit, a broken line or a bar.
export function hoverLines(target, chart, notes) {
  if (target.finding !== undefined) {
    const told = notes.findings[Number(target.finding)];
    return [`${told.severity} ${told.check} ${told.when}`, told.message];
  }
  if (target.ghost !== undefined) return notes?.ghost_hovers[Number(target.ghost)];
  if (target.inhibit !== undefined) {
    const [row, at] = target.inhibit.split(" ");
    const [inhibit, title, from, until] = chart.inhibits[row][at];
    return [`${inhibit} ${title}`, `Must stand from PET ${petFloor(from)} to ${petCeil(until)}`];
  }
  if (target.broken !== undefined) return [`Broken: ${chart.broken[Number(target.broken)].words}`];
  if (target.bar === undefined) return null;
  return notes?.hovers[Number(target.bar)] ?? [chart.bars[Number(target.bar)][6]];
}

// Drags

const SNAP_PX = 6;
const SAME_MIN = 0.05;

// What an end of `bar` can snap to: where others start and finish, where night, day and links begin and end.
export function snapTargets(chart, bars, bar) {
  const others = bars
    .filter(each => each.step !== bar.step)
    .flatMap(({ step, who, start, finish }) => [
      { minute: start, words: `start of ${step}, ${who}` },
      { minute: finish, words: `finish of ${step}, ${who}` },
    ]);
  const edges = (name, windows) =>
    windows.flatMap(([begin, end], at) => [
      { minute: begin, words: `begin of ${name} ${at + 1}` },
      { minute: end, words: `end of ${name} ${at + 1}` },
    ]);
  const sky = ["night", "day"].flatMap(kind => edges(kind, chart.light[kind]));
  const links = chart.links.flatMap(([name, windows]) => edges(name, windows));
  return [...others, ...sky, ...links];
}

// The minutes that a dragged end gives, and what it snapped to. A target is never passed: minutes go down to
// a tenth there, and are whole elsewhere.
export function draggedEnd(bar, movedPx, perPx, targets) {
  const end = bar.finish + movedPx * perPx;
  const far = each => Math.abs(each.minute - end);
  const open = targets.filter(
    ({ minute }) => minute - bar.start >= 1 && Math.abs(minute - bar.finish) > SAME_MIN,
  );
  const to = open.reduce((best, each) => (best && far(best) <= far(each) ? best : each), null);
  if (to && far(to) <= SNAP_PX * perPx)
    return { minutes: Math.floor((to.minute - bar.start) * 10 + 1e-6) / 10, to };
  return { minutes: draggedMinutesOf(bar, movedPx, perPx), to: null };
}

export function isNearPx(px, other) {
  return Math.abs(px - other) <= SNAP_PX;
}

export function draggedMinutesOf(bar, movedPx, perPx) {
  return Math.max(1, Math.round(bar.finish - bar.start + movedPx * perPx));
}

// A step of both, and work of somebody inside, keep their lane.
export function mayGoTo(who, bar, bars, crew) {
  return who === bar.who || (crew.includes(who) && crew.includes(bar.who) && !isBothOf(bars, bar.step, crew));
}

// The steps that move with `bar`, in the order of its lane, and why they cannot ("": they can).
export function takenWith(bars, chosen, bar) {
  if (!chosen.has(bar.step)) return { steps: [bar.step], why: "" };
  const lane = laneOf(bars, bar.who).map(each => each.step);
  const far = [...chosen].find(step => !lane.includes(step));
  return {
    steps: lane.filter(step => chosen.has(step)),
    why: far ? `${far} is not in the lane of ${bar.who}: only steps of one lane move together` : "",
  };
}

// Why steps of one lane cannot go to that of `who`; "": they can.
export function whyNotTo(who, from, steps, bars, crew) {
  const stays = steps.find(step => !mayGoTo(who, { step, who: from }, bars, crew));
  if (!stays) return "";
  return `${stays} ${isBothOf(bars, stays, crew) ? "is of both and " : ""}keeps its lane`;
}

// Dropped where the bar's middle is: before the first step whose middle lies later.
export function placeInLane(lane, middle) {
  const next = lane.findIndex(each => (each.start + each.finish) / 2 > middle);
  return next < 0 ? lane.length : next;
}

// The message for steps of one lane that drop in that of `who`; null: they are there already.
export function moveOf(bars, from, steps, who, before) {
  const lane = laneOf(bars, from).map(each => each.step);
  const rest = lane.filter(step => !steps.includes(step));
  const at = before === null ? rest.length : rest.indexOf(before);
  const after = [...rest.slice(0, at), ...steps, ...rest.slice(at)];
  if (who === from && after.every((step, place) => step === lane[place])) return null;
  const [step, ...more] = steps;
  return { kind: "move", step, lane: who, before, ...(more.length ? { more } : {}) };
}

// Keys

// The step that an arrow leads to from `bar`: along its lane, or the nearest in the next one; null: there
// is none.
export function stepBeside(key, bar, bars, people) {
  const lane = laneOf(bars, bar.who);
  const at = lane.findIndex(each => each.step === bar.step);
  if (key === "ArrowRight" || key === "ArrowLeft")
    return lane[at + (key === "ArrowRight" ? 1 : -1)]?.step ?? null;
  const who = people[people.indexOf(bar.who) + (key === "ArrowDown" ? 1 : -1)];
  const far = each => Math.abs(each.start - bar.start);
  const near = who && laneOf(bars, who).sort((a, b) => far(a) - far(b))[0];
  return near ? near.step : null;
}

// Where an arrow moves steps of the lane of `bar`: before which step of whose lane; null: there is no place.
export function moveOfKey(key, bar, bars, crew, steps = [bar.step]) {
  const lane = laneOf(bars, bar.who);
  const rest = lane.filter(each => !steps.includes(each.step));
  const before = step => rest.filter(each => lane.indexOf(each) < lane.findIndex(own => own.step === step));
  if (key === "ArrowLeft") {
    const at = before(steps[0]).length - 1;
    return at >= 0 ? { who: bar.who, before: rest[at].step } : null;
  }
  if (key === "ArrowRight") {
    const at = before(steps[steps.length - 1]).length;
    return at < rest.length ? { who: bar.who, before: rest[at + 1]?.step ?? null } : null;
  }
  if (key !== "ArrowUp" && key !== "ArrowDown") return null;
  const who = crew[crew.indexOf(bar.who) + (key === "ArrowDown" ? 1 : -1)];
  if (!who || !crew.includes(bar.who)) return null;
  const first = lane.find(each => each.step === steps[0]);
  return { who, before: laneOf(bars, who).find(each => each.start >= first.start)?.step ?? null };
}
