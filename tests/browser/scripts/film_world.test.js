import { projected } from "/film/film_camera.js";
import { canDraw, contexts, earthAxes, World } from "/film/film_world.js";
import { add, dot } from "/film/film_vector.js";
import { equal, near, test } from "./check.js";
import { scene } from "./film_scene.js";

const SIZE = [320, 180];
const POSE = { eye: [3, 26, -9], look: [3, 8, -1], up: [0, 0, -1] };

// The brightness of every pixel of a picture, from the upper left corner on.
function pixels(world, minute, pose = POSE) {
  const context = new OffscreenCanvas(...SIZE).getContext("2d");
  const { picture, state } = world.draw(minute, pose, SIZE);
  context.drawImage(picture, 0, 0);
  const { data } = context.getImageData(0, 0, ...SIZE);
  const bright = Array.from(
    { length: SIZE[0] * SIZE[1] },
    (_, n) => data[4 * n] + data[4 * n + 1] + data[4 * n + 2],
  );
  return { bright, state };
}
const mean = all => all.reduce((sum, each) => sum + each, 0) / all.length;

test("day is brighter than night", () => {
  const world = new World(scene, ["#0B5FA5", "#C44E00"]);
  const [day, night] = [10, 60].map(minute => mean(pixels(world, minute).bright));
  if (!(day > 1.5 * night && night > 1)) throw new Error(`day ${day}, night ${night}`);
  world.giveBack();
});

test("a figure is seen where it is projected, and goes with its minute", () => {
  const world = new World(scene, ["#0B5FA5", "#C44E00"]);
  const near_ = { eye: [3, 19, -4], look: [3, 12.4, -2], up: [0, 0, -1] };
  const { bright, state } = pixels(world, 30, near_);
  const without = pixels(world, 3, near_).bright; // both are at the hatch
  const chest = projected(add(state.people[0].stand, state.people[0].body, 1.2), near_, SIZE);
  const at = Math.round(chest.y) * SIZE[0] + Math.round(chest.x);
  if (!(Math.abs(bright[at] - without[at]) > 40)) throw new Error(`${bright[at]} and ${without[at]}`);
  world.giveBack();
});

test("all films of a page share one context, and it is given back with the last", () => {
  const worlds = Array.from({ length: 20 }, () => new World(scene, ["#0B5FA5", "#C44E00"]));
  for (const world of worlds.slice(0, 3)) world.draw(10, POSE, SIZE);
  equal([canDraw(), contexts()], [true, 1]);
  for (const world of worlds) world.giveBack();
  equal(contexts(), 0);
  if (!(mean(pixels(worlds[0], 10).bright) > 10)) throw new Error("not drawn again");
  worlds[0].giveBack();
});

test("who looks down from the place below sees it in the middle of the globe", () => {
  const sky = { nadir: [0, 0, 1], north: [1, 0, 0], sub_lat: 0, sub_lon: 0 };
  const { pole, meridian } = earthAxes(sky);
  near(dot(pole, [1, 0, 0]), 1, 1e-9);
  near(dot(meridian, [0, 0, -1]), 1, 1e-9);
  const other = earthAxes({ ...sky, sub_lat: 30, sub_lon: 50 });
  near(dot(other.pole, [0, 0, -1]), 0.5, 1e-9); // the pole is as high over the horizon as the latitude
  near(
    dot(other.meridian, [0, 0, -1]),
    Math.cos((30 * Math.PI) / 180) * Math.cos((50 * Math.PI) / 180),
    1e-9,
  );
  near(dot(other.pole, other.meridian), 0, 1e-9);
});

test("two pictures of one minute are the same, whatever was seen between them", () => {
  const world = new World(scene, ["#0B5FA5", "#C44E00"]);
  const first = pixels(world, 33).bright;
  pixels(world, 90);
  equal(first.join() === pixels(world, 33).bright.join(), true);
  world.giveBack();
});
