// Words on the picture: who, where, with what, how far on the tether. They never lie over each other, over a
// figure or over the head line, and nothing is said of what a body hides.

import { projected, tetherSpots } from "./film_camera.js";
import { isWithin, petText } from "./film_lookup.js";
import { ringsOf } from "./film_models.js";
import { isHidden } from "./film_sight.js";
import { add } from "./film_vector.js";

const [MOST, LINE] = [14, 120]; // labels of a picture, letters of a line
const SLOTS = [
  [1, -1],
  [-1, -1],
  [1, 1],
  [-1, 1],
  [1, 0],
  [-1, 0],
  [0, -1],
  [0, 1],
];
const FAR = [1, 2.2, 3.6];

export const overlaps = (a, b) => a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h;

// Labels in their order get the first free place around their anchor; who finds none is left out, unless it
// must be shown. With a choice, no label lies on `spots`. A label is { x, y, w, h, must }; what comes
// back has `box`.
export function laidOut(labels, occupied, size, gap = 10, spots = []) {
  const taken = [...occupied];
  const shown = [];
  const isFree = box =>
    box.x >= 2 &&
    box.y >= 2 &&
    box.x + box.w <= size[0] - 2 &&
    box.y + box.h <= size[1] - 2 &&
    !taken.some(other => overlaps(box, other));
  for (const label of labels) {
    if (shown.length >= MOST) break;
    const boxes = FAR.slice(0, label.must ? 3 : 2).flatMap(far =>
      SLOTS.map(([right, down]) => ({
        x: label.x + right * gap * far - (label.w * (1 - right)) / 2,
        y: label.y + down * gap * far - (label.h * (1 - down)) / 2,
        w: label.w,
        h: label.h,
      })),
    );
    const free = boxes.filter(isFree);
    const box =
      free.find(each => !spots.some(spot => overlaps(each, spot))) ??
      free[0] ??
      (label.must ? anywhere(label, size, isFree) : undefined);
    if (!box) continue;
    taken.push(box);
    shown.push({ ...label, box });
  }
  return shown;
}

// The free place of a raster nearest to the anchor.
function anywhere({ x, y, w, h }, size, isFree) {
  const boxes = [];
  for (let left = 4; left + w < size[0]; left += 24) {
    for (let top = 4; top + h < size[1]; top += 14) boxes.push({ x: left, y: top, w, h });
  }
  const far = box => Math.hypot(box.x + w / 2 - x, box.y + h / 2 - y);
  return boxes.sort((a, b) => far(a) - far(b)).find(isFree);
}

const titleOf = (list, key, id) => list.find(each => each[key] === id)?.title || id;
const cut = (text, most) => (text.length > most ? `${text.slice(0, most - 1)}…` : text);

// Words in lines of at most so many letters: what somebody holds is told in full.
export function wrapped(text, most) {
  const lines = [""];
  for (const word of text.split(" ")) {
    if (`${lines.at(-1)} ${word}`.length > most) lines.push(word);
    else lines.push(`${lines.pop()} ${word}`.trim());
  }
  return lines.filter(Boolean);
}

// A tether's reach, to the next tenth above, of its length, to the next below; the reach in the customary
// unit beside it where the scenario asks for that (`customary`: its name, and metres in one).
const tenths = (value, round, least) => (round(value * 10 + least) / 10).toFixed(1);
function reachWords({ reach_m, most_m }, customary) {
  const upwards = value => tenths(value, Math.ceil, -1e-6);
  const other = customary ? ` (${upwards(reach_m / customary.metres)} ${customary.unit})` : "";
  const whole =
    most_m === null ? " m (its length is not known)" : ` of ${tenths(most_m, Math.floor, 1e-6)} m`;
  return `${upwards(reach_m)}${whole}${other}`;
}

const FAR_M = 22; // from here on a person is small, and so is what is said of them

// What is said of a person: what is done and where, what is held, how the tether stands.
export function personWords(scene, state, person, far_m = 0) {
  const place = titleOf(scene.places, "id", person.place);
  const step = scene.steps.find(each => each.step === person.step);
  const to = titleOf(scene.places, "id", step?.place || person.to_place || person.place);
  const way = person.way ? ` (${person.way} way)` : "";
  const doing =
    { work: step?.title || person.step, wait: `waits at ${place}`, travel: `on the way to ${to}${way}` }[
      person.doing
    ] ?? person.doing;
  const held = (state.held.get(person.id) ?? []).map(item => item.title || item.id);
  const tether = state.tethers.find(each => each.person === person.id && each.reach_m !== null);
  const hook = tether && titleOf(scene.places, "id", tether.hook);
  if (far_m > FAR_M)
    return [
      `${person.id}: ${cut(doing, 32)}`,
      person.doing === "work" && place && `at ${cut(place, 30)}`,
      held.length && `holds ${cut(held.join("; "), 46)}`,
      hook && `tether from ${cut(hook, 24)}`,
    ].filter(Boolean);
  return [
    ...wrapped(`${person.id}: ${cut(doing, 88)}`, 46),
    person.doing === "work" && place && `at ${cut(place, 40)}`,
    ...wrapped(held.length ? `holds ${held.join("; ")}` : "", 46),
    tether && `tether ${reachWords(tether, scene.customary)} from ${cut(hook, 28)}`,
    tether?.share >= 0.85 && "near the end of the tether",
  ].filter(Boolean);
}

