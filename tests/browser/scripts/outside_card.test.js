import { LaneCard } from "/static/outside_card.js";
import { equal, listener, placed, press, test, type } from "./check.js";

const CLOCK = { now_ms: 3900000, pet_zero_ms: 0 };
const step = (name, status, more = {}) => ({
  step: name,
  title: "",
  status,
  start: 60,
  finish: 80,
  late: null,
  events: status === "planned" ? ["started", "skipped"] : ["finished", "partly"],
  ...more,
});

function opened(steps = [step("A1", "planned"), step("A2", "planned")], title = "", is_crew = true) {
  const send = listener();
  const console = { send, clock: { by: { value: "kim" } }, onStep: () => {} };
  const lane = { who: "EV1", title, is_crew, steps, between: "" };
  const card = new LaneCard(console, lane, 1);
  placed(card.box);
  const show = (now, refused) => card.show({ ...lane, steps: now }, refused, CLOCK);
  show(steps);
  return { card, send, show, said: send.said };
}

test("a key logs its event of the first step, at a time left empty", () => {
  const { card, said } = opened();
  equal(press(card.box, "s"), true);
  equal(said, [
    {
      kind: "log",
      lane: "EV1",
      by: "kim",
      event: "started",
      step: "A1",
      alone: "",
      at: "",
      remaining_min: "",
      metabolic_w: "",
      note: "",
    },
  ]);
});

test("what cannot be of this step is not logged", () => {
  const { card, said } = opened();
  press(card.box, "f");
  card.buttons.finished.click();
  equal(said, []);
});

test("an entry that is being typed stays about its step when another logs it meanwhile", () => {
  const { card, show, said } = opened();
  type(card.fields.at, "1:02");
  show([step("A2", "planned")]);
  equal([card.step.value, card.buttons.started.classList.contains("pk-primary")], ["A1", true]);
  press(card.fields.at, "Enter");
  equal([said[0].step, said[0].event, said[0].at], ["A1", "started", "1:02"]);
});

test("and about its event when another logs its start meanwhile", () => {
  const { card, show, said } = opened();
  type(card.fields.at, "1:02");
  show([step("A1", "in progress"), step("A2", "planned")]);
  press(card.fields.at, "Enter");
  equal([said[0].step, said[0].event], ["A1", "started"]);
});

test("what is typed after an entry was sent belongs to the next one", () => {
  const { card, send } = opened();
  type(card.fields.at, "1:02");
  press(card.fields.at, "Enter");
  type(card.fields.note, "next");
  send.answer();
  equal([card.fields.at.value, card.fields.note.value], ["", "next"]);
});

test("a refused entry stays typed, with its faults, until it is given up", () => {
  const { card, send, show, said } = opened();
  type(card.fields.at, "9:99");
  press(card.fields.at, "Enter");
  show([step("A1", "planned")], {
    entry: { step: "A1", event: "started", at: "9:99" },
    faults: [{ column: "at", problem: "no time" }],
  });
  send.answer();
  equal([card.fields.at.value, card.fields.at.getAttribute("aria-invalid")], ["9:99", "true"]);
  equal(card.faults.textContent.startsWith("Not logged: A1 started at 9:99. no time"), true);
  card.faults.querySelector("button").click();
  equal([said[1], card.fields.at.value], [{ kind: "forget", slot: "EV1" }, ""]);
});

test("partly asks for the minutes first, a rate for its watts", () => {
  const { card, said } = opened([step("A1", "in progress")]);
  press(card.box, "p");
  equal(document.activeElement === card.fields.remaining_min, true);
  press(card.box, "r");
  equal([document.activeElement === card.fields.metabolic_w, said], [true, []]);
  type(card.fields.remaining_min, "5");
  press(card.fields.remaining_min, "Enter");
  equal([said[0].event, said[0].remaining_min], ["partly", "5"]);
});

test("letters in a field are letters, and Escape leads back to the card", () => {
  const { card, said } = opened();
  card.fields.note.focus();
  equal([press(card.fields.note, "s"), said], [false, []]);
  press(card.fields.note, "Escape");
  equal(document.activeElement === card.box, true);
});

test("a step of both is one's own where that is ticked", () => {
  const { card, said } = opened([step("B1", "planned", { is_shared: true })]);
  equal(card.aloneLabel.hidden, false);
  card.alone.click();
  press(card.box, "s");
  equal([said[0].alone, said[0].step], ["yes", "B1"]);
});

test("who is not of the crew has no rate", () => {
  const { card, said } = opened([step("D1", "planned")], "", false);
  equal([card.buttons.suit.hidden, card.fields.metabolic_w.hidden], [true, true]);
  type(card.fields.metabolic_w, "300");
  press(card.box, "r");
  equal(said, []);
});

test("a lane that is done has nothing to log", () => {
  const { card } = opened([]);
  equal([card.entry.hidden, card.head.textContent, card.does.textContent], [true, "1EV1", "all steps done"]);
});

test("beside who it is stands their name, or what an actor is; nothing where nobody says so", () => {
  const said = (...more) => opened([step("D1", "planned")], ...more).card.head.querySelector(".pk-quiet");
  equal(said("Ada <b>Okafor</b>").textContent, "Ada <b>Okafor</b>");
  equal(said("Arm operator", false).textContent, "Arm operator");
  equal(said(""), null);
});

test("the card says what comes then; nothing where nothing does", () => {
  const { card, show } = opened([step("A1", "in progress"), step("A2", "planned", { title: "Bolts" })]);
  equal(card.after.textContent, "then 1:00 A2 Bolts");
  show([step("A1", "in progress")]);
  equal(card.after.textContent, "");
});

test("who is no crew has one line", () => {
  equal(
    [true, false].map(isCrew => {
      const { card } = opened([step("A1", "planned")], "", isCrew);
      return card.box.classList.contains("pk-lane-slim");
    }),
    [false, true],
  );
});
