import {
  figureBoxes,
  headWords,
  labelsOf,
  laidOut,
  overlaps,
  paintWords,
  personWords,
  sentences,
  wrapped,
} from "/film/film_labels.js";
import { bothPose, poseOf, projected } from "/film/film_camera.js";
import { World } from "/film/film_world.js";
import { equal, test } from "./check.js";
import { scene } from "./film_scene.js";

const SIZE = [1280, 720];
const world = new World(scene, ["#0B5FA5", "#C44E00"]);
const measure = text => text.length * 9;
const inks = ["#0B5FA5", "#C44E00"];

const label = (x, y, more = {}) => ({ x, y, w: 80, h: 20, ...more });

test("no two labels lie over each other, nor over what is occupied; who finds no room is left out", () => {
  const crowd = Array.from({ length: 40 }, (_, n) => label(300 + (n % 7) * 12, 200 + n * 3));
  const shown = laidOut(crowd, [{ x: 280, y: 180, w: 60, h: 60 }], SIZE);
  const boxes = [{ x: 280, y: 180, w: 60, h: 60 }, ...shown.map(each => each.box)];
  boxes.forEach((a, n) => boxes.slice(n + 1).forEach(b => equal(overlaps(a, b), false)));
  equal([shown.length > 3, shown.length <= 14], [true, true]);
});

test("what must be shown is, at the free place nearest to it", () => {
  const wall = [{ x: 200, y: 100, w: 300, h: 300 }];
  equal(laidOut([label(350, 250)], wall, SIZE).length, 0);
  equal(laidOut([label(350, 250, { must: true })], wall, SIZE).length, 1);
});

test("where there is a choice a label does not lie on a tether", () => {
  const [first] = laidOut([label(350, 250)], [], SIZE);
  const [other] = laidOut([label(350, 250)], [], SIZE, 10, [first.box]);
  equal(overlaps(first.box, other.box), false);
  const all = [{ x: 0, y: 0, w: SIZE[0], h: SIZE[1] }];
  equal(laidOut([label(350, 250)], [], SIZE, 10, all)[0].box, first.box); // without one it is there
});

test("every hazard that is drawn has its name, at what is seen of it", () => {
  const at = pose => labelsOf(scene, world.state(60), pose, SIZE, measure).find(each => each.severity);
  const pose = { eye: [3, 19, -4], look: [3, 12.4, -1], up: [0, 0, -1] };
  equal(at(pose).lines, ["warning: hot case"]);
  equal(laidOut([at(pose)], [{ x: at(pose).x - 90, y: at(pose).y - 70, w: 180, h: 140 }], SIZE).length, 1);
  // Its middle is out of the picture, a part of it is not.
  const aside = [...Array(200).keys()]
    .map(n => ({ ...pose, look: [3 + n / 10, 12.4, -1] }))
    .find(each => Math.abs(projected(scene.hazards[0].at, each, SIZE).x - SIZE[0] / 2) > SIZE[0] / 2);
  equal(at(aside).lines, ["warning: hot case"]);
});

test("no label overlaps in 50 moments of the outing, seen by three cameras", () => {
  const context = new OffscreenCanvas(...SIZE).getContext("2d");
  for (let n = 0; n < 50; n += 1) {
    const minute = (n * 120) / 49;
    const state = world.state(minute);
    for (const pose of [
      poseOf(scene.shots[0], scene, minute),
      bothPose(scene, minute, [0.4, 0.7, -0.5]),
      poseOf(scene.shots[1], scene, minute),
    ]) {
      const { labels, occupied } = paintWords(context, scene, state, pose, SIZE, {
        links: [],
        inks,
        captions: [],
      });
      const boxes = [...labels.map(each => each.box), ...occupied];
      labels.forEach((one, k) =>
        boxes.slice(k + 1).forEach(other => equal(overlaps(one.box, other), false, `at ${minute}`)),
      );
    }
  }
});

test("of a person is told who, what, where, with what and how far on the tether", () => {
  const state = world.state(70);
  equal(personWords(scene, state, state.people[0]), [
    "EV1: Take off the old regulator",
    "at Regulator bay",
    "holds Tool bag",
    "tether 20.2 of 25.0 m from Airlock hatch",
  ]);
  equal(personWords(scene, state, state.people[1])[2], "holds New regulator");
  const late = world.state(99);
  equal(personWords(scene, late, late.people[0]).slice(-2), [
    "tether 22.0 of 25.0 m from Airlock hatch",
    "near the end of the tether",
  ]);
  const unknown = { ...state, tethers: [{ ...state.tethers[0], most_m: null }] };
  equal(
    personWords(scene, unknown, state.people[0]).at(-1),
    "tether 20.2 m (its length is not known) from Airlock hatch",
  );
  const both = { ...scene, customary: { unit: "ft", metres: 0.3048 } };
  const exact = { ...state, tethers: [{ ...state.tethers[0], reach_m: 20.13, most_m: 25.89 }] };
  equal(
    personWords(both, exact, state.people[0]).at(-1),
    "tether 20.2 of 25.8 m (66.1 ft) from Airlock hatch", // 66.04 ft: needed goes up, what there is down
  );
});

test("a sign behind a body is not shown", () => {
  const pose = { eye: [-4, -30, 0.5], look: [-4, 0, 0.5], up: [0, 0, -1] }; // the hull is between
  const state = world.state(50);
  equal(
    labelsOf(scene, state, pose, SIZE, measure).some(each => each.place === "AIR"),
    false,
  );
  const crew = labelsOf(scene, world.state(5), pose, SIZE, measure).find(each => each.who === 0);
  equal(crew.lines.at(-1), "(hidden from here)"); // who is there is told all the same
  const front = { ...pose, eye: [-4, 30, 0.5] };
  equal(
    labelsOf(scene, state, front, SIZE, measure).some(each => each.place === "AIR"),
    true,
  );
});

test("the head line tells time, light and links; figures keep their room", () => {
  equal(
    headWords(scene, world.state(65), [["relay", false]]),
    "PET 1:05   GMT 246/08:35   ● night: helmet lamps   relay: no link",
  );
  const pose = bothPose(scene, 5, [0.4, 0.7, -0.5]);
  equal(
    figureBoxes(world.state(5), pose, SIZE).every(box => box.w > 8 && box.h > 8),
    true,
  );
});

test("what is held is told in full, in as many lines as it takes", () => {
  equal(wrapped("holds Bag, Long driver, Cable reel", 16), ["holds Bag, Long", "driver, Cable", "reel"]);
  equal([wrapped("", 9), wrapped("a-very-long-word", 5)], [[], ["a-very-long-word"]]);
});

test("who is not in the picture is told at its edge", () => {
  const pose = { eye: [3, 9, -4], look: [3, 14, -2], up: [0, 0, -1] };
  const found = labelsOf(scene, world.state(40), pose, SIZE, measure).find(each => each.who === 1);
  equal(
    [found.lines.at(-1), found.isOut, found.x >= 0 && found.x <= SIZE[0]],
    ["(not in the picture)", true, true],
  );
});

test("a caption in a film is told in whole sentences", () => {
  equal(
    sentences("EV1: Takes it. Leaves it at 1:40. Then goes home.", 40),
    "EV1: Takes it. Leaves it at 1:40.",
  );
  equal(sentences("One that is long", 8), "One that is long"); // in two lines
  equal(sentences("One that is longer still", 8), "One that is lon…");
});
