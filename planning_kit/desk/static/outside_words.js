// How things stand outside, in words: a lane, an option, the log, the clock. What is past or over says so.

import { el } from "./dom.js";
import { down, pet, petCeil, petFloor, up } from "./times.js";

const MOST_CHANGES = 2;

// A line of what stands: past the hard limit is worse than late.
export function standingLevel(line) {
  if (/hard limit [^,]+ over/.test(line)) return "pk-stands-bad";
  return /min over|min behind|Not done/.test(line) ? "pk-stands-late" : "";
}

// When PET 0 was stands beside the clock's own words in the first line; what is past the hard limit stands
// first, where no room is too small for it; the rest is as it is told.
export function standingLines(standing) {
  const lines = [/PET 0 was .*/.exec(standing[0])?.[0], ...standing.slice(1)].filter(Boolean);
  const isBad = line => standingLevel(line) === "pk-stands-bad";
  return [...lines.filter(isBad), ...lines.filter(line => !isBad(line))];
}

// What of light and links changes next, each told on its safe side: what ends not too late, what begins not
// too early.
export function nextWords({ light, links }, minute) {
  const after = edges => Math.min(...edges.filter(edge => edge > minute));
  const first = windows => [after(windows.map(([from]) => from)), after(windows.map(([, to]) => to))];
  const found = [
    [after(light.night.map(([from]) => from)), "night", true],
    [after(light.day.map(([from]) => from)), "day", false],
  ].sort(([a], [b]) => a - b);
  found.length = 1;
  for (const [name, windows] of links) {
    const [begins, ends] = first(windows);
    found.push(ends < begins ? [ends, `${name} ends`, true] : [begins, `${name} begins`, false]);
  }
  return found
    .filter(([at]) => Number.isFinite(at))
    .sort(([a], [b]) => a - b)
    .slice(0, MOST_CHANGES)
    .map(([at, what, isEnd]) => {
      const [label, left] = isEnd ? [petFloor(at), down(at - minute)] : [petCeil(at), up(at - minute)];
      return `${what} ${label}, in ${left} min`;
    });
}

export function logWords({ words, rows, later }) {
  const after = later ? `, ${later} written after now` : "";
  return `Log: ${words}, ${rows} ${rows === 1 ? "row" : "rows"}${after}`;
}

export function silenceWords(silentMs, minute) {
  return (
    `Nothing is heard from the kernel for ${Math.floor(silentMs / 60000)} min: what is shown is as of ` +
    `PET ${petFloor(minute)}, and what was logged since is not in it.`
  );
}

// A button's words, its key underlined.
export function keyed(words, key) {
  const at = words.toLowerCase().indexOf(key);
  return [words.slice(0, at), el("u", {}, words[at]), words.slice(at + 1)].filter(part => part !== "");
}

// Two lines: what they do now, and the step that this is about.
export function laneWords(lane, first, isBusy, minute) {
  if (!first) return ["all steps done"];
  if (first.status === "done") return ["the other has finished this; still at it?"];
  if (isBusy && first.awaits) {
    return [`the other is at it since ${pet(first.start)}; this one's start is not called`];
  }
  if (isBusy) return [`at work since ${pet(first.start)}; `, toGo(first.finish - minute)];
  const when = first.start === null ? "the next finds no place any more" : `next at ${pet(first.start)}`;
  return [lane.between ? `${lane.between}; ${when}` : when];
}

function toGo(left) {
  if (left < 0.02) return el("strong", { class: "pk-over" }, "estimate used up");
  return left < 1 ? "less than a minute to go" : `about ${Math.round(left)} min to go`;
}

export function lateSign(first) {
  if (!first || first.late === null) return [];
  const late = Math.round(first.late);
  const words = late === 0 ? "as planned" : `${Math.abs(late)} min ${late > 0 ? "behind" : "ahead"}`;
  return [el("span", { class: `pk-late ${late > 0 ? "pk-is-late" : ""}` }, words)];
}

// Options

function size(value) {
  return Math.abs(Math.round(value));
}

export function gainWords(gain) {
  if (size(gain) === 0) return "";
  return `${size(gain)} min ${gain > 0 ? "gained" : "later"}`;
}

export function limitWords(name, left) {
  const minutes = Math.abs(left) < 1 ? "less than 1" : left < 0 ? up(-left) : down(left);
  return `${name} ${minutes} min ${left < 0 ? "over" : "left"}`;
}

export function openWords({ until, left }) {
  if (!until) return "";
  if (left === null) return `open until ${until}`;
  if (left < 0) return `open until ${until}, which is past`;
  return `open until ${until}, ${left < 1 ? "now" : `${down(left)} min`}`;
}

export function mustWords({ must_by: by }) {
  return by ? `if kept, it must begin by ${by} for the hard limit` : "";
}
