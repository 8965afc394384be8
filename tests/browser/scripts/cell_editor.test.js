import { cellEditor, completed, suggested, wordStart } from "/static/cell_editor.js";
import { equal, placed, press, test, type } from "./check.js";

const WORDS = ["EV1", "EV2", "both"];

// An editor as the table opens it; `ended` tells how it was left.
function opened(value, { words = WORDS, isList = false, firstKey = null } = {}) {
  const root = placed(document.createElement("div"));
  const ended = [];
  let rendered = null;
  const edit = cellEditor(
    root,
    () => ({ words, isList }),
    () => firstKey,
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

test("in a list the word under the cursor is what is typed, elsewhere the whole", () => {
  equal(wordStart("A1 B", 4, true), 3);
  equal(wordStart("A1 B", 2, true), 0);
  equal(wordStart("A1 B", 4, false), 0);
});

test("all is suggested until something is typed, then what holds it", () => {
  equal(suggested(WORDS, "EV1", 3, false, true), WORDS);
  equal(suggested(WORDS, "v", 1, false, false), ["EV1", "EV2"]);
  equal(suggested(WORDS, "x", 1, false, false), []);
  equal(suggested(WORDS, "EV1 bo", 6, true, false), ["both"]);
});

test("a word is completed in its place, the rest of a list stays", () => {
  equal(completed("E", 1, "EV2", false), { text: "EV2", caret: 3 });
  equal(completed("A1 b C1", 4, "both", true), { text: "A1 both C1", caret: 7 });
});

test("Enter takes what is typed, whatever it is", () => {
  const { input, ended } = opened("EV1");
  type(input, "anything");
  press(input, "Enter");
  equal(ended, [["typed", "anything"]]);
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
  equal(ended, [["typed", "EV2"]]);
});

test("Tab takes the chosen word and lets the key go on", () => {
  const { input, ended } = opened("");
  press(input, "ArrowDown");
  equal(press(input, "Tab"), false);
  equal(ended, [["typed", "EV1"]]);
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

test("no more than a dozen are listed", () => {
  const { shown } = opened("", { words: Array.from({ length: 30 }, (_, at) => `S${at}`) });
  equal(shown().length, 12);
});
