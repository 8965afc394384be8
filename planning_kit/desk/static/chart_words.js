// Where the words of the chart stand: the ids and titles of bars, the names of limits, the tag of what is
// chosen. Words are level and cover no other words. A short bar has its id beside its lane, at the end of a
// thin line; where no place is left, zoom, hover or choice show it.

import { BESIDE_PX, CHART_LEFT, CHART_RIGHT, ROW_PX, TEXT_PX, fit, wrapped } from "./chart_layout.js";
import { rect, text, widthOf } from "./chart_shapes.js";

const TAG_FONT = "650 11px";
const ID_FONT = "650 11px";
const LEADER_FONT = "600 10px";
const GAP_PX = 4;
const LEAST_GAP_PX = 2;
const LINE_PX = 11.5;
const LETTER_PX = 9;
const CAPITAL_PX = 8;
const LEAST_BAR_PX = 7; // a narrower one has no letter
const LEAST_ID_PX = 12; // a lower strip has no words
const LEAST_TITLE_PX = 44;

// Of bars with {name, title, letter, from, until, strip, lane}, px from left to right: words with their
// `kind`, the place of their base line, and the `box` [left, top, right, bottom] that they fill; a leader has
// its `line`.
export function wordsOfBars(bars, [first, last]) {
  const found = [];
  const waiting = new Map();
  for (const bar of bars) {
    const left = Math.max(bar.from, first);
    const room = Math.min(bar.until, last) - left;
    if (room <= 0 || bar.strip.height < LEAST_ID_PX) continue;
    const px = widthOf(bar.name, ID_FONT);
    if (px + 2 * LEAST_GAP_PX <= room) {
      found.push(...inside(bar, left, room, px));
      continue;
    }
    if (bar.letter && room >= Math.max(LEAST_BAR_PX, widthOf(bar.letter, LEADER_FONT) + 1))
      found.push(said("letter", bar.letter, left + room / 2, middleOf(bar.strip), LETTER_PX, "middle"));
    if (!bar.lane.above && !bar.lane.below) continue;
    if (!waiting.has(bar.lane)) waiting.set(bar.lane, []);
    waiting.get(bar.lane).push({ name: bar.name, at: left + room / 2, strip: bar.strip });
  }
  for (const [lane, short] of waiting) found.push(...leaders(lane, short, [first, last]));
  return found;
}

function inside({ name, title, letter, strip, lane }, left, room, px) {
  const beside = Math.min(GAP_PX, (room - px) / 2);
  if (lane.isThin || strip.height < 17)
    return [said("id", name, left + beside, middleOf(strip), px, "start")];
  const found = [said("id", name, left + beside, strip.y + 13, px, "start")];
  if (letter && room >= px + widthOf(letter, LEADER_FONT) + 3 * GAP_PX) {
    const wide = widthOf(letter, LEADER_FONT);
    found.push(said("letter", letter, left + room - GAP_PX - wide, strip.y + 13, wide, "start"));
  }
  if (room < LEAST_TITLE_PX || title === name) return found;
  titleLines(title, room, strip).forEach((line, at) => {
    const y = strip.y + 25 + at * LINE_PX;
    found.push(said("title", line, left + GAP_PX, y, Math.min(room - 7, line.length * TEXT_PX), "start"));
  });
  return found;
}

function titleLines(title, room, { height }) {
  return wrapped(title, Math.floor((room - 7) / TEXT_PX), Math.floor((height - 18) / LINE_PX));
}

const middleOf = strip => strip.y + strip.height / 2 + 4;

function said(kind, words, x, y, px, anchor) {
  const left = anchor === "middle" ? x - px / 2 : x;
  return { kind, words, x, y, anchor, box: [left, y - 9, left + px, y + 2] };
}

// Labels end at their bar's middle, or as little behind it as those before them allow. A line to a further
// row passes the nearer ones between two labels.
function leaders(lane, short, [first, last]) {
  const rows = [...rowsOf(lane.above, true), ...rowsOf(lane.below, false)].map(row => ({
    ...row,
    end: first,
  }));
  rows.sort((a, b) => a.rank - b.rank);
  const found = [];
  for (const { name, at, strip } of short.sort((a, b) => a.at - b.at)) {
    const px = widthOf(name, LEADER_FONT);
    const nearer = row => rows.filter(each => each.isAbove === row.isAbove && each.rank < row.rank);
    const begin = row => Math.max(row.end + GAP_PX, at - px + 2);
    const row = rows.find(
      each =>
        begin(each) <= at - 2 && begin(each) + px <= last && nearer(each).every(one => one.end <= at - 2),
    );
    if (!row) continue;
    const x = begin(row);
    row.end = x + px;
    for (const each of nearer(row)) each.end = Math.max(each.end, at);
    const edge = row.isAbove ? strip.y : strip.y + strip.height;
    const end = row.isAbove ? row.y : row.y - CAPITAL_PX;
    found.push({ ...said("leader", name, x, row.y, px, "start"), line: [at, edge, end] });
  }
  return found;
}

function rowsOf(strip, isAbove) {
  const count = strip ? Math.floor((strip.height - BESIDE_PX + 1.05) / ROW_PX) : 0;
  return Array.from({ length: count }, (_, rank) => ({
    rank,
    isAbove,
    y: isAbove
      ? strip.y + strip.height - BESIDE_PX - rank * ROW_PX
      : strip.y + BESIDE_PX + CAPITAL_PX + rank * ROW_PX,
  }));
}

// The names of limits below their lines, moved apart and into the picture: from the right, each as far left
// as the one before it wants.
export function limitWords(limits, x, [first, last], font = "600 10px") {
  let right = last;
  return limits
    .map(([name, minute, words]) => ({ name, words, px: widthOf(words, font), at: x(minute) }))
    .filter(each => each.at >= first && each.at <= last)
    .sort((a, b) => b.at - a.at)
    .map(each => {
      const until = Math.min(each.at + each.px / 2, right);
      right = until - each.px - GAP_PX;
      return { ...each, left: until - each.px, right: until };
    });
}

// The ticks whose words keep clear of the names of limits.
export function clearTicks(ticks, x, limits, halfPx = 15) {
  return ticks.filter(minute =>
    limits.every(({ left, right }) => x(minute) + halfPx < left || x(minute) - halfPx > right),
  );
}

// What is chosen has its id and title in full: above its bar where they do not stand in it.
export function tagOf([step, who, , start, finish, , title], { places, x, theme, width }) {
  const strip = places.lanes[who].main;
  const [from, until] = [Math.max(x(start), CHART_LEFT), Math.min(x(finish), width - CHART_RIGHT)];
  if (showsAll(step, title, until - from, strip)) return [];
  const words = `${step} ${title}`;
  const px = Math.min(widthOf(words, TAG_FONT), width - CHART_LEFT - CHART_RIGHT - 12);
  const left = Math.max(CHART_LEFT, Math.min((from + until - px) / 2 - 6, width - CHART_RIGHT - px - 12));
  const box = { y: Math.max(0, strip.y - 20), height: 17 };
  return [
    rect(left, left + px + 12, box, { class: "pk-chosen pk-tag", fill: theme.paper, rx: 3 }),
    text(fit(words, px, px / words.length), left + 6, box.y + 12.5, {
      class: "pk-chosen pk-tag-words",
      fill: theme.ink,
    }),
  ];
}

function showsAll(step, title, room, strip) {
  if (widthOf(step, ID_FONT) + 2 * LEAST_GAP_PX > room) return false;
  if (title === step) return true;
  const lines = titleLines(title, room, strip);
  return lines.length > 0 && !lines.some(line => line.endsWith("…"));
}
