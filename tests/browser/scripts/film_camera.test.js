import {
  besidePose,
  bothPose,
  carried,
  minuteAt,
  moved,
  poseOf,
  projected,
  reelOf,
  secondAt,
  shotAtSecond,
  turned,
} from "/film/film_camera.js";
import { personAt } from "/film/film_lookup.js";
import { isHidden } from "/film/film_sight.js";
import { length, minus } from "/film/film_vector.js";
import { equal, near, test } from "./check.js";
import { scene } from "./film_scene.js";

const SIZE = [1280, 720];
const reel = reelOf(scene);

test("shots follow each other in the film's own seconds, whatever minutes they show", () => {
  equal([reel.film_s, reel.shots.map(shot => shot.begin_s)], [25, [0, 6, 12, 20]]);
  equal(
    [0, 3, 6, 11.999, 12, 25].map(second => shotAtSecond(reel, second)),
    [0, 0, 1, 1, 2, 3],
  );
  equal(
    [0, 3, 6, 12, 16, 25, 99].map(second => minuteAt(reel, second)),
    [0, 5, 10, 60, 70, 120, 120],
  );
});

test("a minute leads to its second, one that is cut out to the next shot", () => {
  equal(
    [5, 40, 70, 120].map(minute => secondAt(reel, minute)),
    [3, 12, 16, 25],
  );
  for (let second = 0; second < 25; second += 0.37)
    near(secondAt(reel, minuteAt(reel, second)), second, 1e-9);
});

test("a cut has its own shots and seconds", () => {
  equal(
    [reelOf(scene, "1").film_s, reelOf(scene, "1").shots.map(shot => shot.title)],
    [7, ["The station", "Hand-over"]],
  );
});

test("a camera that follows keeps its offset, and has its person in the middle of the picture", () => {
  const shot = scene.shots[1];
  for (const minute of [10, 13, 19]) {
    const pose = poseOf(shot, scene, minute);
    near(length(minus(minus(pose.eye, pose.look), shot.eye)), 0, 1e-12);
    const spot = projected(personAt(scene.people[0], minute).at, pose, SIZE);
    if (Math.abs(spot.x - 640) > 150 || Math.abs(spot.y - 360) > 250) throw new Error(JSON.stringify(spot));
  }
});

test("what the camera looks at is in the middle; up is up, right is right, behind is behind", () => {
  const pose = { eye: [0, -10, 0], look: [0, 0, 0], up: [0, 0, 1] };
  const spot = projected([0, 0, 0], pose, SIZE);
  equal([spot.x, spot.y, spot.far], [640, 360, 10]);
  if (!(projected([0, 0, 1], pose, SIZE).y < 360 && projected([1, 0, 0], pose, SIZE).x > 640))
    throw new Error("turned");
  if (projected([0, -20, 0], pose, SIZE).far > 0) throw new Error("behind");
});

test("a hand turns, nears and carries the camera, and never through the top", () => {
  const pose = { eye: [0, -10, 0], look: [0, 0, 0], up: [0, 0, 1] };
  near(length(turned(pose, 0.5, 0).eye), 10, 1e-9);
  near(turned(pose, 0, 9).eye[2], 10 * Math.sin(1.45), 1e-9);
  near(length(moved(pose, 0.5).eye), 5, 1e-9);
  near(length(moved(pose, 1e-6).eye), 2, 1e-9);
  equal(carried(pose, [1, 0, 0]).look, [1, 0, 0]);
});

test("both are in the picture of both, however far apart", () => {
  for (const minute of [5, 40, 70, 95]) {
    const pose = bothPose(scene, minute, [0.4, 0.7, -0.5]);
    for (const person of scene.people) {
      const { x, y, far } = projected(personAt(person, minute).at, pose, SIZE);
      if (!(far > 0 && x > 0 && x < SIZE[0] && y > 0 && y < SIZE[1]))
        throw new Error(`${person.id} at ${minute}`);
    }
  }
});

test("who is followed is in the middle, upright", () => {
  for (const minute of [0, 15, 70]) {
    const person = personAt(scene.people[1], minute);
    const spot = projected(person.at, besidePose(scene, minute, "EV2"), SIZE);
    if (!(Math.abs(spot.x - 640) < 200 && Math.abs(spot.y - 360) < 200))
      throw new Error(JSON.stringify(spot));
  }
});

test("a camera of one's own stands where a hull is not between, and not twice a minute elsewhere", () => {
  const { at, up, out } = personAt(scene.people[0], 30);
  const chest = at.map((each, axis) => each + 0.4 * up[axis] + 0.5 * out[axis]);
  const wish = [0.5, 0.7, -0.5];
  const free = bothPose(scene, 30, wish);
  const middle = free.eye.map((each, axis) => (each + chest[axis]) / 2);
  const wall = {
    kind: "box",
    center: middle,
    size: [2, 2, 2],
    axes: [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
    ],
  };
  const blocked = { ...scene, bodies: [wall] };
  const around = bothPose(blocked, 30, wish);
  equal(
    [free, around].map(({ eye }) => isHidden([wall], eye, chest, 0.3)),
    [true, false],
  );
  equal(around.eye.join() === free.eye.join(), false);
  for (const share of [0.2, 0.5, 0.9]) {
    const then = bothPose(blocked, 30 + share, wish);
    equal(
      then.eye.map((each, axis) => Math.sign(each - then.look[axis])),
      around.eye.map((each, axis) => Math.sign(each - around.look[axis])),
    );
  }
});
