// What is true at a minute: found in the scene by bisection, between two known values on the straight line.
// Nothing here remembers anything, so that a film can be seen from any minute on.

import { across, add, clamped, cross, dot, length, minus, mixed, times, unit } from "./film_vector.js";

// The index of the last entry that begins by `minute`; -1 before the first. `begins` gives an entry's begin.
export function lastBy(entries, minute, begins) {
  let [low, high] = [0, entries.length];
  while (low < high) {
    const middle = Math.floor((low + high) / 2);
    if (begins(entries[middle]) <= minute) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

// The piece that holds `minute`; of what has ended the last one, of what has not begun none.
export const pieceAt = (pieces, minute) => pieces[lastBy(pieces, minute, piece => piece.from)] ?? null;

export const isWithin = (spans, minute) => {
  const span = spans[lastBy(spans, minute, each => each[0])];
  return span !== undefined && minute < span[1];
};

const shareOf = (piece, minute) =>
  piece.until > piece.from ? clamped((minute - piece.from) / (piece.until - piece.from), 0, 1) : 0;

// Where on a line of points a share of its length lies: the leg's number, and the share of that leg.
export function along(points, share) {
  const legs = points.slice(1).map((point, n) => length(minus(point, points[n])));
  let left = share * legs.reduce((sum, leg) => sum + leg, 0);
  for (let n = 0; n < legs.length; n += 1) {
    if (left <= legs[n] && legs[n] > 0) return [n, left / legs[n]];
    left -= legs[n];
  }
  return [Math.max(0, legs.length - 1), legs.length ? 1 : 0];
}

const between = (values, [leg, share]) =>
  values.length > leg + 1
    ? mixed(values[leg], values[leg + 1], share)
    : values[Math.min(leg, values.length - 1)];

// Where a person is, which way is out of the surface and up along it, and what is done. `turned`: how far the
// body is turned to its way; `facing`: where its head is then, from upright to along the way, hands first.
export function personAt(person, minute) {
  const piece = pieceAt(person.pieces, minute) ?? person.pieces[0];
  const where = along(piece.points, shareOf(piece, minute));
  const [out, up] = [unit(between(piece.out, where)), unit(between(piece.up, where))];
  const turned = shareIn(person, minute, each => each?.doing === "travel", TURN_MIN);
  const [before, after] = [-1, 1].map(side => pointAt(person, minute + side * TURN_MIN));
  const ahead = turned ? across(out, add(unit(minus(after, before), up), up, 1e-3)) : up;
  const angle = turned * Math.atan2(dot(cross(up, ahead), out), dot(up, ahead));
  const facing = add(times(up, Math.cos(angle)), cross(out, up), Math.sin(angle));
  const at = between(piece.points, where);
  const { doing, step, place, to_place, way } = piece;
  return { id: person.id, at, out, up, doing, step, place, to_place, way, ahead, facing, turned };
}

function pointAt(person, minute) {
  const piece = pieceAt(person.pieces, minute) ?? person.pieces[0];
  return between(piece.points, along(piece.points, shareOf(piece, minute)));
}

// How far somebody is in what a piece is, all of the way but within so many minutes of its begin and its end.
const [STEP_IN_MIN, TURN_MIN] = [0.5, 0.1];
function shareIn(person, minute, isIn, within_min) {
  const n = lastBy(person.pieces, minute, piece => piece.from);
  const piece = person.pieces[n];
  if (!isIn(piece)) return 0;
  const before = isIn(person.pieces[n - 1]) ? Infinity : minute - piece.from;
  const after = isIn(person.pieces[n + 1]) ? Infinity : piece.until - minute;
  return clamped(Math.min(before, after) / within_min, 0, 1);
}

// How far somebody's feet are in a foothold, while working at a place that has a socket.
export const footAt = (person, minute, sockets) =>
  shareIn(person, minute, piece => piece?.doing === "work" && sockets.has(piece.place), STEP_IN_MIN);

// Two bodies at one place are drawn beside each other, so that nobody disappears in the other; so are two who
// pass, each on a side of the way and for all of their length.
export function standsOf(people, apart = 1.1) {
  const goer = people.reduce((one, other) => (other.turned > one.turned ? other : one));
  const upright = unit(cross(people[0].up, people[0].out), [1, 0, 0]);
  const aside = unit(cross(goer.ahead, goer.out), upright);
  const side = unit(mixed(upright, times(aside, dot(aside, upright) < 0 ? -1 : 1), goer.turned));
  return people.map((one, n) => {
    const near = people.filter((other, m) => m !== n).map(other => length(minus(one.at, other.at)));
    const free = apart * (1 + goer.turned) - Math.min(Infinity, ...near);
    const push = clamped(free / 2, 0, apart / 2);
    return add(one.at, side, n % 2 ? push : -push);
  });
}

// From its hook to where its person is; null while nobody is hooked. `share` is of the tether's length.
export function tetherAt(tether, minute, end) {
  const piece = pieceAt(tether.pieces, minute);
  if (piece === null || minute > piece.until) return null;
  const share = shareOf(piece, minute);
  const [from, until] = piece.reach_m;
  const reach = from === null || until === null ? null : from + share * (until - from);
  const points = [...piece.points.slice(0, Math.max(1, piece.points.length - 1)), end];
  return {
    points,
    hook: piece.hook,
    reach_m: reach,
    most_m: piece.most_m,
    share: piece.most_m ? reach / piece.most_m : 0,
  };
}

// What is in whose hands, at which place, in which bag: item id to "EV1", "place:REG", "item:BAG", "inside".
export function custodyAt(items, minute) {
  return new Map(items.map(item => [item.id, pieceAt(item.pieces, minute)?.with ?? "inside"]));
}

// What each holder has, outermost things with the ids of what is in them.
export function heldAt(items, minute) {
  const custody = custodyAt(items, minute);
  const held = new Map();
  for (const item of items) {
    const holder = custody.get(item.id);
    if (holder === "inside" || holder.startsWith("item:")) continue;
    const inside = items.filter(other => custody.get(other.id) === `item:${item.id}`);
    held.set(holder, [...(held.get(holder) ?? []), { ...item, inside }]);
  }
  return held;
}

// The cables that lie at a minute, from their fixed end to who or what has the other: { id, points }.
export function cablesAt(items, minute, endOf) {
  return items.flatMap(({ id, laid = [], pieces }) => {
    const lies = pieceAt(laid, minute);
    const end = lies && endOf(pieceAt(pieces, minute)?.with ?? "inside");
    return end ? [{ id, points: [...lies.points, end] }] : [];
  });
}

// The sky in the station frame. `day` is 1 in full Sun, 0 in the umbra, between them in the penumbra.
export function lightAt(light, minute) {
  const place = clamped(minute / light.every_min, 0, light.sun.length - 1);
  const from = Math.min(Math.floor(place), Math.max(0, light.sun.length - 2));
  const to = Math.min(from + 1, light.sun.length - 1);
  const direction = name => unit(mixed(light[name][from], light[name][to], place - from));
  const number = (name, turn) => {
    const step = light[name][to] - light[name][from];
    const short = turn ? step - turn * Math.round(step / turn) : step;
    return light[name][from] + (place - from) * short;
  };
  const kind = ["night", "penumbra", "day"].find(name => isWithin(light.kinds[name] ?? [], minute)) ?? "day";
  return {
    kind,
    day: kind === "day" ? 1 : kind === "night" ? 0 : duskAt(light.kinds, minute),
    sun: direction("sun"),
    nadir: direction("nadir"),
    north: direction("north"),
    sub_lat: number("sub_lat"),
    sub_lon: number("sub_lon", 360),
    altitude_km: number("altitude_km"),
  };
}

// In the penumbra: how much of the Sun's light is left, from the edge that is day to the edge that is night.
function duskAt(kinds, minute) {
  const [from, until] = kinds.penumbra[lastBy(kinds.penumbra, minute, each => each[0])];
  const share = until > from ? (minute - from) / (until - from) : 0;
  return isWithin(kinds.night ?? [], until + 1e-6) ? 1 - share : share;
}

// The latest first: what was said long ago is no news, even where nothing was said since.
export const CAPTION_MIN = 8;
export const captionsAt = (captions, minute) =>
  captions
    .filter(each => each.from <= minute && minute < Math.min(each.until, each.from + CAPTION_MIN))
    .reverse();
export const linksAt = (links, minute) => links.map(([link, spans]) => [link, isWithin(spans, minute)]);
export const hazardsAt = (hazards, minute) => hazards.filter(each => isWithin(each.spans, minute));

// "1:05" of 65 minutes, "1:05:30" with seconds; never later than it is.
export function petText(minute, seconds = false) {
  const whole = Math.floor(Math.abs(minute) * 60 + 1e-6);
  const two = number => String(number).padStart(2, "0");
  const clock = `${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}`;
  return `${minute < 0 ? "-" : ""}${clock}${seconds ? `:${two(whole % 60)}` : ""}`;
}
