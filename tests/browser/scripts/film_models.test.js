import { figure, rgb, Shapes, stance } from "/film/film_models.js";
import { cross, dot, length, minus } from "/film/film_vector.js";
import { equal, near, test } from "./check.js";
import { scene } from "./film_scene.js";

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
