import { PickList, completed, suggested, wordStart } from "/static/pick_list.js";
import { equal, placed, press, test, type } from "./check.js";

const KNOWN = [
  ["EV1", "Ada"],
  ["EV2", ""],
  ["both", ""],
];

function opened(options, isList = false) {
  const root = placed(document.createElement("div"));
  const input = document.createElement("input");
  root.append(input);
  const picked = [];
  const list = new PickList(root, input, { options, isList }, () => picked.push(input.value));
  input.addEventListener("keydown", event => list.onArrow(event));
  input.focus();
  list.open();
  return { list, input, picked };
}

test("in a list the word under the cursor is what is typed, elsewhere the whole", () => {
  equal(wordStart("A1 B", 4, true), 3);
  equal(wordStart("A1 B", 2, true), 0);
  equal(wordStart("A1 B", 4, false), 0);
});

test("all is suggested until something is typed, then what holds it", () => {
  equal(suggested(KNOWN, "EV1", 3, false, true), KNOWN);
  equal(suggested(KNOWN, "v", 1, false, false), KNOWN.slice(0, 2));
  equal(suggested(KNOWN, "x", 1, false, false), []);
  equal(suggested(KNOWN, "EV1 bo", 6, true, false), [["both", ""]]);
  equal(suggested(KNOWN, "ada", 3, false, false), [["EV1", "Ada"]]);
});

test("a word is completed in its place, the rest of a list stays", () => {
  equal(completed("E", 1, "EV2", false), { text: "EV2", caret: 3 });
  equal(completed("A1 b C1", 4, "both", true), { text: "A1 both C1", caret: 7 });
});

test("an id stands with its title, as text, and a click takes the id", () => {
  const attack = "<img src=x onerror=alert(1)>";
  const { list, input, picked } = opened([["AL1", attack]]);
  equal([list.box.textContent, list.box.querySelector("img")], [`AL1 ${attack}`, null]);
  list.box.querySelector("span").dispatchEvent(new PointerEvent("pointerdown", { bubbles: true }));
  equal([input.value, picked], ["AL1", ["AL1"]]);
});

test("a title is found by what is typed of it, and arrows walk what is found", () => {
  const { list, input } = opened(KNOWN);
  type(input, "ad");
  equal([list.found, input.getAttribute("aria-expanded")], [[["EV1", "Ada"]], "true"]);
  press(input, "ArrowDown");
  list.takeCurrent();
  equal(input.value, "EV1");
  list.close();
  equal([list.isOpen, input.getAttribute("aria-expanded")], [false, "false"]);
});

test("no more than forty are listed", () => {
  const { list } = opened(Array.from({ length: 90 }, (_, at) => [`S${at}`, ""]));
  equal(list.box.children.length, 40);
});
