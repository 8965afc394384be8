import { cellEditor } from "/static/cell_editor.js";
import { equal, placed, press, test, type } from "./check.js";

const WORDS = ["EV1", "EV2", "both"];
const options = words => words.map(word => [word, ""]);

// An editor as the table opens it; `ended` tells how it was left.
function opened(value, { words = WORDS, isList = false, firstKey = null } = {}) {
  const root = placed(document.createElement("div"));
  const ended = [];
  let rendered = null;
  const edit = cellEditor(
    root,
    () => ({ options: options(words), isList }),
    () => firstKey,
    (_, text) => ended.push(["written", text]),
  );
  const cell = { getValue: () => value, getField: () => "crew" };
  const input = edit(
    cell,
    then => {
      rendered = then;
    },
    text => ended.push(["typed", text]),
    () => ended.push(["left"]),
  );
  root.append(input);
  rendered();
  const list = root.querySelector(".pk-suggestions");
  const shown = () => (list.hidden ? [] : [...list.children].map(each => each.textContent));
  const current = () => list.querySelector(".pk-current")?.textContent ?? null;
  return { input, ended, shown, current };
}

test("Enter takes what is typed, whatever it is", () => {
  const { input, ended } = opened("EV1");
  type(input, "anything");
  press(input, "Enter");
  equal(ended, [
    ["written", "anything"], // it is on its way before the grid shows it
    ["typed", "anything"],
  ]);
});

test("Escape leaves the cell as it was, and so does Enter on the same text", () => {
  const first = opened("EV1");
  type(first.input, "EV2");
  press(first.input, "Escape");
  equal(first.ended, [["left"]]);
  const second = opened("EV1");
  press(second.input, "Enter");
  equal(second.ended, [["left"]]);
});

test("arrows choose from the list, down and up again, and Enter takes it", () => {
  const { input, ended, current, shown } = opened("");
  equal(shown(), WORDS);
  const seen = ["ArrowDown", "ArrowDown", "ArrowUp", "ArrowUp", "ArrowUp"].map(key => {
    press(input, key);
    return current();
  });
  equal(seen, ["EV1", "EV2", "EV1", "both", "EV2"]);
  press(input, "Enter");
  equal(ended.at(-1), ["typed", "EV2"]);
});

test("Tab takes the chosen word and lets the key go on", () => {
  const { input, ended } = opened("");
  press(input, "ArrowDown");
  equal(press(input, "Tab"), false);
  equal(ended.at(-1), ["typed", "EV1"]);
});

test("the letter that opened the editor is typed already", () => {
  const { input, shown } = opened("EV1", { firstKey: "b" });
  equal(input.value, "b");
  equal(shown(), ["both"]);
});

test("no key of the editor reaches the notebook", () => {
  const { input } = opened("EV1");
  const heard = [];
  document.body.addEventListener("keydown", event => heard.push(event.key), { once: true });
  press(input, "a");
  equal(heard, []);
});

test("a text of several lines is edited as such; Shift and Enter breaks the line", () => {
  const { input, ended } = opened("one\ntwo");
  equal(input.tagName, "TEXTAREA");
  press(input, "Enter", { shiftKey: true });
  equal(ended, []);
});
