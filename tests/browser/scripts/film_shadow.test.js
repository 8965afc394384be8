import { Shadow } from "/film/film_shadow.js";
import { World } from "/film/film_world.js";
import { equal, test } from "./check.js";
import { scene } from "./film_scene.js";

const SIZE = [320, 180];
const POSE = { eye: [3, 26, -9], look: [3, 8, -1], up: [0, 0, -1] };

function bright(world, minute, isFull) {
  const context = new OffscreenCanvas(...SIZE).getContext("2d");
  context.drawImage(world.draw(minute, POSE, SIZE, 1, isFull).picture, 0, 0);
  const { data } = context.getImageData(0, 0, ...SIZE);
  return Array.from({ length: SIZE[0] * SIZE[1] }, (_, n) => data[4 * n] + data[4 * n + 1] + data[4 * n + 2]);
}

test("shadows make some of a picture by day darker, none of it brighter, and leave the night", () => {
  const world = new World(scene, ["#0B5FA5", "#C44E00"]);
  const [plain, full] = [false, true].map(isFull => bright(world, 12, isFull));
  const darker = plain.filter((each, n) => full[n] < each - 20).length;
  const brighter = plain.filter((each, n) => full[n] > each + 3).length;
  if (!(darker > 50)) throw new Error(`${darker} darker`);
  equal(brighter, 0);
  equal(bright(world, 60, true).join() === bright(world, 60, false).join(), true);
  equal(bright(world, 12, false).join() === plain.join(), true, "nothing stays of it");
  world.giveBack();
});

test("its map is given back", () => {
  const shadow = new Shadow();
  shadow.giveBack();
  equal(shadow.target ?? null, null);
});
