import { OutsideResponse } from "/static/outside_response.js";
import { equal, listener, placed, press, test } from "./check.js";

const CHOICES = [
  { id: "R-TURN", words: "cannot turn", call: "go on", for: ["B2 1 <b>Loosen</b>"] },
  { id: "R-WATER", words: "water in the helmet", call: "terminate", for: [] },
];
const answer = (crew = ["EV1"], more = {}) => ({
  id: "R-WATER",
  words: "water in the helmet",
  call: "terminate",
  crew,
  is_short: false,
  facts: [["left with it", "12 min"]],
  ...more,
});

function opened() {
  const send = listener();
  const response = new OutsideResponse(send, { by: { value: "kim" } });
  response.call.hidden = false;
  placed(response.call);
  placed(response.preview);
  const keys = placed(document.createElement("button"));
  for (const each of [keys, response.preview])
    each.addEventListener("keydown", event => response.onKey(event) && event.preventDefault());
  keys.focus();
  return { response, box: response.preview, keys, send };
}

test("one key asks once, however long it is held; a digit chooses; nothing is taken by either", () => {
  const { response, box, keys, send } = opened();
  press(keys, "e");
  press(keys, "e", { repeat: true });
  equal(send.said, [{ kind: "response", response: "", crew: "" }]);
  response.tell({ at: "1:20", choices: CHOICES });
  equal(box.hidden, false);
  equal(box.querySelectorAll("b").length, 0); // text is text
  press(box, "2");
  equal(send.last(), { kind: "response", response: "R-WATER", crew: "" });
  response.tell({ at: "1:20", choices: CHOICES, answer: answer() });
  press(box, "Enter");
  equal(send.said.length, 2);
});

test("it is taken by its button, by the name of who keeps the log, for whom it concerns", () => {
  const { response, box, keys, send } = opened();
  press(keys, "e");
  response.ask("R-WATER");
  response.tell({ at: "1:20", choices: CHOICES, answer: answer(["EV1", "EV2"]) });
  box.querySelector("[data-concerns=EV2]").click();
  equal(send.last(), { kind: "response", response: "R-WATER", crew: "EV2" });
  response.tell({ at: "1:20", choices: CHOICES, answer: answer(["EV2"]) });
  equal(box.querySelector("[data-concerns=EV2]").getAttribute("aria-pressed"), "true");
  box.querySelector("[data-act=take_response]").click();
  equal(send.last(), { kind: "take_response", response: "R-WATER", crew: "EV2", by: "kim" });
  equal(box.hidden, true);
});

test("Escape takes it back to where the keyboard was, and what comes late stays away", () => {
  const { response, box, keys } = opened();
  press(keys, "e");
  response.tell({ at: "1:20", choices: CHOICES });
  press(box, "Escape");
  equal([box.hidden, document.activeElement === keys], [true, true]);
  response.tell({ at: "1:21", choices: CHOICES });
  equal(box.hidden, true);
});

test("it is asked anew as the minutes pass, and too little left is marked", () => {
  const { response, box, send } = opened();
  response.refresh();
  equal(send.said, []);
  response.ask("R-WATER");
  response.refresh();
  equal(send.said.length, 2);
  response.tell({ at: "1:20", choices: CHOICES, answer: answer(["EV1"], { is_short: true }) });
  equal(box.querySelector("dd").className, "pk-over");
});

test("without responses the key is nobody's", () => {
  const { response, keys, send } = opened();
  response.call.hidden = true;
  equal(press(keys, "e"), false);
  equal(send.said, []);
});
