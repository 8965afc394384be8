import { entered, isHidden } from "/film/film_sight.js";
import { equal, near, test } from "./check.js";

const AXES = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];
const box = { kind: "box", center: [0, 0, 0], size: [2, 2, 2], axes: AXES };
const tube = { kind: "cylinder", a: [-5, 0, 0], b: [5, 0, 0], ra: 1, rb: 1 };
const dome = { kind: "dome", center: [0, 0, 0], axis: [0, 0, 1], radius: 1 };

test("a way is seen to enter a box, a tube and a dome where it does, and else nowhere", () => {
  near(entered(box, [-3, 0, 0], [3, 0, 0]), 1 / 3, 1e-9);
  equal(entered(box, [-3, 1.1, 0], [3, 1.1, 0]), Infinity);
  near(entered(tube, [0, -3, 0], [0, 3, 0]), 1 / 3, 1e-9);
  near(entered(tube, [-10, 0.5, 0], [10, 0.5, 0]), 0.25, 1e-9); // through its end
  equal(
    [entered(tube, [-10, 1.5, 0], [10, 1.5, 0]), entered(tube, [6, -3, 0], [6, 3, 0])],
    [Infinity, Infinity],
  );
  near(entered(dome, [0, 0, 3], [0, 0, -3]), 1 / 3, 1e-9);
  equal(entered(dome, [-3, 0, -0.5], [3, 0, -0.5]), Infinity); // below its rim there is nothing
});

test("what stands behind a body is hidden, what stands on it or before it is not", () => {
  equal([isHidden([box], [0, -9, 0], [0, 9, 0]), isHidden([box], [0, -9, 0], [0, -1, 0])], [true, false]);
  equal(isHidden([box], [0, -9, 0], [0, -5, 0]), false);
});

test("a way is seen to enter a model where its triangles are, not where only its box is", () => {
  const roof = {
    kind: "model",
    points: [0, 0, 0, 2, 0, 0, 0, 2, 0, 0, 0, 2],
    corners: [0, 2, 1, 0, 1, 3, 1, 2, 3, 0, 3, 2],
    least: [0, 0, 0],
    most: [2, 2, 2],
  };
  near(entered(roof, [0.5, 0.5, -1], [0.5, 0.5, 3]), 0.25, 1e-9);
  near(entered(roof, [0.5, 0.5, 3], [0.5, 0.5, -1]), 0.5, 1e-9); // its slant is at z = 1
  equal(entered(roof, [1.9, 1.9, -1], [1.9, 1.9, 3]), Infinity);
  equal(entered(roof, [5, 5, -1], [5, 5, 3]), Infinity);
  equal(isHidden([roof], [0.5, 0.5, -4], [0.5, 0.5, 4]), true);
});
