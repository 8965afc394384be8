import { show, startPage } from "/film/film.js";
import { equal, frame, placed, test } from "./check.js";
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

const CSS = `.pkf-stage { aspect-ratio: 16 / 9 } .pkf-captions { height: 78px; overflow: auto }
  .pkf-beside { display: grid; grid-template-columns: auto 1fr } .pkf-beside > * { grid-column: 1 / -1 }
  .pkf-beside > .pkf-stage { grid-column: 1; width: 100vw }
  .pkf-beside > .pkf-captions { grid-column: 2; height: 0; min-height: 100% }`;

test("a film is on one screen: its picture takes what is left, words stand beside a low one", async () => {
  placed(document.createElement("style")).textContent = CSS;
  const panel = placed(document.createElement("div"));
  panel.className = "jp-WindowedPanel-outer";
  const root = document.createElement("div");
  panel.append(root);
  const model = { get: name => ({ scene, minute: 0, still: "" })[name], on() {}, off() {} };
  const end = show(model, root);
  const stage = root.querySelector(".pkf-stage");
  for (const [wide, px, isBeside] of [
    [1200, 560, true],
    [560, 700, false],
    [1200, 600, true],
  ]) {
    panel.style.cssText = `height: ${px}px; width: ${wide}px; overflow: auto`;
    for (let each = 0; each < 4; each += 1) await frame();
    const leftPx = px - root.offsetHeight;
    equal([root.classList.contains("pkf-beside"), leftPx >= 0], [isBeside, true]);
    // As high as it may be, or as wide.
    equal(leftPx < 12 || stage.offsetWidth > wide - 322, true);
  }
  end();
});
