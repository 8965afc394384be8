// The film's clock, and where its camera stands: shots in their order, each plays its minutes in its seconds.

import { lastBy, personAt } from "./film_lookup.js";
import { isHidden } from "./film_sight.js";
import { across, add, clamped, cross, dot, length, minus, mixed, times, unit } from "./film_vector.js";

export const VIEW_DEG = 40; // from the upper to the lower edge of the picture

// A reel: the shots of a cut ("1", "5" minutes, or all of them) with the film second at which each begins.
export function reelOf(scene, cut = "") {
  const chosen = scene.cuts?.[cut]?.map(each => {
    const [index, seconds] = Array.isArray(each) ? each : [each.shot ?? each, each.film_s];
    const shot = scene.shots[index];
    return { ...shot, film_s: seconds ?? shot.film_s };
  });
  let begin_s = 0;
  const shots = (chosen ?? scene.shots).map(shot => {
    const placed = { ...shot, begin_s };
    begin_s += shot.film_s;
    return placed;
  });
  return { shots, film_s: begin_s };
}

export const shotAtSecond = (reel, second) =>
  Math.max(
    0,
    lastBy(reel.shots, clamped(second, 0, reel.film_s), shot => shot.begin_s),
  );

export function minuteAt(reel, second) {
  const shot = reel.shots[shotAtSecond(reel, second)];
  const share = shot.film_s > 0 ? clamped((second - shot.begin_s) / shot.film_s, 0, 1) : 0;
  return shot.from + share * (shot.until - shot.from);
}

// The film second at which a minute is shown, or the next one where it is cut out.
export function secondAt(reel, minute) {
  const later = reel.shots.find(shot => minute < shot.until || minute <= shot.from);
  if (!later) return reel.film_s;
  const span = later.until - later.from;
  return later.begin_s + (span > 0 ? clamped((minute - later.from) / span, 0, 1) : 0) * later.film_s;
}

const chestOf = person => add(add(person.at, person.up, 0.4), person.out, 0.5);
const isPerson = look => typeof look === "string";

// Eye, target and up of a shot at a minute. One that follows looks at a person and keeps its distance.
export function poseOf(shot, scene, minute) {
  const up = shot.up ?? [0, 0, -1];
  if (!isPerson(shot.look)) return { eye: shot.eye, look: shot.look, up };
  const person = scene.people.find(each => each.id === shot.look) ?? scene.people[0];
  const look = personAt(person, minute).at;
  return { eye: add(look, shot.eye), look, up };
}

// The camera that somebody moves by hand: around a target, nearer or farther. All of it is told by keys.
export const turned = (pose, right, above) => {
  const arm = minus(pose.eye, pose.look);
  const [far, up] = [length(arm), unit(pose.up)];
  const forth = unit(arm);
  const side = unit(cross(up, forth), across(up, [1, 0, 0]));
  const flat = across(up, forth);
  const height = clamped(Math.asin(clamped(dot(forth, up), -1, 1)) + above, -1.45, 1.45);
  const round = add(times(flat, Math.cos(right)), side, Math.sin(right));
  const to = add(times(unit(round), Math.cos(height)), up, Math.sin(height));
  return { ...pose, eye: add(pose.look, to, far) };
};

export const moved = (pose, factor) => {
  const arm = minus(pose.eye, pose.look);
  return { ...pose, eye: add(pose.look, unit(arm), clamped(length(arm) * factor, 2, 400)) };
};

export const carried = (pose, by) => ({ ...pose, eye: add(pose.eye, by), look: add(pose.look, by) });

// A camera that somebody chose, not the film's own: of several sides the first from which most are seen.
// It is chosen once a minute of PET: where a body just comes between, it would jump to and fro.
function sideOf(scene, minute, sides, framed) {
  const { heads, eyeFrom } = framed(Math.floor(minute));
  const hidden = sides.map(
    side => heads.filter(head => isHidden(scene.bodies, eyeFrom(side), head, 0.3)).length,
  );
  return framed(minute).eyeFrom(sides[hidden.indexOf(Math.min(...hidden))]);
}

const SIGNS = [1, -1].flatMap(z => [1, -1].flatMap(y => [1, -1].map(x => [x, y, z])));

// Where both are seen: the target between them, the eye as far out as their distance asks for.
export function bothPose(scene, minute, from) {
  const wish = unit(from, [0.4, 0.7, -0.5]);
  const framed = when => {
    const heads = scene.people.map(person => chestOf(personAt(person, when)));
    const look = heads.length > 1 ? mixed(heads[0], heads[1], 0.5) : heads[0];
    const apart = heads.length > 1 ? length(minus(heads[0], heads[1])) : 0;
    const wide = Math.max(7, (apart / 2 + 1.5) / Math.tan((VIEW_DEG * Math.PI) / 360));
    const eyeFrom = signs =>
      add(
        look,
        wish.map((each, axis) => each * signs[axis]),
        wide,
      );
    return { heads, look, eyeFrom };
  };
  return { eye: sideOf(scene, minute, SIGNS, framed), look: framed(minute).look, up: [0, 0, -1] };
}

// Shares of outward, up and to the right, the best view first.
const BESIDE = [
  [1, 0.4, 0.8],
  [1, 0.4, -0.8],
  [1, -0.4, 0.8],
  [1, -0.4, -0.8],
  [1, 0, 0.05],
  [0.3, 0.9, 0.3],
  [0.3, -0.9, 0.3],
];

// Beside one of them, a little above, upright as that one is.
export function besidePose(scene, minute, who) {
  const track = scene.people.find(each => each.id === who);
  const framed = when => {
    const { up, out, ...person } = personAt(track, when);
    const look = chestOf({ up, out, ...person });
    const right = cross(up, out);
    const eyeFrom = ([a, b, c]) => add(look, unit(add(add(times(out, a), up, b), right, c)), 6);
    return { heads: [look], look, up, eyeFrom };
  };
  const { look, up } = framed(minute);
  return { eye: sideOf(scene, minute, BESIDE, framed), look, up };
}

// Where a point is in a picture of `size` pixels: x, y from the upper left corner, and how far ahead.
export function projected(point, pose, size) {
  const forth = unit(minus(pose.look, pose.eye));
  const right = unit(cross(forth, pose.up), across(forth, [1, 0, 0]));
  const up = cross(right, forth);
  const to = minus(point, pose.eye);
  const far = dot(to, forth);
  const scale = size[1] / 2 / Math.tan((VIEW_DEG * Math.PI) / 360) / Math.max(far, 1e-6);
  return { x: size[0] / 2 + scale * dot(to, right), y: size[1] / 2 - scale * dot(to, up), far };
}

// The tethers of a picture as small rectangles.
export function tetherSpots(state, pose, size) {
  const lines = state.tethers.flatMap(({ points }) => points.slice(1).map((to, n) => [points[n], to]));
  return lines
    .flatMap(([from, to]) =>
      Array.from({ length: 25 }, (_, n) => projected(mixed(from, to, n / 24), pose, size)),
    )
    .filter(spot => spot.far > 0.3)
    .map(({ x, y }) => ({ x: x - 3, y: y - 3, w: 6, h: 6 }));
}
