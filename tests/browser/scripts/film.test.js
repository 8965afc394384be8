import { show, startPage } from "/film/film.js";
import { equal, placed, test } from "./check.js";
import { scene } from "./film_scene.js";

test("a page begins with the scene that stands in it; without one nothing begins", () => {
  equal(startPage(), null);
  const data = placed(document.createElement("script"));
  Object.assign(data, {
    id: "film-scene",
    type: "application/json",
    textContent: JSON.stringify({ scene, still: null }),
  });
  const root = placed(document.createElement("main"));
  root.id = "film";
  equal(startPage().scene.title, "A small outing");
  root.film.close();
});

test("in a notebook it follows its model, and ends with its output", () => {
  const root = placed(document.createElement("div"));
  const given = { scene, minute: 0, still: "" };
  const heard = new Map();
  const model = {
    get: name => given[name],
    on: (name, call) => heard.set(name, call),
    off: name => heard.delete(name),
  };
  const end = show(model, root);
  given.minute = 42;
  heard.get("change:minute")();
  equal(root.film.minute, 42);
  given.scene = { ...scene, end_min: 30 };
  heard.get("change:scene")();
  equal(root.film.minute, 30);
  end();
  equal([root.childElementCount, heard.size], [0, 0]);
});