// The labels of a picture, most needed first, with their anchors and sizes in pixels.
export function labelsOf(scene, state, pose, size, measure) {
  const lineHeight = size[1] / 38;
  const label = (point, lines, more) => {
    const spot = projected(point, pose, size);
    const isSeen = spot.far > 0.2 && spot.x > 0 && spot.x < size[0] && spot.y > 0 && spot.y < size[1];
    const w = Math.max(...lines.map(line => measure(line))) + lineHeight * 0.8;
    return { ...spot, lines, w, h: lines.length * lineHeight + lineHeight * 0.5, isSeen, point, ...more };
  };
  const isSeenHere = each => each.isSeen && !isHidden(scene.bodies, pose.eye, each.point);
  const people = state.people.map((person, n) => {
    const head = add(person.stand, person.body, 1.85);
    const words = personWords(scene, state, person, projected(head, pose, size).far);
    const chest = add(person.stand, person.body, 1.2);
    if (isHidden(scene.bodies, pose.eye, chest, 0.3)) words.push("(hidden from here)");
    const seen = label(head, words, { who: n });
    return { ...(seen.isSeen ? seen : outside(seen, size, label)), must: true, isSeen: true };
  });
  // A hazard is named at the first point of what is drawn of it that is seen, however full the picture is.
  const rings = [...new Set(state.hazards.map(each => each.id))].flatMap(id => {
    const parts = state.hazards.filter(each => each.id === id);
    const [{ title, severity }] = parts;
    const drawn = parts.flatMap(each =>
      each.points?.length
        ? each.points
        : ringsOf(each, pose.eye).flatMap(ring => ring.filter((_, n) => n % 6 === 0)),
    );
    const named = [...parts.map(each => each.at), ...drawn].map(point =>
      label(point, [`${severity}: ${cut(title || id, 46)}`], { severity, must: true }),
    );
    return named.find(isSeenHere) ?? [];
  });
  const busy = new Set(state.people.map(person => person.place));
  const signs = scene.places
    .filter(place => !busy.has(place.id) || state.people.every(person => person.doing === "travel"))
    .map(place => {
      const left = (state.held.get(`place:${place.id}`) ?? []).map(item => item.title || item.id);
      const lines = [cut(place.title || place.id, 34), left.length && `here: ${cut(left.join("; "), 38)}`];
      return label(place.at, lines.filter(Boolean), { place: place.id });
    })
    .sort((a, b) => a.far - b.far);
  return [...people, ...rings, ...signs.filter(isSeenHere)];
}

// Who is not in the picture is told at the edge of it, in two lines and without a line that leads there.
function outside(seen, size, label) {
  const { lines, far, x, y, who, point } = seen;
  const two = lines.slice(0, 2).map(line => line.replace(/;$/, "; …")); // a list that goes on
  const told = label(point, [...two, "(not in the picture)"], { who, isOut: true });
  const clampTo = (value, most) => Math.min(Math.max(far > 0 ? value : most - value, 20), most - 20);
  return { ...told, x: clampTo(x, size[0]), y: clampTo(y, size[1]) };
}

// The rectangles of a picture that no label may cover: the figures with what they carry.
export function figureBoxes(state, pose, size) {
  return state.people.flatMap(({ stand, body, face, side }) => {
    const corners = [-0.1, 2].flatMap(high =>
      [-0.4, 0.6].flatMap(ahead =>
        [-0.5, 0.5].map(aside => add(add(add(stand, body, high), face, ahead), side, aside)),
      ),
    );
    const spots = corners.map(corner => projected(corner, pose, size));
    if (spots.some(spot => spot.far < 0.3)) return [];
    const [left, right] = [Math.min, Math.max].map(most => most(...spots.map(spot => spot.x)));
    const [top_, bottom] = [Math.min, Math.max].map(most => most(...spots.map(spot => spot.y)));
    return [{ x: left, y: top_, w: right - left, h: bottom - top_ }];
  });
}

