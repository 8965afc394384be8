import { across, clamped, cross, dot, length, unit } from "/film/film_vector.js";
import { equal, near, test } from "./check.js";

test("a direction across another is of length 1 and as near to the wish as can be", () => {
  equal(across([0, 0, 1], [3, 0, 9]), [1, 0, 0]);
  for (const axis of [unit([1, 2, 3]), [1, 0, 0], [0, -1, 0]]) {
    const found = across(axis, axis); // a wish along the axis says nothing: any direction across it
    near(dot(found, axis), 0, 1e-12);
    near(length(found), 1, 1e-12);
  }
});

test("what has no direction is the other one", () => {
  equal(unit([0, 0, 0], [0, 1, 0]), [0, 1, 0]);
  equal([cross([1, 0, 0], [0, 1, 0]), clamped(7, 0, 5), clamped(-1, 0, 5)], [[0, 0, 1], 5, 0]);
});
