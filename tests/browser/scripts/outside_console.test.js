import { OutsideConsole } from "/static/outside_console.js";
import { equal, listener, placed, test } from "./check.js";

const step = name => ({
  step: name,
  title: "",
  status: "planned",
  start: 0,
  finish: 5,
  late: null,
  events: ["started"],
});
const lane = (who, ...steps) => ({ who, title: "", is_crew: true, steps: steps.map(step), between: "" });
const message = (...lanes) => ({ lanes, refused: {}, clock: { now_ms: 0, pet_zero_ms: 0 } });

function opened() {
  const console = new OutsideConsole(listener(), { by: { value: "" } }, () => {});
  placed(console.box);
  console.show(message(lane("EV1", "A1", "B1"), lane("EV2", "B1")));
  return console;
}

test("each lane has its card, which stays the same while it is shown anew", () => {
  const console = opened();
  const card = console.cards.get("EV1").box;
  console.show(message(lane("EV1", "B1")));
  equal(
    [[...console.cards.keys()], console.cards.get("EV1").box === card, card.isConnected],
    [["EV1"], true, true],
  );
  equal(console.box.querySelectorAll(".pk-lane-card").length, 1);
});

test("a number chooses a card, not with Ctrl", () => {
  const console = opened();
  equal(console.onKey({ key: "2" }), true);
  equal(document.activeElement.dataset.lane, "EV2");
  equal(
    [console.onKey({ key: "3" }), console.onKey({ key: "1", ctrlKey: true }), console.onKey({ key: "x" })],
    [false, false, false],
  );
  equal(document.activeElement.dataset.lane, "EV2");
});

test("a step chosen in the chart is the one to log, wherever it is open", () => {
  const console = opened();
  console.pick("B1");
  equal(
    [...console.cards.values()].map(card => card.step.value),
    ["B1", "B1"],
  );
  console.pick("A1");
  equal(
    [...console.cards.values()].map(card => card.step.value),
    ["A1", "B1"],
  );
  console.goTo("B1");
  equal(document.activeElement.dataset.lane, "EV1");
});