// As many whole sentences as have room; the first one in any case, if it takes two lines.
export function sentences(text, most) {
  const all = text.split(/(?<=[.!?]) (?=[A-Z(])/);
  let told = all[0];
  for (const next of all.slice(1)) {
    if (`${told} ${next}`.length > most) break;
    told = `${told} ${next}`;
  }
  return cut(told, 2 * most);
}

const LIGHT_WORDS = { day: "☀ day", penumbra: "◐ penumbra", night: "● night: helmet lamps" };

export function headWords(scene, state, links) {
  const gmt = new Date(scene.pet_zero_ms + state.minute * 60_000);
  const first = Date.UTC(gmt.getUTCFullYear(), 0, 1);
  const day = String(Math.floor((gmt.getTime() - first) / 86_400_000) + 1).padStart(3, "0");
  const words = [
    `PET ${petText(state.minute)}`,
    `GMT ${day}/${gmt.toISOString().slice(11, 16)}`,
    LIGHT_WORDS[state.sky.kind],
  ];
  const held = (scene.inhibits ?? []).filter(each => isWithin(each.spans, state.minute)).map(each => each.id);
  const inhibits = held.length ? `in force: ${held.join(", ")}` : "no inhibit in force";
  const told = links.map(([link, isUp]) => `${link}: ${isUp ? "link" : "no link"}`);
  return [...words, ...told, ...(scene.inhibits?.length ? [inhibits] : [])].join("   ");
}

// Paints them over the picture. Also what a film has and a page shows in words: `captions` at the lower edge.
export function paintWords(context, scene, state, pose, size, { links, inks, captions = [] }) {
  const high = size[1] / 38;
  context.font = `600 ${Math.round(high * 0.78)}px system-ui, sans-serif`;
  context.textBaseline = "middle";
  const measure = text => context.measureText(text).width;
  const head = headWords(scene, state, links);
  const bar = { x: 0, y: 0, w: size[0], h: high * 1.5 };
  const lines = captions
    .slice(0, 3)
    .flatMap(({ who, words }) =>
      wrapped(sentences([who, words].flat().filter(Boolean).join(": "), LINE), LINE),
    );
  const foot = {
    x: 0,
    y: size[1] - high * (lines.length * 1.2 + 0.5),
    w: size[0],
    h: high * (lines.length * 1.2 + 0.5),
  };
  const occupied = [bar, ...(lines.length ? [foot] : []), ...figureBoxes(state, pose, size)];
  const shown = laidOut(
    labelsOf(scene, state, pose, size, measure),
    occupied,
    size,
    high * 0.9,
    tetherSpots(state, pose, size),
  );
  for (const label of shown) paintLeader(context, label, edgeOf(label, inks));
  for (const label of shown) paintLabel(context, label, high, edgeOf(label, inks));
  paintBox(context, bar, "rgba(8,10,14,.72)");
  paintLine(context, head, high * 0.5, bar.h / 2, "#F2F4F7");
  if (lines.length) paintBox(context, foot, "rgba(8,10,14,.78)");
  lines.forEach((line, n) =>
    paintLine(context, line, high * 0.5, foot.y + high * (0.85 + 1.2 * n), "#FFFFFF"),
  );
  return { labels: shown, occupied };
}

const HAZARD_INKS = { warning: "#FF6B4A", caution: "#F0B429" }; // a note is grey, as its rings are
const edgeOf = ({ who, severity }, inks) =>
  who === undefined ? (HAZARD_INKS[severity] ?? "#8A94A3") : inks[who];

function outlined(context, { who }, edge) {
  context.strokeStyle = edge;
  context.lineWidth = who === undefined ? 1.25 : 2.5;
  context.setLineDash(who % 2 ? [6, 4] : []);
}

function paintLeader(context, label, edge) {
  const { box, x, y } = label;
  if (label.isOut) return;
  outlined(context, label, edge);
  context.beginPath();
  context.moveTo(x, y);
  context.lineTo(Math.min(Math.max(x, box.x), box.x + box.w), Math.min(Math.max(y, box.y), box.y + box.h));
  context.stroke();
  if (label.who === undefined) paintBox(context, { x: x - 2.5, y: y - 2.5, w: 5, h: 5 }, edge);
}

function paintLabel(context, label, high, edge) {
  const { box, lines, who } = label;
  const isCrew = who !== undefined;
  paintBox(context, box, isCrew ? "rgba(250,250,248,.94)" : "rgba(12,15,20,.74)");
  outlined(context, label, edge);
  context.strokeRect(box.x, box.y, box.w, box.h);
  context.setLineDash([]);
  lines.forEach((line, n) =>
    paintLine(context, line, box.x + high * 0.4, box.y + high * (0.75 + n), isCrew ? "#15181C" : "#EEF1F5"),
  );
}

function paintBox(context, { x, y, w, h }, color) {
  context.fillStyle = color;
  context.fillRect(x, y, w, h);
}

function paintLine(context, text, x, y, color) {
  context.fillStyle = color;
  context.fillText(text, x, y);
}
