import { fieldControl } from "/static/row_field.js";
import { equal, placed, press, test, type } from "./check.js";

function made(field, text, options = []) {
  const said = [];
  const root = placed(document.createElement("div"));
  const known = { options, isList: Boolean(field.is_list) };
  const whole = { kind: "text", choices: [], refers_to: [], ...field };
  const control = fieldControl(root, { label: "it", field: whole, known, isKeyed: field.isKeyed }, words =>
    said.push(words),
  );
  root.append(control.box);
  control.set(text);
  return { ...control, said };
}

test("choices are a list, and a word that is none stays to be seen", () => {
  const { input, said } = made({ kind: "choice", choices: ["day", "night"] }, "dusk");
  equal([input.value, [...input.options].map(each => each.value)], ["dusk", ["", "day", "night", "dusk"]]);
  input.value = "day";
  input.dispatchEvent(new Event("change"));
  equal(said, ["day"]);
});

test("words may have several lines, Enter is the end of them", () => {
  const { input, said } = made({}, "one\ntwo");
  equal([input.tagName, input.value], ["TEXTAREA", "one\ntwo"]);
  type(input, "one\nthree");
  equal([press(input, "Enter", { shiftKey: true }), said], [false, []]);
  press(input, "Enter");
  equal(said, ["one\nthree"]);
});

test("an entry is ended by a space or by going away, and the last is taken out by Backspace", () => {
  const { input, said, set } = made({ is_list: true }, "A1");
  input.focus();
  type(input, "EV1:BOX");
  press(input, " ");
  set(said.at(-1));
  type(input, "C1");
  input.blur();
  equal(said, ["A1 EV1:BOX", "A1 EV1:BOX C1"]);
  input.focus();
  press(input, "Backspace");
  equal(said.at(-1), "A1");
});

test("several values of a key of the settings are typed as they stand in the file", () => {
  equal(made({ is_list: true, isKeyed: true }, "a, b").input.value, "a, b");
});
