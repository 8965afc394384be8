import { entryAfter, petLabel, stepAfter } from "/show/station_map_keys.js";
import { equal, test } from "./check.js";

test("a minute of the film is told as PET", () => {
  equal([0, 9.6, 60, 125, 390].map(petLabel), ["0:00", "0:10", "1:00", "2:05", "6:30"]);
});

test("the slider goes by one, by ten and to its ends", () => {
  const to = key => stepAfter(key, 20, 50);
  equal([to("ArrowRight"), to("ArrowUp"), to("ArrowLeft"), to("ArrowDown")], [21, 21, 19, 19]);
  equal([to("PageUp"), to("PageDown"), to("Home"), to("End")], [30, 10, 0, 50]);
});

test("a list goes down with the arrow down, and shows again what is chosen", () => {
  const to = (key, now) => entryAfter(key, now, 5);
  equal([to("ArrowDown", 2), to("ArrowRight", 2), to("ArrowUp", 2), to("ArrowLeft", 2)], [3, 3, 1, 1]);
  equal([to("Home", 2), to("End", 2), to("Enter", 2), to(" ", 2)], [0, 5, 2, 2]);
  equal([to("ArrowDown", -1), to("Enter", -1), to(" ", -1)], [0, 0, 0]);
});

test("other keys are the page's own", () => {
  for (const key of ["a", "Tab", "Escape", "F5"]) {
    equal([stepAfter(key, 1, 5) === undefined, entryAfter(key, 1, 5) === undefined], [true, true], key);
  }
});
