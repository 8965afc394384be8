import { entered, figure, isHidden, rgb, Shapes, stance } from "/film/film_models.js";
import { cross, dot, length, minus } from "/film/film_vector.js";
import { equal, near, test } from "./check.js";
import { scene } from "./film_scene.js";

const AXES = [
  [1, 0, 0],
  [0, 1, 0],
  [0, 0, 1],
];
const box = { kind: "box", center: [0, 0, 0], size: [2, 2, 2], axes: AXES };
const tube = { kind: "cylinder", a: [-5, 0, 0], b: [5, 0, 0], ra: 1, rb: 1 };
const dome = { kind: "dome", center: [0, 0, 0], axis: [0, 0, 1], radius: 1 };

test("every face of every body looks outward, as its normals do", () => {
  const shapes = new Shapes();
  for (const body of scene.bodies) shapes.body(body);
  const at = corner => shapes.points.slice(3 * corner, 3 * corner + 3);
  const corners = shapes.facing();
  for (let n = 0; n < corners.length; n += 3) {
    const [a, b, c] = corners.slice(n, n + 3);
    const face = cross(minus(at(b), at(a)), minus(at(c), at(a)));
    if (dot(face, shapes.normals.slice(3 * a, 3 * a + 3)) < -1e-9)
      throw new Error(`face ${n / 3} looks inward`);
  }
});

test("a body's points are as far from its axis as its radius", () => {
  const shapes = new Shapes().cone([0, 0, 0], [0, 0, 4], 1, 2, [1, 1, 1]);
  let most = 0;
  for (let n = 0; n < shapes.points.length; n += 3)
    most = Math.max(most, Math.hypot(shapes.points[n], shapes.points[n + 1]));
  near(most, 2, 1e-9);
});

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

test("a figure is in the middle of its place or stands in it, outward, and looks at the surface", () => {
  const { body, face, side, stand } = stance([3, 4, 5], [0, 0, -1], [0, 1, 0], 1);
  equal(stand, [3, 4, 5]);
  const middle = minus(stance([3, 4, 5], [0, 0, -1], [0, 1, 0]).stand, [3, 4, 5]);
  near(length(minus(middle, [-0.95 * body[0], 0.4 - 0.95 * body[1], -0.95 * body[2]])), 0, 1e-9);
  equal([body[1] > 0, face[1] < 0], [true, true]);
  for (const axis of [body, face, side]) near(length(axis), 1, 1e-9);
  near(dot(body, face), 0, 1e-9);
  near(dot(cross(side, face), body), 1, 1e-9);
  const skin = figure(0, [0, 0, 0]);
  const high = skin.points.filter((_, n) => n % 3 === 2);
  near(Math.min(...high), 0, 0.011);
  near(Math.max(...high), 1.9, 0.02);
});

test("the two are told apart without colour: one band or two rings cover other parts", () => {
  const dark = number => {
    const { colors, points } = figure(number, [0, 0, 0]);
    return points
      .filter((_, n) => n % 3 === 2 && colors[n] + colors[n - 1] + colors[n - 2] === 0)
      .map(z => z.toFixed(2));
  };
  const [one, two] = [dark(0), dark(1)];
  if (new Set(one).size === new Set(two).size && one.every(z => two.includes(z))) throw new Error("alike");
  equal(
    rgb("#FF0080").map(part => Math.round(part * 255)),
    [255, 0, 128],
  );
});
